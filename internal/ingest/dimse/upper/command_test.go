package upper_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/quantity"
)

// commands is one of each message with all it can carry.
func commands() map[string]upper.Command {
	return map[string]upper.Command{
		"C-ECHO-RQ":         {Field: upper.CEcho, MessageID: 1, AffectedClass: upper.Verification},
		"C-ECHO-RSP":        {Field: upper.CEchoRsp, RespondedTo: 1, AffectedClass: upper.Verification},
		"C-STORE-RQ":        {Field: upper.CStore, MessageID: 2, HasData: true, AffectedClass: class, AffectedInstance: "2.25.77", Priority: upper.PriorityHigh, OriginatorTitle: "MOVER", OriginatorID: quantity.Some[uint16](9)},
		"C-STORE-RSP":       {Field: upper.CStoreRsp, RespondedTo: 2, Status: upper.StatusMismatch, AffectedClass: class, AffectedInstance: "2.25.77", Comment: "class of the data set", Offending: []uint32{0x00080016, 0x00080018}},
		"C-FIND-RQ":         {Field: upper.CFind, MessageID: 3, HasData: true, AffectedClass: "1.2.840.10008.5.1.4.1.2.2.1"},
		"C-FIND-RSP":        {Field: upper.CFindRsp, RespondedTo: 3, HasData: true, Status: upper.StatusPending},
		"C-CANCEL-RQ":       {Field: upper.CCancel, RespondedTo: 3},
		"C-MOVE-RQ":         {Field: upper.CMove, MessageID: 4, HasData: true, AffectedClass: "1.2.840.10008.5.1.4.1.2.2.2", Destination: "AFTERBEAM", Priority: upper.PriorityLow},
		"C-MOVE-RSP":        {Field: upper.CMoveRsp, RespondedTo: 4, Status: upper.StatusPending, Remaining: quantity.Some[uint16](3), Completed: quantity.Some[uint16](0), Failed: quantity.Some[uint16](1), Warnings: quantity.Some[uint16](2)},
		"C-GET-RQ":          {Field: upper.CGet, MessageID: 5, HasData: true, AffectedClass: "1.2.840.10008.5.1.4.1.2.2.3"},
		"C-GET-RSP":         {Field: upper.CGetRsp, RespondedTo: 5, Completed: quantity.Some[uint16](4)},
		"N-ACTION-RQ":       {Field: upper.NAction, MessageID: 6, HasData: true, RequestedClass: "1.2.840.10008.1.20.1", RequestedInstance: "1.2.840.10008.1.20.1.1", Action: quantity.Some[uint16](1)},
		"N-ACTION-RSP":      {Field: upper.NActionRsp, RespondedTo: 6, AffectedClass: "1.2.840.10008.1.20.1", AffectedInstance: "1.2.840.10008.1.20.1.1", Action: quantity.Some[uint16](1)},
		"N-EVENT-REPORT-RQ": {Field: upper.NEventReport, MessageID: 7, HasData: true, AffectedClass: "1.2.840.10008.1.20.1", AffectedInstance: "1.2.840.10008.1.20.1.1", Event: quantity.Some[uint16](2)},
		"N-CREATE-RQ":       {Field: upper.NCreate, MessageID: 8, HasData: true, AffectedClass: "1.2.840.10008.3.1.2.3.3", AffectedInstance: "2.25.8"},
		"N-SET-RQ":          {Field: upper.NSet, MessageID: 9, HasData: true, RequestedClass: "1.2.840.10008.3.1.2.3.3", RequestedInstance: "2.25.8"},
		"N-GET-RQ":          {Field: upper.NGet, MessageID: 10, RequestedClass: "1.2.840.10008.3.1.2.3.3", RequestedInstance: "2.25.8", Attributes: []uint32{0x00400252}},
		"N-GET-RSP":         {Field: upper.NGetRsp, RespondedTo: 10, Status: upper.StatusNoSuchInstance, ErrorID: quantity.Some[uint16](5)},
	}
}

func TestCommandSetThereAndBack(t *testing.T) {
	for name, want := range commands() {
		t.Run(name, func(t *testing.T) {
			raw, err := want.MarshalBinary()
			require.NoError(t, err)
			assert.Zero(t, len(raw)%2, "elements are of even length")
			var got upper.Command
			require.NoError(t, got.UnmarshalBinary(raw))
			assert.Equal(t, want, got)
			for n := range raw[:len(raw)-1] { // every shorter set is refused or lacks what the end held
				if got.UnmarshalBinary(raw[:n]) == nil {
					assert.NotEqual(t, want, got, "%d bytes", n)
				}
			}
		})
	}
}

// TestCommandSetBytes holds a C-ECHO-RQ against the bytes that PS3.7 6.3.1 and E.1 prescribe.
func TestCommandSetBytes(t *testing.T) {
	raw, err := commands()["C-ECHO-RQ"].MarshalBinary()
	require.NoError(t, err)
	want := "\x00\x00\x00\x00\x04\x00\x00\x00\x38\x00\x00\x00" +
		"\x00\x00\x02\x00\x12\x00\x00\x001.2.840.10008.1.1\x00" +
		"\x00\x00\x00\x01\x02\x00\x00\x00\x30\x00" +
		"\x00\x00\x10\x01\x02\x00\x00\x00\x01\x00" +
		"\x00\x00\x00\x08\x02\x00\x00\x00\x01\x01"
	assert.Equal(t, want, string(raw))
}

func TestRespond(t *testing.T) {
	tests := map[string]struct {
		give upper.Command
		want upper.Command
	}{
		"a C service": {
			upper.Command{Field: upper.CStore, MessageID: 5, AffectedClass: class, AffectedInstance: "2.25.1", HasData: true},
			upper.Command{Field: upper.CStoreRsp, RespondedTo: 5, AffectedClass: class, AffectedInstance: "2.25.1", Status: upper.StatusNoResources},
		},
		"an N service": {
			upper.Command{Field: upper.NAction, MessageID: 6, RequestedClass: "1.2", RequestedInstance: "1.2.1", Action: quantity.Some[uint16](1), HasData: true},
			upper.Command{Field: upper.NActionRsp, RespondedTo: 6, AffectedClass: "1.2", AffectedInstance: "1.2.1", Action: quantity.Some[uint16](1), Status: upper.StatusNoResources},
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tt.want, tt.give.Respond(upper.StatusNoResources))
		})
	}
}

func TestCommandSetRefused(t *testing.T) {
	field := "\x00\x00\x00\x01\x02\x00\x00\x00\x30\x00"
	id := "\x00\x00\x10\x01\x02\x00\x00\x00\x01\x00"
	kind := "\x00\x00\x00\x08\x02\x00\x00\x00\x01\x01"
	tests := map[string]struct{ give, want string }{
		"half an element":     {field + id + kind + "\x00\x00\x00\x09", "within an element"},
		"a longer value":      {field + id + "\x00\x00\x00\x08\xff\xff\xff\xff\x01\x01", "longer than what is left"},
		"another group":       {"\x08\x00\x16\x00\x00\x00\x00\x00" + field + id + kind, "(0008,0016)"},
		"an element twice":    {field + field + id + kind, "out of order"},
		"a number of 4 bytes": {"\x00\x00\x00\x01\x04\x00\x00\x00\x30\x00\x00\x00" + id + kind, "wants 2 bytes, got 4"},
		"no field":            {id + kind, "lacks element (0000,0100)"},
		"no message ID":       {field + kind, "lacks element (0000,0110)"},
		"no data set type":    {field + id, "lacks element (0000,0800)"},
		"a UID of 66":         {"\x00\x00\x02\x00\x42\x00\x00\x00" + string(make([]byte, 66)) + field + id + kind, "longer than 64"},
		"a response without":  {"\x00\x00\x00\x01\x02\x00\x00\x00\x30\x80" + kind, "lacks element (0000,0120)"},
		"nothing":             {"", "lacks element (0000,0100)"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var c upper.Command
			err := c.UnmarshalBinary([]byte(tt.give))
			require.ErrorIs(t, err, upper.ErrProtocol)
			assert.ErrorContains(t, err, tt.want)
		})
	}
}
