package conformance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
)

func summaryTests() []test {
	return []test{
		{"a case comes with all that a summary reads of it", summaryCase},
		{"the newest estimate counts, and none of a case that was replaced", summaryFollows},
		{"operators stand under one pseudonym that stays", pseudonyms},
		{"filters and rooms narrow the cases of a summary", summaryFilters},
		{"linked records are one patient", summaryLinks},
		{"any sequence of changes leaves the rows as the cases are", summarySequences},
		{"reviews are added by people who took no part", peerReviews},
		{"actions are carried on until somebody closes them", periodActions},
		{"a chart has one frozen baseline", baselines},
	}
}

// everything asks for the cases of all days.
func everything() store.SummaryFilter { return store.SummaryFilter{From: "", To: "9999-12-31"} }

func (s *site) summaryCases(t *testing.T, f store.SummaryFilter) []summary.Case {
	t.Helper()
	cases, err := s.db.SummaryCases(ctx(), f)
	require.NoError(t, err)
	return cases
}

// unsound counts the rows of summaries that differ from their cases.
func (s *site) unsound(t *testing.T) int {
	t.Helper()
	n, err := s.db.MakeSummaryRows(ctx(), person, "a test")
	require.NoError(t, err)
	return n
}

func summaryCase(t *testing.T, s *site) {
	patient, study := s.patient(t)
	c := caseOf(patient, study)
	c.Gaps = store.GapKAP | store.SuspectKerma | store.LowerBound
	c.KermaFactor = quantity.Some(1.08)
	v := versionOf(c, "first")
	v.Flags = []store.Flag{flagOf("reached", 5.25), flagOf("near", 4)}
	v.Flags[1].LevelID = "kar-near"
	v.Pregnant = true
	v.Traits = store.Traits{
		Complexity: "complex", AgeYears: quantity.Some(71.0), Sex: "F", Height: quantity.Some[quantity.Millimetre](1710), Weight: quantity.Some[quantity.Kilogram](81.5),
		Images: quantity.Some(412.0), NoPeak: "", NoEffective: "",
	}
	id := s.assess(t, v)[0]
	got := s.summaryCases(t, everything())
	require.Len(t, got, 1)
	one := got[0]
	assert.True(t, c.Start.Equal(one.Start))
	_, offset := one.Start.Zone()
	assert.Equal(t, 2*3600, offset)
	asks := one.Asks
	one.Start, one.Asks = time.Time{}, nil
	assert.Equal(t, summary.Case{
		ID: id, Day: "2026-09-14", Class: "complex aortic repair", Complexity: "complex", Room: "Hybrid 1", Device: "Hybrid 1", Patient: patient,
		Age: quantity.Some(71.0), Weight: quantity.Some[quantity.Kilogram](81.5), Height: quantity.Some[quantity.Millimetre](1710), Pregnant: true,
		Kerma: c.Kerma, KAP: c.KAP, FluoroTime: c.FluoroTime, Images: quantity.Some(412.0), KermaDoubt: summary.DoubtSuspect, KAPDoubt: summary.DoubtPart,
		KermaFactor: quantity.Some(1.08), PSD: c.PSD, PSDLow: c.PSDLow, PSDHigh: c.PSDHigh, PSDLowerBound: true, PSDMethod: "map",
		Effective: c.Effective, EffectiveMethod: c.EffectiveMethod, State: "reached",
		Flags: []summary.Flag{
			{Scope: summary.ScopeCase, Scheme: "ncrp168", Level: "kar", Meaning: summary.MeaningFollowUp, Quantity: "kar", State: "reached", Value: quantity.Some(5.25), LevelValue: quantity.Some(5.0)},
			{Scope: summary.ScopeCase, Scheme: "ncrp168", Level: "kar-near", Meaning: summary.MeaningFollowUp, Quantity: "kar", State: "near", Value: quantity.Some(4.0), LevelValue: quantity.Some(5.0)},
		},
	}, one)
	assert.Len(t, asks, len(s.asksOf(t, id)), "every ask of the case")
	all := s.asksOf(t, id)
	for _, a := range all {
		if a.Kind == ask.MonthCheck {
			_, err := s.db.AnswerAsk(ctx(), person, a.ID, ask.Answer{Outcome: ask.Seen, Day: "2026-09-14", Grade: quantity.Some(1.0), Place: "back"})
			require.NoError(t, err)
		}
	}
	assert.Equal(t, []summary.Reaction{{Day: "2026-09-14", Grade: 1, Place: "back"}}, s.summaryCases(t, everything())[0].Reactions, "seen before the window opens: it counts, and the ask stays open")
	require.Zero(t, s.unsound(t))
}

func summaryFollows(t *testing.T, s *site) {
	id, v := s.reached(t)
	v.Digest, v.Case.Class, v.Case.LocalDate, v.Case.Kerma, v.Flags = "second", "coronary", "2026-10-02", quantity.Some[quantity.Gray](1), []store.Flag{flagOf("below", 1)}
	s.again(t, v)
	got := s.summaryCases(t, everything())
	require.Len(t, got, 1)
	assert.Equal(t, []any{id, "coronary", "2026-10-02", quantity.Some[quantity.Gray](1)}, []any{got[0].ID, got[0].Class, got[0].Day, got[0].Kerma})
	assert.Empty(t, got[0].Flags, "superseded")
	assert.Empty(t, s.summaryCases(t, store.SummaryFilter{From: "2026-09-01", To: "2026-09-30"}), "it left its month")
	require.Zero(t, s.unsound(t))
	v.Digest, v.Case.Quality = "third", true
	s.again(t, v)
	assert.True(t, s.summaryCases(t, everything())[0].Quality)
	v.Digest, v.Case.Basis = "fourth", store.BasisReplaced
	s.again(t, v)
	assert.Empty(t, s.summaryCases(t, everything()))
	require.Zero(t, s.unsound(t))
}

func pseudonyms(t *testing.T, s *site) {
	id, _ := s.assessed(t, nil)
	one, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	require.Empty(t, s.summaryCases(t, everything())[0].Operators)
	step := stepOf(1, one.StudyUID)
	step.Operators = []procedure.Person{
		{Name: "Operator^A", ID: "OP-A", Issuer: "STAFF", RoleInProcedure: procedure.Code{Value: "121094", Scheme: "DCM"}},
		{Name: "Helper^B", ID: "OP-B", Issuer: "STAFF", RoleInProcedure: procedure.Code{Value: "121099", Scheme: "DCM"}},
	}
	_, err = s.db.CreateStep(ctx(), door, step)
	require.NoError(t, err)
	got := s.summaryCases(t, everything())[0].Operators
	require.Len(t, got, 1, "who performed it, not who assisted")
	assert.Regexp(t, `^operator-[a-z2-7]{10}$`, got[0])
	names := everything()
	names.OperatorNames = true
	assert.Equal(t, []string{"Operator^A"}, s.summaryCases(t, names)[0].Operators)
	s.reopen(t)
	assert.Equal(t, got, s.summaryCases(t, everything())[0].Operators, "the same after a start")
	account, err := s.db.MakeAccount(ctx(), person, store.Account{Name: "a.operator", Role: "operator", Rooms: []string{"Hybrid 1"}})
	require.NoError(t, err)
	people, err := s.db.Persons(ctx(), store.PersonFilter{})
	require.NoError(t, err)
	for _, p := range people {
		require.NoError(t, s.db.MapPerson(ctx(), person, p.ID, account.ID, "same person"))
	}
	assert.Equal(t, []string{"a.operator"}, s.summaryCases(t, names)[0].Operators)
	assert.Len(t, s.summaryCases(t, everything())[0].Operators, 1)
	require.Zero(t, s.unsound(t))
}

func summaryFilters(t *testing.T, s *site) {
	for i, room := range rooms {
		s.assessed(t, func(c *store.Case) {
			c.Room, c.DeviceKey, c.LocalDate = room, room, fmt.Sprintf("2026-%02d-01", 6+i)
			c.FlagState = "below"
			if i%2 == 0 {
				c.Class = "coronary"
			}
		})
	}
	days := func(f store.SummaryFilter) (all []string) {
		for _, c := range s.summaryCases(t, f) {
			all = append(all, c.Day)
		}
		return all
	}
	year := store.SummaryFilter{From: "2026-01-01", To: "2026-12-31"}
	assert.Equal(t, []string{"2026-06-01", "2026-07-01", "2026-08-01", "2026-09-01"}, days(year))
	quarter := store.SummaryFilter{From: "2026-07-01", To: "2026-09-30"}
	assert.Equal(t, []string{"2026-07-01", "2026-08-01", "2026-09-01"}, days(quarter))
	narrow := func(edit func(f *store.SummaryFilter)) []string {
		f := year
		edit(&f)
		return days(f)
	}
	assert.Equal(t, []string{"2026-06-01", "2026-08-01"}, narrow(func(f *store.SummaryFilter) { f.Class = "coronary" }))
	assert.Equal(t, []string{"2026-07-01"}, narrow(func(f *store.SummaryFilter) { f.Room = rooms[1] }))
	assert.Equal(t, []string{"2026-09-01"}, narrow(func(f *store.SummaryFilter) { f.Device = rooms[3] }))
	assert.Equal(t, []string{"2026-06-01", "2026-07-01"}, narrow(func(f *store.SummaryFilter) { f.Rooms = rooms[:2] }))
	assert.Empty(t, narrow(func(f *store.SummaryFilter) { f.Rooms = []string{} }), "no room is not every room")
	id, _ := s.reached(t)
	got := s.summaryCases(t, store.SummaryFilter{From: "2030-01-01", To: "2030-01-31", OpenAsks: true})
	require.Len(t, got, 1, "something is still asked about it")
	assert.Equal(t, id, got[0].ID)
	assert.Empty(t, s.summaryCases(t, store.SummaryFilter{From: "2030-01-01", To: "2030-01-31"}))
}

func summaryLinks(t *testing.T, s *site) {
	_, a := s.assessed(t, nil)
	_, b := s.assessed(t, nil)
	patients := func() map[string]bool {
		all := map[string]bool{}
		for _, c := range s.summaryCases(t, everything()) {
			all[c.Patient] = true
		}
		return all
	}
	require.Len(t, patients(), 2)
	l, err := s.db.LinkPatients(ctx(), person, b.PatientID, a.PatientID, "same person")
	require.NoError(t, err)
	assert.Len(t, patients(), 1)
	require.Zero(t, s.unsound(t))
	require.NoError(t, s.db.UnlinkPatients(ctx(), person, l.ID, "two persons"))
	assert.Len(t, patients(), 2)
	require.Zero(t, s.unsound(t))
}

func peerReviews(t *testing.T, s *site) {
	id, _ := s.assessed(t, nil)
	review := func(state summary.ReviewState, version int, reason string) error {
		_, err := s.db.ReviewCase(ctx(), person, id, version, state, reason)
		return err
	}
	assert.Equal(t, summary.ReviewNone, s.summaryCases(t, everything())[0].Review.State, "nothing is found by itself")
	require.ErrorIs(t, review("safe", 1, "seen"), store.ErrInvalid)
	require.ErrorIs(t, review(summary.ReviewAppropriate, 1, "  "), store.ErrInvalid, "a finding wants words")
	require.ErrorIs(t, review(summary.ReviewAppropriate, 2, "seen"), store.ErrConflict, "another estimate was looked at")
	require.NoError(t, review(summary.ReviewPending, 1, "the committee asked for it"))
	require.NoError(t, review(summary.ReviewOpportunity, 1, "collimation could have been closer"))
	found, err := s.db.PeerReviews(ctx(), id)
	require.NoError(t, err)
	require.Len(t, found, 2, "what was found before stays")
	assert.Equal(t, []any{2, summary.ReviewOpportunity, person.Account, "physicist", "2026-09-14"}, []any{found[0].Sequence, found[0].State, found[0].Author, found[0].Role, found[0].Day})
	assert.Equal(t, summary.Review{State: summary.ReviewOpportunity, Day: "2026-09-14"}, s.summaryCases(t, everything())[0].Review)
	last := s.last(t)
	assert.Equal(t, []string{"case.review", id + "/1", "pending", "opportunity"}, []string{last.Action, last.Object, last.Before, last.After})
	_, err = s.db.ReviewCase(ctx(), person, "no such case", 1, summary.ReviewPending, "seen")
	require.ErrorIs(t, err, store.ErrNotFound)

	one, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	_, err = s.db.CreateStep(ctx(), door, stepOf(1, one.StudyUID))
	require.NoError(t, err)
	account, err := s.db.MakeAccount(ctx(), person, store.Account{Name: "who took part", Role: "physicist"})
	require.NoError(t, err)
	people, err := s.db.Persons(ctx(), store.PersonFilter{})
	require.NoError(t, err)
	require.NoError(t, s.db.MapPerson(ctx(), person, people[0].ID, account.ID, "same person"))
	_, err = s.db.ReviewCase(ctx(), store.Actor{Account: account.ID, Role: "physicist"}, id, 1, summary.ReviewAppropriate, "mine was fine")
	require.ErrorIs(t, err, store.ErrConflict, "nobody reviews what they did")
}

func periodActions(t *testing.T, s *site) {
	agree := func(edit func(a *store.PeriodAction)) (store.PeriodAction, error) {
		a := store.PeriodAction{Action: summary.Action{Period: "2026-09", Text: "look at the filters of Cath 2", Owner: "physics", Due: "2026-10-15"}, Room: "Cath 2"}
		if edit != nil {
			edit(&a)
		}
		return s.db.AgreeAction(ctx(), person, a)
	}
	a, err := agree(nil)
	require.NoError(t, err)
	for name, edit := range map[string]func(a *store.PeriodAction){
		"no period": func(a *store.PeriodAction) { a.Period = "soon" }, "no words": func(a *store.PeriodAction) { a.Text = " " },
		"nobody": func(a *store.PeriodAction) { a.Owner = "" }, "a day that is past": func(a *store.PeriodAction) { a.Due = "2026-09-13" },
	} {
		_, err := agree(edit)
		require.ErrorIs(t, err, store.ErrInvalid, name)
	}
	about := func(from, to string, rooms []string) (ids []string) {
		all, err := s.db.Actions(ctx(), from, to, rooms)
		require.NoError(t, err)
		for _, one := range all {
			ids = append(ids, one.ID)
		}
		return ids
	}
	assert.Equal(t, []string{a.ID}, about("2026-09-01", "2026-09-30", nil))
	assert.Equal(t, []string{a.ID}, about("2026-12-01", "2026-12-31", []string{"Cath 2"}), "carried on")
	assert.Empty(t, about("2026-12-01", "2026-12-31", []string{"Neuro 4"}))
	assert.Empty(t, about("2026-08-01", "2026-08-31", nil), "not agreed yet")
	_, err = s.db.ChangeAction(ctx(), person, a.ID, store.ActionReopened, "again", "")
	require.ErrorIs(t, err, store.ErrConflict)
	moved, err := s.db.ChangeAction(ctx(), person, a.ID, store.ActionMoved, "parts are late", "2026-11-01")
	require.NoError(t, err)
	assert.Equal(t, "2026-11-01", moved.Due)
	closed, err := s.db.ChangeAction(ctx(), person, a.ID, store.ActionClosed, "filters are in", "")
	require.NoError(t, err)
	assert.Equal(t, []string{"2026-09-14", "filters are in"}, []string{closed.Closed, closed.Outcome})
	assert.Equal(t, []string{a.ID}, about("2026-09-01", "2026-09-30", nil), "closed in it")
	assert.Empty(t, about("2026-12-01", "2026-12-31", nil))
	_, err = s.db.ChangeAction(ctx(), person, a.ID, store.ActionClosed, "twice", "")
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.ChangeAction(ctx(), person, a.ID, store.ActionReopened, "they were the wrong ones", "")
	require.NoError(t, err)
	history, err := s.db.ActionHistory(ctx(), a.ID)
	require.NoError(t, err)
	events := make([]string, 0, len(history))
	for _, e := range history {
		events = append(events, e.Event)
	}
	assert.Equal(t, []string{"agreed", "moved", "closed", "reopened"}, events)
	got, err := s.db.Action(ctx(), a.ID)
	require.NoError(t, err)
	assert.Equal(t, []string{"", ""}, []string{got.Closed, got.Outcome})
}

func baselines(t *testing.T, s *site) {
	b := trend.Baseline{Key: "kap/coronary", Kind: trend.ValueAndRange, From: "2026-01-02", To: "2026-03-04", N: 20, Centre: 3.25, MovingRange: 0.5}
	_, err := s.db.FreezeBaseline(ctx(), person, b, "")
	require.ErrorIs(t, err, store.ErrInvalid)
	first, err := s.db.FreezeBaseline(ctx(), person, b, "twenty cases of one protocol")
	require.NoError(t, err)
	assert.Equal(t, []any{true, "2026-09-14", person.Account}, []any{first.Frozen, first.FrozenOn, first.FrozenBy})
	b.N = 30
	second, err := s.db.FreezeBaseline(ctx(), person, b, "new protocol")
	require.NoError(t, err)
	got, err := s.db.Baselines(ctx())
	require.NoError(t, err)
	assert.Equal(t, []store.FrozenBaseline{second}, got, "one of a chart")
	require.NoError(t, s.db.EndBaseline(ctx(), person, b.Key, "the room was rebuilt"))
	require.ErrorIs(t, s.db.EndBaseline(ctx(), person, b.Key, "twice"), store.ErrNotFound)
	got, err = s.db.Baselines(ctx())
	require.NoError(t, err)
	assert.Empty(t, got)
}
