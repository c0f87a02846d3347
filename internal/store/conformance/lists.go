package conformance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func listTests() []test {
	return []test{
		{"each filter narrows", filters},
		{"a scope shows its rooms alone", scope},
		{"pages hold every case once, newest first", casePages},
		{"flags of one state", flagLists},
		{"cases of a patient and of linked records", patientLists},
	}
}

var rooms = []string{"Hybrid 1", "Cath 2", "Rhythm 3", "Neuro 4"}

// many makes 24 cases over four rooms, three days, two classes and states. Several start in the same moment.
func (s *site) many(t *testing.T) []store.Case {
	t.Helper()
	var all []store.Case
	for i := range 24 {
		id, _ := s.assessed(t, func(c *store.Case) {
			c.Room = rooms[i%4]
			day := 14 + i%3
			c.Start = time.Date(2026, 9, day, 9+i/12, 0, 0, 0, time.FixedZone("", 2*3600))
			c.LocalDate = fmt.Sprintf("2026-09-%d", day)
			if i%2 == 1 {
				c.Class, c.State, c.FlagState = "coronary", "provisional", "below"
			}
		})
		c, err := s.db.Case(ctx(), id)
		require.NoError(t, err)
		all = append(all, c)
	}
	return all
}

func idsOf(cases []store.Case) []string {
	ids := []string{}
	for _, c := range cases {
		ids = append(ids, c.ID)
	}
	return ids
}

func filters(t *testing.T, s *site) {
	all := s.many(t)
	tests := []struct {
		name   string
		filter store.Filter
		holds  func(c store.Case) bool
	}{
		{"nothing", store.Filter{}, func(store.Case) bool { return true }},
		{"room", store.Filter{Room: "Cath 2"}, func(c store.Case) bool { return c.Room == "Cath 2" }},
		{"class", store.Filter{Class: "coronary"}, func(c store.Case) bool { return c.Class == "coronary" }},
		{"flag", store.Filter{FlagState: "reached"}, func(c store.Case) bool { return c.FlagState == "reached" }},
		{"state", store.Filter{State: "provisional"}, func(c store.Case) bool { return c.State == "provisional" }},
		{"from", store.Filter{From: "2026-09-15"}, func(c store.Case) bool { return c.LocalDate >= "2026-09-15" }},
		{"to", store.Filter{To: "2026-09-15"}, func(c store.Case) bool { return c.LocalDate <= "2026-09-15" }},
		{"one day", store.Filter{From: "2026-09-15", To: "2026-09-15"}, func(c store.Case) bool { return c.LocalDate == "2026-09-15" }},
		{"patient", store.Filter{PatientID: all[7].PatientID}, func(c store.Case) bool { return c.ID == all[7].ID }},
		{"no such patient", store.Filter{PatientID: "nobody"}, func(store.Case) bool { return false }},
		{"kerma from", store.Filter{KermaFrom: quantity.Some[quantity.Gray](2)}, func(c store.Case) bool { return c.Kerma.Or(-1) >= 2 }},
		{"peak from", store.Filter{PeakFrom: quantity.Some[quantity.Gray](1.5)}, func(c store.Case) bool { return c.PSD.Or(-1) >= 1.5 }},
		{"several", store.Filter{Room: "Hybrid 1", FlagState: "reached", From: "2026-09-16"}, func(c store.Case) bool {
			return c.Room == "Hybrid 1" && c.FlagState == "reached" && c.LocalDate >= "2026-09-16"
		}},
	}
	for _, tt := range tests {
		want := []string{}
		for _, c := range all {
			if tt.holds(c) {
				want = append(want, c.ID)
			}
		}
		got, err := s.db.Cases(ctx(), tt.filter)
		require.NoError(t, err, tt.name)
		assert.ElementsMatch(t, want, idsOf(got), tt.name)
		n, err := s.db.CountCases(ctx(), tt.filter)
		require.NoError(t, err, tt.name)
		assert.Equal(t, len(want), n, tt.name)
		tt.filter.Limit = 2
		got, err = s.db.Cases(ctx(), tt.filter)
		require.NoError(t, err, tt.name)
		assert.Len(t, got, min(2, len(want)), tt.name)
	}
}

func scope(t *testing.T, s *site) {
	all := s.many(t)
	for _, seen := range [][]string{nil, {}, {"Hybrid 1"}, {"Cath 2", "Neuro 4"}, {"no such room"}} {
		want := []string{}
		for _, c := range all {
			for _, room := range seen {
				if c.Room == room {
					want = append(want, c.ID)
				}
			}
			if seen == nil {
				want = append(want, c.ID)
			}
		}
		got, err := s.db.Cases(ctx(), store.Filter{Rooms: seen})
		require.NoError(t, err)
		assert.ElementsMatch(t, want, idsOf(got), "scope %q", seen)
		flags, err := s.db.Flags(ctx(), store.Filter{Rooms: seen}, "reached")
		require.NoError(t, err)
		assert.Len(t, flags, len(want), "scope %q", seen)
	}
	got, err := s.db.Cases(ctx(), store.Filter{Rooms: []string{"Hybrid 1"}, Room: "Cath 2"})
	require.NoError(t, err)
	assert.Empty(t, got, "asking for a room outside the scope finds nothing")
}

func casePages(t *testing.T, s *site) {
	s.many(t)
	whole, err := s.db.Cases(ctx(), store.Filter{})
	require.NoError(t, err)
	for i := 1; i < len(whole); i++ {
		require.False(t, whole[i].Start.After(whole[i-1].Start), "newest first")
	}
	n, err := s.db.CountCases(ctx(), store.Filter{After: whole[3].ID, Limit: 2})
	require.NoError(t, err)
	assert.Equal(t, len(whole), n, "a count is of all pages")
	for _, order := range []store.Order{store.ByStart, store.ByKerma, store.ByKAP, store.ByPeak, store.ByEffective} {
		s.pagesInOrder(t, order)
	}
	_, err = s.db.Cases(ctx(), store.Filter{After: "no such case"})
	require.ErrorIs(t, err, store.ErrCursor, "an empty page would look like the end")
	_, err = s.db.Flags(ctx(), store.Filter{After: "no such case"}, "reached")
	require.ErrorIs(t, err, store.ErrCursor)
}

// pagesInOrder wants the pages of a list to be the list, sorted by a value, those without one last.
func (s *site) pagesInOrder(t *testing.T, order store.Order) {
	t.Helper()
	whole, err := s.db.Cases(ctx(), store.Filter{Order: order})
	require.NoError(t, err)
	value := func(c store.Case) float64 {
		switch order {
		case store.ByKerma:
			return float64(c.Kerma.Or(-1))
		case store.ByKAP:
			return float64(c.KAP.Or(-1))
		case store.ByPeak:
			return float64(c.PSD.Or(-1))
		case store.ByEffective:
			return float64(c.Effective.Or(-1))
		case store.ByStart:
		}
		return float64(c.Start.Unix())
	}
	for i := 1; i < len(whole); i++ {
		require.LessOrEqual(t, value(whole[i]), value(whole[i-1]), "order %q", order)
	}
	for _, size := range []int{1, 7, 24, 25} {
		got := []string{}
		f := store.Filter{Limit: size, Order: order}
		for {
			page, err := s.db.Cases(ctx(), f)
			require.NoError(t, err)
			if len(page) == 0 {
				break
			}
			got = append(got, idsOf(page)...)
			f.After = page[len(page)-1].ID
		}
		assert.Equal(t, idsOf(whole), got, "pages of %d in order %q", size, order)
	}
}

func flagLists(t *testing.T, s *site) {
	id, c := s.assessed(t, func(c *store.Case) { c.Start = c.Start.AddDate(0, 0, 1) })
	quiet := versionOf(c, "quiet")
	s.assessed(t, nil)
	for state, want := range map[string]int{"reached": 2, "below": 2, "unknown": 2, "near": 0} {
		got, err := s.db.Flags(ctx(), store.Filter{}, state)
		require.NoError(t, err)
		require.Len(t, got, want, state)
		for _, f := range got {
			assert.Equal(t, state, f.Flag.State)
		}
	}
	// Only the newest version counts.
	s.read(t, c.StudyUID, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	quiet.Flags = quiet.Flags[:1]
	s.assess(t, quiet)
	got, err := s.db.Flags(ctx(), store.Filter{}, "reached")
	require.NoError(t, err)
	require.Len(t, got, 1)
	assert.NotEqual(t, id, got[0].Case.ID)
	page, err := s.db.Flags(ctx(), store.Filter{Limit: 1}, "reached")
	require.NoError(t, err)
	assert.Equal(t, got, page, "the newer case, which had such a flag once, takes no place on the page")
	// A case is never split between pages.
	both := versionOf(c, "both")
	both.Flags[0].State = "reached"
	s.read(t, c.StudyUID, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	s.assess(t, both)
	first, err := s.db.Flags(ctx(), store.Filter{Limit: 1}, "reached")
	require.NoError(t, err)
	second, err := s.db.Flags(ctx(), store.Filter{Limit: 1, After: first[0].Case.ID}, "reached")
	require.NoError(t, err)
	assert.Len(t, append(first, second...), 3)
}

func patientLists(t *testing.T, s *site) {
	older, a := s.assessed(t, func(c *store.Case) { c.Start = c.Start.AddDate(0, -3, 0) })
	newer, b := s.assessed(t, nil)
	s.assessed(t, nil)
	got, err := s.db.CasesOfPatient(ctx(), a.PatientID)
	require.NoError(t, err)
	assert.Equal(t, []string{older}, idsOf(got))
	_, err = s.db.LinkPatients(ctx(), person, b.PatientID, a.PatientID, "same")
	require.NoError(t, err)
	for _, id := range []string{a.PatientID, b.PatientID} {
		got, err = s.db.CasesOfPatient(ctx(), id)
		require.NoError(t, err)
		assert.Equal(t, []string{older, newer}, idsOf(got), "oldest first")
		got, err = s.db.Cases(ctx(), store.Filter{PatientID: id})
		require.NoError(t, err)
		assert.Equal(t, []string{newer, older}, idsOf(got), "newest first")
	}
	got, err = s.db.CasesOfPatient(ctx(), "nobody")
	require.NoError(t, err)
	assert.Empty(t, got)
}
