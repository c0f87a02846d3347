package upper

import (
	"fmt"
	"time"
)

// Limits bound what a peer may cost.
type Limits struct {
	// PDU is the longest P-DATA-TF that is taken, announced to the peer; bytes behind its header.
	PDU int
	// DataSet is the longest data set that a message may carry, bytes.
	DataSet int64
	// ARTIM bounds the establishment of an association and the wait for the end of the connection (PS3.8 9.1.5).
	ARTIM time.Duration
	// Idle bounds the silence between PDUs.
	Idle time.Duration
	// Transfer bounds the time of one PDU, from its first byte to its last, in either direction.
	Transfer time.Duration
	// Message bounds the time of one message that is received.
	Message time.Duration
}

// Defaults of Limits. The data set's is that of the reader of reports.
const (
	DefaultPDU      = 64 << 10
	DefaultDataSet  = 48 << 20
	DefaultARTIM    = 30 * time.Second
	DefaultIdle     = 60 * time.Second
	DefaultTransfer = 30 * time.Second
	DefaultMessage  = 10 * time.Minute
	// LeastPDU and MostPDU bound Limits.PDU.
	LeastPDU = 4 << 10
	MostPDU  = 128 << 10
)

// Bounds that are no setting: an A-ASSOCIATE-RQ of 128 contexts with twenty transfer syntaxes each is half as long, a
// command set some hundred bytes.
const (
	mostAssociate = 256 << 10
	mostCommand   = 32 << 10
	mostContexts  = 128
	leastPeerPDU  = 64 // below it a peer would be sent headers alone
)

// DefaultLimits gives the limits of a door.
func DefaultLimits() Limits {
	return Limits{
		PDU: DefaultPDU, DataSet: DefaultDataSet, ARTIM: DefaultARTIM, Idle: DefaultIdle,
		Transfer: DefaultTransfer, Message: DefaultMessage,
	}
}

// Validate tells which limit cannot be used.
func (l Limits) Validate() error {
	switch {
	case l.PDU < LeastPDU || l.PDU > MostPDU:
		return fmt.Errorf("longest PDU wants %d to %d bytes, got %d", LeastPDU, MostPDU, l.PDU)
	case l.DataSet < 1:
		return fmt.Errorf("longest data set wants a number of bytes above 0, got %d", l.DataSet)
	case l.ARTIM <= 0 || l.Idle <= 0 || l.Transfer <= 0 || l.Message <= 0:
		return fmt.Errorf("timers want times above 0, got ARTIM %v, idle %v, transfer %v, message %v", l.ARTIM, l.Idle, l.Transfer, l.Message)
	}
	return nil
}
