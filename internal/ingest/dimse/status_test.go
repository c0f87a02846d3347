package dimse_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// full is a keeper whose storage takes nothing.
type full struct{ err error }

func (f full) KeepIf(_ context.Context, _ store.Actor, _ string, body io.Reader, _ func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	_, err := io.Copy(io.Discard, body)
	return store.Receipt{}, 0, errors.Join(err, f.err)
}

func (f full) KeepForLaterIf(ctx context.Context, a store.Actor, door string, body io.Reader, fits func(dicomio.Identity) error) (store.Receipt, ingest.Answer, error) {
	return f.KeepIf(ctx, a, door, body, fits)
}

// instead is a keeper that is exchanged between two messages.
type instead struct{ dimse.Keeper }

// TestStatuses has one object for each row of the table of statuses.
func TestStatuses(t *testing.T) {
	set, id := dataSet(t, report(t, ""))
	command := stored(id)
	with := func(change func(*upper.Command)) upper.Command {
		c := command
		change(&c)
		return c
	}
	const general = "1.2.840.10008.5.1.4.1.1.88.33"
	untitled := bytes.ReplaceAll(bytes.ReplaceAll(set, []byte(doseClass+"\x00"), []byte(general+"\x00")), []byte("121058"), []byte("121999"))
	unnamed := bytes.Replace(set, []byte("\x08\x00\x18\x00UI"), []byte("\x08\x00\x17\x00UI"), 1)
	tests := map[string]struct {
		command  upper.Command
		data     []byte
		keeper   dimse.Keeper
		want     upper.Status
		receipts int
	}{
		"a dose report":                       {command: command, data: set, want: 0x0000, receipts: 1},
		"a report that names no dose":         {command: with(func(c *upper.Command) { c.AffectedClass = general }), data: untitled, want: 0xB007, receipts: 1},
		"cut short, its UIDs can be read":     {command: command, data: set[:len(set)/2], want: 0xB007, receipts: 1},
		"the storage is full":                 {command: command, data: set, keeper: full{store.ErrUnavailable}, want: 0xA700},
		"a failure without a kind":            {command: command, data: set, keeper: full{errors.New("strange")}, want: 0xA700},
		"another instance":                    {command: with(func(c *upper.Command) { c.AffectedInstance = "2.25.1" }), data: set, want: 0xA900},
		"another class":                       {command: with(func(c *upper.Command) { c.AffectedClass = general }), data: set, want: 0xA900},
		"no DICOM":                            {command: command, data: []byte(strings.Repeat("not a data set ", 20)), want: 0xC000},
		"without its instance UID":            {command: command, data: unnamed, want: 0xC000},
		"an empty data set":                   {command: command, data: []byte{}, want: 0xC000},
		"no data set":                         {command: command, want: 0xC000},
		"too large":                           {command: command, data: append(bytes.Clone(set), 0), want: 0xC000},
		"an instance that is no UID":          {command: with(func(c *upper.Command) { c.AffectedInstance = "Smith^John" }), data: set, want: 0x0117},
		"no instance":                         {command: with(func(c *upper.Command) { c.AffectedInstance = "" }), data: set, want: 0x0117},
		"a class of no presentation context":  {command: with(func(c *upper.Command) { c.AffectedClass = "1.2.840.10008.5.1.4.1.1.2" }), data: set, want: 0x0122},
		"another operation":                   {command: with(func(c *upper.Command) { c.Field = upper.CFind }), data: set, want: 0x0211},
		"an echo where objects are stored":    {command: with(func(c *upper.Command) { c.Field = upper.CEcho }), want: 0x0211},
		"a data set where none should be too": {command: with(func(c *upper.Command) { c.Field = upper.CEcho }), data: set, want: 0x0211},
	}
	instead := &instead{}
	r := newRig(t, func(k dimse.Keeper) dimse.Keeper {
		instead.Keeper = k
		return instead
	}, nil, func(c *dimse.Config) { c.Limits.DataSet = int64(len(set)) })
	usual := instead.Keeper
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			instead.Keeper = usual
			if tt.keeper != nil {
				instead.Keeper = tt.keeper
			}
			before := r.receipts(t)
			a := associate(t, r.address, append(upper.Each(doseClass, upper.ExplicitLittle), upper.Each(general, upper.ExplicitLittle)...)...)
			on := uint8(1)
			if tt.command.AffectedClass == general {
				on = 3
			}
			for range 2 { // the same again gives the same
				var data io.Reader
				if tt.data != nil {
					data = bytes.NewReader(tt.data)
				}
				m, err := a.Ask(t.Context(), on, tt.command, data)
				require.NoError(t, err)
				assert.Equal(t, tt.want, m.Command.Status, m.Command.Comment)
			}
			require.NoError(t, a.Release())
			receipts := r.receipts(t)
			require.Len(t, receipts, len(before)+tt.receipts)
			if tt.receipts == 1 {
				fresh := slices.IndexFunc(receipts, func(one store.Receipt) bool { return !slices.Contains(before, one) })
				raw, err := r.db.Raw(receipts[fresh].Digest)
				require.NoError(t, err)
				front, err := dicomio.Front(tt.command.AffectedClass, tt.command.AffectedInstance, upper.ExplicitLittle)
				require.NoError(t, err)
				assert.True(t, bytes.Equal(append(front, tt.data...), raw), "the data set is kept byte for byte")
			}
			assert.NotContains(t, r.log.String(), "Smith")
		})
	}
}

// TestWhoSent looks for the calling title in the audit record.
func TestWhoSent(t *testing.T) {
	r := newRig(t, nil, nil)
	set, id := dataSet(t, report(t, ""))
	a := associate(t, r.address)
	_, err := a.Ask(t.Context(), 1, stored(id), bytes.NewReader(set))
	require.NoError(t, err)
	require.NoError(t, a.Release())
	found := false
	for record, err := range r.db.AuditRecords(t.Context()) {
		require.NoError(t, err)
		if record.Action == "report.keep" {
			found = true
			assert.Equal(t, "ae:CATH2", record.Actor)
			assert.Equal(t, "127.0.0.1", record.Source)
		}
	}
	assert.True(t, found)
}
