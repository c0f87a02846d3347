package conformance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func askTests() []test {
	return []test{
		{"a reached level asks, once", asksMade},
		{"an amended report supersedes and erases nothing", asksSuperseded},
		{"a flag that comes back is raised again", flagAgain},
		{"a settled flag is raised again when its value rises", settledRises},
		{"a case that counts no longer is still listed", asksOfReplaced},
		{"an answer, an attempt and a correction", asksAnswered},
		{"asks go along with a patient's records", asksOfMerged},
		{"asks name the operator, or the room's fallback", asksNamed},
		{"an ask is handed over", asksHandedOver},
		{"a physicist's own estimate reaches a level", ownReaches},
		{"overdue asks climb the ladder once", asksEscalate},
		{"lists and counts of asks", asksListed},
	}
}

// flagOf is a level of Ka,r with a value.
func flagOf(state string, value float64) store.Flag {
	return store.Flag{
		Scope: "this procedure", Scheme: "ncrp168", LevelID: "kar", Quantity: "kar", State: state, Value: quantity.Some(value), Level: quantity.Some(5.0),
		Basis: "reported", Text: "follow-up: Ka,r", Source: "test", Title: "Test levels", Meaning: "follow-up",
	}
}

// reached makes a patient with a case of Ka,r at the level.
func (s *site) reached(t *testing.T) (id string, v store.Version) {
	t.Helper()
	patient, study := s.patient(t)
	v = versionOf(caseOf(patient, study), "first")
	v.Case.PSD = quantity.Some[quantity.Gray](1)
	v.Flags = []store.Flag{flagOf("reached", 5.25)}
	return s.assess(t, v)[0], v
}

// again saves another version of a case after asking for it.
func (s *site) again(t *testing.T, v store.Version) {
	t.Helper()
	_, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "another look"})
	require.NoError(t, err)
	s.assess(t, v)
}

func (s *site) asksOf(t *testing.T, id string) map[string]store.AskRecord {
	t.Helper()
	all, err := s.db.Asks(ctx(), store.AskFilter{CaseID: id})
	require.NoError(t, err)
	bySlot := map[string]store.AskRecord{}
	for _, a := range all {
		bySlot[a.Slot] = a
	}
	require.Len(t, bySlot, len(all), "a slot once")
	return bySlot
}

func (s *site) flagsOf(t *testing.T, id string) []store.RaisedFlag {
	t.Helper()
	all, err := s.db.RaisedFlags(ctx(), id)
	require.NoError(t, err)
	return all
}

func asked(asks map[string]store.AskRecord) map[string]ask.State {
	all := map[string]ask.State{}
	for slot, a := range asks {
		all[slot] = a.State
	}
	return all
}

func asksMade(t *testing.T, s *site) {
	id, v := s.reached(t)
	asks := s.asksOf(t, id)
	assert.Equal(t, map[string]ask.State{"record": ask.Open, "inform": ask.Open, "review": ask.Open, "early": ask.Open, "month": ask.Open}, asked(asks))
	assert.Equal(t, [2]string{"2026-09-24", "2026-09-28"}, [2]string{asks["early"].From, asks["early"].Due})
	assert.Equal(t, "2026-09-16", asks["review"].Due)
	flags := s.flagsOf(t, id)
	require.Len(t, flags, 1)
	assert.Equal(t, store.FlagOpen, flags[0].State)
	resting, err := s.db.AsksOfFlag(ctx(), flags[0].ID)
	require.NoError(t, err)
	assert.Len(t, resting, 5)
	history, err := s.db.AskHistory(ctx(), asks["early"].ID)
	require.NoError(t, err)
	require.Len(t, history, 1)
	assert.Equal(t, ask.Made, history[0].Event)
	assert.Contains(t, actions(s.records(t)), "follow-up.change")

	s.again(t, v)
	records := len(s.records(t))
	other := v
	other.Digest = "second"
	s.clock.forward(24 * time.Hour)
	s.again(t, other)
	assert.Equal(t, asks, s.asksOf(t, id), "another version of the same dose changes no ask")
	assert.NotContains(t, actions(s.records(t)[records:]), "follow-up.change")
}

func asksSuperseded(t *testing.T, s *site) {
	id, v := s.reached(t)
	_, err := s.db.AnswerAsk(ctx(), person, s.asksOf(t, id)["inform"].ID, ask.Answer{Outcome: ask.Done, Day: "2026-09-14"})
	require.NoError(t, err)
	next := v
	next.Digest, next.Change, next.Flags, next.Case.FlagState = "second", "a corrected report came", []store.Flag{flagOf("below", 4.1)}, "below"
	s.again(t, next)
	asks := s.asksOf(t, id)
	assert.Equal(t, map[string]ask.State{
		"record": ask.Superseded, "inform": ask.Answered, "review": ask.Open, "early": ask.Superseded, "month": ask.Superseded,
	}, asked(asks))
	assert.False(t, asks["review"].Holds)
	flags := s.flagsOf(t, id)
	require.Len(t, flags, 1, "not erased")
	assert.Equal(t, store.FlagSuperseded, flags[0].State)
	assert.Contains(t, flags[0].Why, "now below")
	assert.Contains(t, flags[0].Why, "a corrected report came")
	assert.Equal(t, quantity.Some(5.25), flags[0].Value, "the value that reached it")
	history, err := s.db.FlagHistory(ctx(), flags[0].ID)
	require.NoError(t, err)
	require.Len(t, history, 2)
	assert.Equal(t, quantity.Some(4.1), history[1].Value)
	for _, slot := range []string{"early", "review"} {
		told, err := s.db.AskHistory(ctx(), asks[slot].ID)
		require.NoError(t, err)
		assert.Equal(t, "a corrected report came", told[len(told)-1].Reason, "never silently: %s", slot)
	}
}

func flagAgain(t *testing.T, s *site) {
	id, v := s.reached(t)
	next := v
	next.Digest, next.Flags = "second", []store.Flag{flagOf("below", 4.1)}
	s.again(t, next)
	next.Digest, next.Flags = "third", []store.Flag{flagOf("reached", 5.5)}
	s.again(t, next)
	assert.Equal(t, map[string]ask.State{"record": ask.Open, "inform": ask.Open, "review": ask.Open, "early": ask.Open, "month": ask.Open}, asked(s.asksOf(t, id)))
	flags := s.flagsOf(t, id)
	require.Len(t, flags, 1)
	assert.Equal(t, store.FlagOpen, flags[0].State)
	history, err := s.db.FlagHistory(ctx(), flags[0].ID)
	require.NoError(t, err)
	assert.Len(t, history, 3)
}

func settledRises(t *testing.T, s *site) {
	id, v := s.reached(t)
	flag := s.flagsOf(t, id)[0]
	_, err := s.db.SettleFlag(ctx(), person, flag.ID, ask.Settlement{Ground: ask.OnEstimate, Reason: "the estimate is low"})
	require.ErrorIs(t, err, ask.ErrRefused)
	_, err = s.db.SettleFlag(ctx(), store.Actor{Account: "x", Role: "operator"}, flag.ID, ask.Settlement{Ground: ask.OnMeasurement, Reason: "display reads high"})
	require.ErrorIs(t, err, ask.ErrRole)
	settled, err := s.db.SettleFlag(ctx(), person, flag.ID, ask.Settlement{Ground: ask.OnMeasurement, Reason: "display reads high"})
	require.NoError(t, err)
	assert.Equal(t, store.FlagSettled, settled.State)
	assert.Equal(t, map[string]ask.State{"record": ask.Open, "inform": ask.Settled, "review": ask.Settled, "early": ask.Settled, "month": ask.Settled}, asked(s.asksOf(t, id)))
	_, err = s.db.SettleFlag(ctx(), person, flag.ID, ask.Settlement{Ground: ask.OnMeasurement, Reason: "once more"})
	require.ErrorIs(t, err, store.ErrConflict)
	next := v
	next.Digest = "second"
	s.again(t, next)
	assert.Equal(t, store.FlagSettled, s.flagsOf(t, id)[0].State, "the same value stays settled")
	next.Digest, next.Flags = "third", []store.Flag{flagOf("reached", 5.26)}
	s.again(t, next)
	assert.Equal(t, store.FlagOpen, s.flagsOf(t, id)[0].State)
	assert.Equal(t, ask.Open, s.asksOf(t, id)["early"].State)
}

func asksOfReplaced(t *testing.T, s *site) {
	id, v := s.reached(t)
	next := v
	next.Digest, next.Flags, next.Case.Basis, next.Case.FlagState, next.Change = "second", nil, store.BasisReplaced, "", "replaced"
	s.again(t, next)
	asks := s.asksOf(t, id)
	assert.Equal(t, ask.Superseded, asks["early"].State)
	assert.Equal(t, ask.Open, asks["review"].State, "what the schedule keeps does not vanish with the case")
}

func asksAnswered(t *testing.T, s *site) {
	id, _ := s.reached(t)
	early := s.asksOf(t, id)["early"]
	s.clock.forward(12 * 24 * time.Hour)
	for name, wrong := range map[string]ask.Answer{
		"no grade":  {Outcome: ask.Seen, Day: "2026-09-25"},
		"no day":    {Outcome: ask.Seen, Grade: quantity.Some(0.0)},
		"tomorrow":  {Outcome: ask.Seen, Grade: quantity.Some(0.0), Day: "2026-09-27"},
		"no place":  {Outcome: ask.Seen, Grade: quantity.Some(1.0), Day: "2026-09-25"},
		"only done": {Outcome: ask.Done, Day: "2026-09-25"},
	} {
		_, err := s.db.AnswerAsk(ctx(), person, early.ID, wrong)
		require.ErrorIs(t, err, store.ErrInvalid, name)
	}
	a, err := s.db.AnswerAsk(ctx(), person, early.ID, ask.Answer{Outcome: ask.NotReached, Day: "2026-09-25", Note: "no answer"})
	require.NoError(t, err)
	assert.Equal(t, ask.Open, a.State)
	assert.Equal(t, 1, a.Attempts)
	a, err = s.db.AnswerAsk(ctx(), person, early.ID, ask.Answer{Outcome: ask.Seen, Day: "2026-09-20", Grade: quantity.Some(0.0)})
	require.NoError(t, err)
	assert.Equal(t, ask.Open, a.State, "seen before the window opened")
	said := ask.Answer{Outcome: ask.Seen, Day: "2026-09-26", Grade: quantity.Some(3.0), Place: "left back", Picture: "archive 7", Note: "moist"}
	a, err = s.db.AnswerAsk(ctx(), person, early.ID, said)
	require.NoError(t, err)
	assert.Equal(t, ask.Answered, a.State)
	assert.Equal(t, &said, a.Answer)
	assert.Equal(t, person.Account, a.By)
	asks := s.asksOf(t, id)
	assert.Equal(t, "2026-10-03", asks["refer"].Due)
	assert.Equal(t, "2026-09-27", asks["risk"].Due)
	assert.Equal(t, ask.Open, asks["late-12"].State)
	_, err = s.db.AnswerAsk(ctx(), person, early.ID, ask.Answer{Outcome: ask.Seen, Day: "2026-09-26", Grade: quantity.Some(1.0), Place: "left back"})
	require.ErrorIs(t, err, store.ErrInvalid)
	a, err = s.db.AnswerAsk(ctx(), person, early.ID, ask.Answer{Outcome: ask.Seen, Day: "2026-09-26", Grade: quantity.Some(1.0), Place: "left back", Correction: "typed wrongly"})
	require.NoError(t, err)
	assert.Equal(t, quantity.Some(1.0), a.Answer.Grade)
	asks = s.asksOf(t, id)
	assert.False(t, asks["refer"].Holds, "kept for people to end")
	assert.Equal(t, ask.Open, asks["refer"].State)
	assert.True(t, asks["late-12"].Holds)
	history, err := s.db.AskHistory(ctx(), early.ID)
	require.NoError(t, err)
	var events []ask.Event
	for _, e := range history {
		events = append(events, e.Event)
	}
	assert.Equal(t, []ask.Event{ask.Made, ask.Tried, ask.Tried, ask.Told, ask.Corrected}, events)
	_, err = s.db.AnswerAsk(ctx(), store.Actor{Account: "o", Role: "operator"}, asks["review"].ID, ask.Answer{Outcome: ask.Done, Day: "2026-09-26"})
	require.ErrorIs(t, err, ask.ErrRole)
}

func asksOfMerged(t *testing.T, s *site) {
	first, a := s.reached(t)
	second, b := s.reached(t)
	slots := func(patient string) []string {
		all, err := s.db.Asks(ctx(), store.AskFilter{PatientID: patient})
		require.NoError(t, err)
		var cases []string
		for _, one := range all {
			if one.Slot == "early" {
				cases = append(cases, one.CaseID)
			}
		}
		return cases
	}
	assert.Equal(t, []string{first}, slots(a.Case.PatientID))
	link, err := s.db.LinkPatients(ctx(), person, a.Case.PatientID, b.Case.PatientID, "same person")
	require.NoError(t, err)
	for _, patient := range []string{a.Case.PatientID, b.Case.PatientID} {
		assert.ElementsMatch(t, []string{first, second}, slots(patient))
	}
	require.NoError(t, s.db.UnlinkPatients(ctx(), person, link.ID, "another person"))
	assert.Equal(t, []string{first}, slots(a.Case.PatientID))
	assert.Equal(t, []string{second}, slots(b.Case.PatientID))
}

func ownReaches(t *testing.T, s *site) {
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "first")
	low := flagOf("below", 2)
	low.Quantity, low.LevelID, low.Level = "psd", "psd", quantity.Some(3.0)
	v.Flags, v.Case.FlagState = []store.Flag{low}, "below"
	v.Case.Kerma, v.Case.PSD = quantity.Some[quantity.Gray](2), quantity.Some[quantity.Gray](2)
	id := s.assess(t, v)[0]
	assert.Empty(t, s.asksOf(t, id))
	_, err := s.db.AddOwnEstimate(ctx(), person, id, ask.Own{Value: 3, Low: 4, High: 5, Method: "film", Reason: "r"})
	require.ErrorIs(t, err, store.ErrInvalid)
	e, err := s.db.AddOwnEstimate(ctx(), person, id, ask.Own{Value: 3, Low: 2.5, High: 4, Place: "left back", Method: "film", Reason: "film was placed"})
	require.NoError(t, err)
	flags := s.flagsOf(t, id)
	require.Len(t, flags, 1)
	assert.Contains(t, flags[0].Text, "own estimate")
	assert.Len(t, s.asksOf(t, id), 5)
	second, err := s.db.AddOwnEstimate(ctx(), person, id, ask.Own{Value: 2, Low: 1.5, High: 2.5, Method: "film read again", Reason: "scanner"})
	require.NoError(t, err)
	assert.Equal(t, store.FlagSuperseded, s.flagsOf(t, id)[0].State)
	all, err := s.db.OwnEstimates(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, []store.OwnEstimate{second, e}, all, "none is erased")
}

func asksListed(t *testing.T, s *site) {
	id, _ := s.reached(t)
	s.reached(t)
	all, err := s.db.Asks(ctx(), store.AskFilter{})
	require.NoError(t, err)
	require.Len(t, all, 10)
	var paged []store.AskRecord
	for after := ""; ; {
		page, err := s.db.Asks(ctx(), store.AskFilter{After: after, Limit: 3})
		require.NoError(t, err)
		if len(page) == 0 {
			break
		}
		paged, after = append(paged, page...), page[len(page)-1].ID
	}
	assert.Equal(t, all, paged)
	_, err = s.db.Asks(ctx(), store.AskFilter{After: "nobody"})
	require.ErrorIs(t, err, store.ErrCursor)
	for name, f := range map[string]store.AskFilter{
		"owner":    {Owner: ask.Physicist},
		"kind":     {Kind: ask.EarlyCheck},
		"due":      {DueFrom: "2026-09-28", Due: "2026-09-28"},
		"rooms":    {Rooms: []string{"Hybrid 1"}, Kind: ask.Review},
		"one case": {CaseID: id, States: []ask.State{ask.Open}, Due: "2026-09-16", Owner: ask.Operator},
	} {
		got, err := s.db.Asks(ctx(), f)
		require.NoError(t, err)
		assert.Len(t, got, 2, name)
	}
	none, err := s.db.Asks(ctx(), store.AskFilter{Rooms: []string{}})
	require.NoError(t, err)
	assert.Empty(t, none)
	s.clock.forward(10 * 24 * time.Hour)
	counts, err := s.db.AskCounts(ctx(), store.AskFilter{})
	require.NoError(t, err)
	total, overdue, week := 0, 0, 0
	for _, n := range counts {
		total += n.Number
		if n.Overdue {
			overdue += n.Number
		}
		if n.WeekOver {
			week += n.Number
		}
	}
	assert.Equal(t, [3]int{10, 6, 6}, [3]int{total, overdue, week})
}

// actions names what the audit records are of.
func actions(records []audit.Record) []string {
	var all []string
	for _, r := range records {
		all = append(all, r.Action)
	}
	return all
}
