package upper

import (
	"errors"
	"fmt"
)

// Errors of an association. After each of them it is over; ErrTooLarge alone leaves it usable.
var (
	// ErrProtocol marks a peer that broke the protocol; A-ABORT was sent.
	ErrProtocol = errors.New("DICOM protocol broken by the peer")
	// ErrTooLarge marks a data set above Limits.DataSet. The rest can be skipped and the request answered.
	ErrTooLarge = errors.New("data set over the limit")
	// ErrClosed marks the use of an association that is over.
	ErrClosed = errors.New("association is over")
)

// Rejection is an A-ASSOCIATE-RJ, given or received (PS3.8 table 9-21). An Acceptor's Admit returns one to refuse.
type Rejection struct{ Result, Source, Reason uint8 }

// The rejections in use.
var (
	RejectNoReason    = &Rejection{1, 1, 1}
	RejectApplication = &Rejection{1, 1, 2}
	RejectCalling     = &Rejection{1, 1, 3}
	RejectCalled      = &Rejection{1, 1, 7}
	RejectVersion     = &Rejection{1, 2, 2}
	RejectBusy        = &Rejection{2, 3, 1}
	RejectLimit       = &Rejection{2, 3, 2}
)

// Error says which rejection it is.
func (r *Rejection) Error() string {
	text := map[Rejection]string{
		*RejectNoReason: "no reason given", *RejectApplication: "application context not supported",
		*RejectCalling: "calling AE title not recognised", *RejectCalled: "called AE title not recognised",
		*RejectVersion: "protocol version not supported", *RejectBusy: "temporary congestion", *RejectLimit: "local limit exceeded",
	}[*r]
	if text == "" {
		text = "other reason"
	}
	return fmt.Sprintf("association rejected: %s (result %d, source %d, reason %d)", text, r.Result, r.Source, r.Reason)
}

// Transient tells whether trying again later makes sense.
func (r *Rejection) Transient() bool { return r.Result == 2 }

// Reason is the reason of an A-ABORT by the service provider (PS3.8 table 9-26).
type Reason uint8

// The reasons.
const (
	ReasonNone                Reason = 0
	ReasonUnknownPDU          Reason = 1
	ReasonUnexpectedPDU       Reason = 2
	ReasonUnknownParameter    Reason = 4
	ReasonUnexpectedParameter Reason = 5
	ReasonInvalidParameter    Reason = 6
)

// Aborted is an A-ABORT that the peer sent. Source 0 is its user, 2 its protocol machine.
type Aborted struct {
	Source uint8
	Reason Reason
}

// Error says who aborted and why.
func (a *Aborted) Error() string {
	return fmt.Sprintf("association aborted by the peer (source %d, reason %d)", a.Source, a.Reason)
}

// fault is something in the peer's bytes that breaks the protocol, with the reason that the A-ABORT carries.
type fault struct {
	reason Reason
	text   string
}

func (f *fault) Error() string { return f.text }

func (f *fault) Unwrap() error { return ErrProtocol }

func broken(reason Reason, format string, args ...any) error {
	return &fault{reason, fmt.Sprintf(format, args...)}
}
