package queryretrieve_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/peer"
	"afterbeam/internal/store"
)

// sends answers a C-GET with a file, and then as final says.
func sends(file []byte, final func(m *upper.Message) upper.Command) func(*script, *upper.Association, *upper.Message, asked) upper.Command {
	return func(s *script, a *upper.Association, m *upper.Message, _ asked) upper.Command {
		if file != nil {
			s.send(a, file)
		}
		return final(m)
	}
}

// TestRetrieval has an object come or not, and the archive say this or that of it: it counts when it is here.
func TestRetrieval(t *testing.T) {
	_, good := small(t, 0, 1)
	_, other := small(t, 7, 1)
	final := func(status upper.Status, completed, failed, warnings uint16) func(*upper.Message) upper.Command {
		return func(m *upper.Message) upper.Command { return counted(m, status, completed, failed, warnings) }
	}
	bare := func(m *upper.Message) upper.Command { return m.Command.Respond(upper.Success) }
	tests := map[string]struct {
		file   []byte
		final  func(*upper.Message) upper.Command
		got    bool
		status string
		reason string
	}{
		"it comes":                       {good, final(0, 1, 0, 0), true, "0000", ""},
		"it comes with a warning":        {good, final(0xB000, 0, 0, 1), true, "B000", ""},
		"it comes, counted wrong":        {good, final(0, 2, 0, 0), true, "0000", "archive counts 2 completed, 0 failed, 0 with warnings where one object was asked for"},
		"it comes, counted as failed":    {good, final(0xB000, 0, 1, 0), true, "B000", "archive counts it as not sent"},
		"it comes, not counted":          {good, bare, true, "0000", "archive gives no counters"},
		"nothing comes, counted as sent": {nil, final(0, 1, 0, 0), false, "0000", "archive counts it as sent, it did not arrive"},
		"nothing comes, not counted":     {nil, bare, false, "0000", "archive counts it as sent, it did not arrive"},
		"the archive has it no more":     {nil, final(0, 0, 0, 0), false, "0000", "archive has nothing to send"},
		"two counted, none came":         {nil, final(0, 2, 0, 0), false, "0000", "archive counts 2 completed, 0 failed, 0 with warnings where one object was asked for"},
		"out of resources":               {nil, final(0xA702, 0, 1, 0), false, "A702", "archive could not perform the sub-operation"},
		"the sub-operation failed":       {nil, final(0xB000, 0, 1, 0), false, "B000", "archive could not send it"},
		"not allowed":                    {nil, final(0x0124, 0, 0, 0), false, "0124", "archive does not allow it"},
		"cancelled":                      {nil, final(0xFE00, 0, 0, 0), false, "FE00", "archive ended the operation"},
		"cannot process":                 {nil, final(0xC123, 0, 0, 0), false, "C123", "archive cannot process the question"},
		"another object comes":           {other, final(0, 1, 0, 0), false, "0000", "archive counts it as sent, it did not arrive"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := &script{find: one, retrieve: sends(tt.file, tt.final)}
			r := newRig(t)
			counts, err := queryretrieve.Run(t.Context(), r.config(s.serve(t)), period(t, 1))
			require.NoError(t, err)
			if tt.got {
				assert.Equal(t, queryretrieve.Counts{Days: 1, Studies: 1, Reports: 1, Got: 1}, counts)
				assert.Equal(t, map[string]int{"2.25.100000": 1}, r.receipts(t))
				assert.Empty(t, r.lacking(t))
				if tt.reason != "" && tt.status != "" && tt.reason != "archive gives no counters" {
					assert.Contains(t, r.log.String(), tt.reason)
				}
				return
			}
			assert.Equal(t, queryretrieve.Counts{Days: 1, Studies: 1, Reports: 1, Failed: 1}, counts)
			lacks := r.lacking(t)
			require.Contains(t, lacks, "2.25.100000")
			assert.Equal(t, tt.status, lacks["2.25.100000"].Status)
			assert.Equal(t, tt.reason, lacks["2.25.100000"].Reason)
		})
	}
}

// TestRefusedHere tells what the store refused apart from what the archive did.
func TestRefusedHere(t *testing.T) {
	_, good := small(t, 0, 1)
	s := &script{find: one, retrieve: sends(good, func(m *upper.Message) upper.Command { return counted(m, 0xB000, 0, 1, 0) })}
	r := newRig(t)
	cfg := r.config(s.serve(t))
	r.keeper.Limits.FileBytes = 100
	_, err := queryretrieve.Run(t.Context(), cfg, period(t, 1))
	require.NoError(t, err)
	assert.Equal(t, "not kept here, answered C000: not understood as a DICOM data set", r.lacking(t)["2.25.100000"].Reason)
}

// TestWay has archives that accept one way of retrieval or none.
func TestWay(t *testing.T) {
	_, good := small(t, 0, 1)
	tests := map[string]struct {
		lacks   []string
		noRoles bool
		by      queryretrieve.By
		closed  bool // there is no door for C-MOVE
		want    []upper.Field
		ends    string
	}{
		"both, the one preferred":   {want: []upper.Field{upper.CGet}},
		"both, the other wanted":    {by: queryretrieve.ByMove, want: []upper.Field{upper.CMove}},
		"no C-GET":                  {lacks: []string{getClass}, want: []upper.Field{upper.CMove}},
		"C-GET without the role":    {noRoles: true, want: []upper.Field{upper.CMove}},
		"C-GET without the class":   {lacks: []string{doseClass}, want: []upper.Field{upper.CMove}},
		"no C-MOVE":                 {lacks: []string{moveClass}, want: []upper.Field{upper.CGet}},
		"neither":                   {lacks: []string{moveClass, getClass}, ends: "no presentation context for SOP class " + moveClass},
		"no C-GET where it must be": {noRoles: true, by: queryretrieve.ByGet, ends: "does not send by C-GET"},
		"no C-GET and no door":      {lacks: []string{getClass}, closed: true, ends: "give dicom.listen"},
		"no C-FIND":                 {lacks: []string{findClass}, ends: "no presentation context for SOP class " + findClass},
		"the title is not known":    {by: "unknown title", want: []upper.Field{upper.CMove}, ends: "does not know the AE title AFTERBEAM"},
		"C-GET agreed and not done": {by: "not done", want: []upper.Field{upper.CGet, upper.CMove}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			s := &script{find: one, lacks: tt.lacks, noRoles: tt.noRoles}
			s.retrieve = func(s *script, a *upper.Association, m *upper.Message, asked asked) upper.Command {
				switch {
				case tt.by == "unknown title":
					return counted(m, 0xA801, 0, 0, 0)
				case m.Command.Field == upper.CGet && tt.by == "not done":
					return m.Command.Respond(upper.StatusUnrecognised)
				case m.Command.Field == upper.CGet:
					s.send(a, good)
				default:
					assert.Equal(t, ourTitle, asked.command.Destination)
					r.keep(t, good) // as the door would
				}
				return counted(m, upper.Success, 1, 0, 0)
			}
			cfg := r.config(s.serve(t))
			switch tt.by {
			case "":
			case "unknown title":
				cfg.By = queryretrieve.ByMove
			case "not done":
				cfg.By = queryretrieve.ByEither
			default:
				cfg.By = tt.by
			}
			if tt.closed {
				cfg.Destination = ""
			}
			_, err := queryretrieve.Run(t.Context(), cfg, period(t, 1))
			var ways []upper.Field
			for _, one := range s.requests() {
				if one.command.Field != upper.CFind {
					ways = append(ways, one.command.Field)
				}
			}
			assert.Equal(t, tt.want, ways)
			if tt.ends != "" {
				require.ErrorIs(t, err, queryretrieve.ErrUnwilling)
				require.ErrorContains(t, err, tt.ends)
				return
			}
			require.NoError(t, err)
			assert.Empty(t, r.lacking(t))
		})
	}
}

// TestProtocol has archives that answer what nobody asked.
func TestProtocol(t *testing.T) {
	_, good := small(t, 0, 1)
	tests := map[string]func(s *script, a *upper.Association, m *upper.Message, r asked) upper.Command{
		"an answer to another request": func(_ *script, _ *upper.Association, m *upper.Message, _ asked) upper.Command {
			c := counted(m, upper.Success, 1, 0, 0)
			c.RespondedTo += 7
			return c
		},
		"an answer of another kind": func(_ *script, _ *upper.Association, m *upper.Message, _ asked) upper.Command {
			c := counted(m, upper.Success, 1, 0, 0)
			c.Field = upper.CEchoRsp
			return c
		},
		"a release instead of an answer": func(_ *script, a *upper.Association, _ *upper.Message, _ asked) upper.Command {
			_ = a.Release()
			return upper.Command{}
		},
		"an abort instead of an answer": func(_ *script, a *upper.Association, _ *upper.Message, _ asked) upper.Command {
			a.Abort()
			return upper.Command{}
		},
		"objects without end": func(s *script, a *upper.Association, m *upper.Message, _ asked) upper.Command {
			for s.send(a, good) != upper.StatusProcessing { // until the other end has enough
			}
			return upper.Command{}
		},
	}
	for name, retrieve := range tests {
		t.Run(name, func(t *testing.T) {
			s := &script{find: one, retrieve: retrieve}
			r := newRig(t)
			counts, err := queryretrieve.Run(t.Context(), r.config(s.serve(t)), period(t, 1))
			require.NoError(t, err)
			if name == "objects without end" {
				assert.Equal(t, 1, counts.Got, "what came counts")
				assert.Equal(t, map[string]int{"2.25.100000": 1}, r.receipts(t))
				return
			}
			assert.Equal(t, 1, counts.Failed)
			assert.Equal(t, store.ArchivedFailed, r.lacking(t)["2.25.100000"].State)
		})
	}
}

// TestEnd stops a run while an archive is silent: nothing is noted of what was under way, and the next run asks for it.
func TestEnd(t *testing.T) {
	ctx, stop := context.WithCancel(t.Context())
	silent := true
	s := &script{find: one}
	_, good := small(t, 0, 1)
	s.retrieve = func(s *script, a *upper.Association, m *upper.Message, _ asked) upper.Command {
		if silent {
			stop()
			_, _ = a.Next(context.Background()) // until the association ends
			return upper.Command{}
		}
		s.send(a, good)
		return counted(m, upper.Success, 1, 0, 0)
	}
	r := newRig(t)
	cfg := r.config(s.serve(t))
	_, err := queryretrieve.Run(ctx, cfg, period(t, 1))
	require.ErrorIs(t, err, context.Canceled)
	assert.Equal(t, store.ArchivedKnown, r.lacking(t)["2.25.100000"].State)
	assert.Zero(t, r.lacking(t)["2.25.100000"].Attempts)
	silent = false
	counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 1))
	require.NoError(t, err)
	assert.Equal(t, 1, counts.Got)
}

// TestNobody ends a run when the archive cannot be reached, after its attempts.
func TestNobody(t *testing.T) {
	r := newRig(t)
	cfg := r.config(peer.Unused(t))
	counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 100))
	require.ErrorIs(t, err, queryretrieve.ErrUnreachable)
	assert.Equal(t, 10, counts.DaysOpen, "it gave up")
}

// TestUnknownTitle ends a run at once when the archive does not know who asks.
func TestUnknownTitle(t *testing.T) {
	r := newRig(t)
	cfg := r.config(r.door) // a door that is called by another title
	_, err := queryretrieve.Run(t.Context(), cfg, period(t, 100))
	require.ErrorIs(t, err, queryretrieve.ErrUnwilling)
	assert.ErrorContains(t, err, "called AE title not recognised")
}
