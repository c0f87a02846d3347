package upper

import (
	"fmt"

	"afterbeam/internal/quantity"
)

// Field says what a message is (PS3.7 E.1). A response has the top bit set.
type Field uint16

// The messages.
const (
	CStore          Field = 0x0001
	CGet            Field = 0x0010
	CFind           Field = 0x0020
	CMove           Field = 0x0021
	CEcho           Field = 0x0030
	NEventReport    Field = 0x0100
	NGet            Field = 0x0110
	NSet            Field = 0x0120
	NAction         Field = 0x0130
	NCreate         Field = 0x0140
	NDelete         Field = 0x0150
	CCancel         Field = 0x0FFF // never answered
	responding      Field = 0x8000
	CStoreRsp             = CStore | responding
	CGetRsp               = CGet | responding
	CFindRsp              = CFind | responding
	CMoveRsp              = CMove | responding
	CEchoRsp              = CEcho | responding
	NEventReportRsp       = NEventReport | responding
	NGetRsp               = NGet | responding
	NSetRsp               = NSet | responding
	NActionRsp            = NAction | responding
	NCreateRsp            = NCreate | responding
)

// Response tells whether the message answers another.
func (f Field) Response() bool { return f&responding != 0 }

// String gives the field as the standard writes it.
func (f Field) String() string { return fmt.Sprintf("%04X", uint16(f)) }

// Priority of a C-STORE, C-FIND, C-GET or C-MOVE request.
type Priority uint16

// The priorities.
const (
	PriorityMedium Priority = 0
	PriorityHigh   Priority = 1
	PriorityLow    Priority = 2
)

// Command is a command set. Which parts stand in which message is in PS3.7 9.3 and 10.3; an empty text or an absent value
// is not written.
type Command struct {
	Field Field
	// MessageID is that of a request, RespondedTo that of the request which a response or a C-CANCEL is about.
	MessageID, RespondedTo uint16
	// HasData says that a data set follows. Send sets it.
	HasData bool
	Status  Status
	// The SOP class and instance, affected in the C services, N-EVENT-REPORT and N-CREATE, requested in the other N services.
	AffectedClass, AffectedInstance   string
	RequestedClass, RequestedInstance string
	Priority                          Priority
	// Destination is the AE title that a C-MOVE sends to.
	Destination string
	// OriginatorTitle and OriginatorID say for which C-MOVE a C-STORE is sent.
	OriginatorTitle string
	OriginatorID    quantity.Opt[uint16]
	// Event and Action are the types of N-EVENT-REPORT and N-ACTION.
	Event, Action quantity.Opt[uint16]
	// Counts of sub-operations in the responses of C-GET and C-MOVE.
	Remaining, Completed, Failed, Warnings quantity.Opt[uint16]
	// Comment explains a status, at most 64 characters, without patient data; ErrorID is the implementation's own.
	Comment string
	ErrorID quantity.Opt[uint16]
	// Offending lists the elements at fault in a response, Attributes those that an N-GET asks for; group in the upper half.
	Offending, Attributes []uint32
}

// Respond gives the response to a request: same SOP class and instance, as affected (PS3.7 10.3), and same type of event
// or action.
func (c Command) Respond(s Status) Command {
	r := Command{Field: c.Field | responding, RespondedTo: c.MessageID, Status: s, Event: c.Event, Action: c.Action}
	r.AffectedClass, r.AffectedInstance = c.AffectedClass, c.AffectedInstance
	if c.RequestedClass != "" {
		r.AffectedClass, r.AffectedInstance = c.RequestedClass, c.RequestedInstance
	}
	return r
}

// Class gives the SOP class, affected or requested.
func (c Command) Class() string {
	if c.AffectedClass != "" {
		return c.AffectedClass
	}
	return c.RequestedClass
}

// Instance gives the SOP instance, affected or requested.
func (c Command) Instance() string {
	if c.AffectedInstance != "" {
		return c.AffectedInstance
	}
	return c.RequestedInstance
}

// prioritised tells whether the request carries a priority.
func (f Field) prioritised() bool { return f == CStore || f == CFind || f == CGet || f == CMove }

// check tells what a command set lacks.
func (c *Command) check(had map[uint16]bool) error {
	want := []uint16{elField, elDataSetType}
	switch {
	case c.Field.Response():
		want = append(want, elRespondedTo, elStatus)
	case c.Field == CCancel:
		want = append(want, elRespondedTo)
	default:
		want = append(want, elMessageID)
	}
	for _, element := range want {
		if !had[element] {
			return broken(ReasonInvalidParameter, "command set %v lacks element (0000,%04X)", c.Field, element)
		}
	}
	return nil
}
