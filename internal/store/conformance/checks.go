package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

// deviceChecks are kept as they were made, each with the draft that it made or none of both.
func deviceChecks(t *testing.T, s *site) {
	first := s.seen(t, "2.25.7", "2026-09-02", "Hybrid 1", "1.0")
	s.seen(t, "2.25.8", "2026-09-02", "Cath 2", "1.0")
	id, elsewhere := s.device(t, "2.25.7").ID, s.device(t, "2.25.8").ID
	give := store.DeviceCheck{
		DeviceID: id, Day: "2026-09-02", ReportUID: "2.25.1", Form: "form", Answers: []byte(`{"a":1}`), SheetText: "text", SheetPage: "<p>page</p>",
		Contradicted: true, Maker: "Physicist A", Reason: "yearly check",
	}
	alone, err := s.db.AddDeviceCheck(ctx(), person, give, nil, "0-0")
	require.NoError(t, err)
	assert.Equal(t, []any{0, person.Account, true}, []any{alone.Profile, alone.MadeBy, alone.Contradicted})
	assert.Equal(t, "0-0", s.profileTag(t, id))
	draft := store.Profile{From: "2026-09-02", Body: []byte(`{"b":2}`), Drafter: "Physicist A", Reason: "yearly check"}
	_, err = s.db.AddDeviceCheck(ctx(), person, give, &draft, "1-0")
	require.ErrorIs(t, err, store.ErrConflict, "another physicist drafted meanwhile")
	made, err := s.db.AddDeviceCheck(ctx(), person, give, &draft, "0-0")
	require.NoError(t, err)
	assert.Equal(t, 1, made.Profile)
	assert.Equal(t, []any{"device.check", id + "/" + made.ID, made.Digest}, []any{s.last(t).Action, s.last(t).Object, s.last(t).After})
	all, err := s.db.Profiles(ctx(), id)
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, []any{store.ProfileDraft, "interface", "Physicist A", `{"b":2}`}, []any{all[0].State, all[0].Origin, all[0].Drafter, string(all[0].Body)})

	list, err := s.db.DeviceChecks(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, []store.DeviceCheck{made, alone}, list)
	got, err := s.db.DeviceCheck(ctx(), id, made.ID)
	require.NoError(t, err)
	assert.Equal(t, made, got)
	_, err = s.db.DeviceCheck(ctx(), elsewhere, made.ID)
	require.ErrorIs(t, err, store.ErrNotFound, "of another device")
	_, err = s.db.AddDeviceCheck(ctx(), person, store.DeviceCheck{DeviceID: "nowhere"}, nil, "0-0")
	require.ErrorIs(t, err, store.ErrNotFound)

	body, err := s.db.ReportOfDevice(ctx(), "2.25.7", first.SOPInstance)
	require.NoError(t, err)
	assert.Equal(t, string(first.Body), string(body))
	_, err = s.db.ReportOfDevice(ctx(), "2.25.8", first.SOPInstance)
	require.ErrorIs(t, err, store.ErrNotFound, "of another device")
}
