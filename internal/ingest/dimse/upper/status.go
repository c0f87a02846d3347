package upper

import "fmt"

// Status is the outcome in a response (PS3.7 annex C, PS3.4 for the services).
type Status uint16

// The statuses in use.
const (
	Success               Status = 0x0000
	StatusCancelled       Status = 0xFE00
	StatusPending         Status = 0xFF00
	StatusPendingWarning  Status = 0xFF01
	StatusCoerced         Status = 0xB000
	StatusDiscarded       Status = 0xB006
	StatusNotMatching     Status = 0xB007 // stored, though the data set does not match the SOP class
	StatusNoResources     Status = 0xA700
	StatusMismatch        Status = 0xA900 // data set does not match the SOP class or instance of the command
	StatusNotUnderstood   Status = 0xC000
	StatusAttributeList   Status = 0x0107
	StatusProcessing      Status = 0x0110
	StatusDuplicate       Status = 0x0111 // duplicate SOP instance
	StatusNoSuchInstance  Status = 0x0112
	StatusNoSuchEvent     Status = 0x0113
	StatusNoSuchArgument  Status = 0x0114
	StatusInvalidArgument Status = 0x0115
	StatusInvalidInstance Status = 0x0117
	StatusNoSuchClass     Status = 0x0118
	StatusConflict        Status = 0x0119 // class and instance do not belong together
	StatusMissing         Status = 0x0120 // missing attribute
	StatusMissingValue    Status = 0x0121
	StatusClassUnknown    Status = 0x0122 // SOP class not supported
	StatusNoSuchAction    Status = 0x0123
	StatusNotAuthorised   Status = 0x0124
	StatusDuplicateCall   Status = 0x0210
	StatusUnrecognised    Status = 0x0211
	StatusMistyped        Status = 0x0212
	StatusLimited         Status = 0x0213
)

// Pending tells whether more responses follow.
func (s Status) Pending() bool { return s == StatusPending || s == StatusPendingWarning }

// Warning tells whether the operation was done with a remark (PS3.7 annex C.1.3).
func (s Status) Warning() bool {
	return s == 0x0001 || s == StatusAttributeList || s == 0x0116 || s>>12 == 0xB
}

// Failed tells whether the operation was not done.
func (s Status) Failed() bool {
	return s != Success && s != StatusCancelled && !s.Pending() && !s.Warning()
}

// String gives the status as the standard writes it.
func (s Status) String() string { return fmt.Sprintf("%04X", uint16(s)) }
