package conformance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func performedTests() []test {
	return []test{
		{"a step comes back as it was created and set", createAndSet},
		{"an import changes nothing twice, and keeps what was said before", tables},
		{"steps are listed by page, room and scope", stepLists},
		{"facts of a step reach its cases once, and no other patient's", stepFacts},
		{"completeness reads a period and what belongs to it", comparedPeriod},
		{"persons are kept once, and never a patient", persons},
		{"a person is one account's at a time", mappings},
		{"a room has one fallback", fallbacks},
	}
}

func stepOf(n int, study string) performed.Step {
	return performed.Step{
		Source: performed.SourceMPPS, Key: fmt.Sprint("2.25.7.", n), StudyUID: study, Accession: fmt.Sprint("A-", n), State: performed.InProgress,
		Start: procedure.Moment{Time: time.Date(2026, 9, 14, 8, n, 0, 0, time.UTC), Offset: procedure.OffsetOfSite}, Room: rooms[n%4],
		Patient:   performed.Patient{Number: fmt.Sprint("N", n), Issuer: "Saltmarsh", Name: "Demo^Step", BirthDate: "1950-01-31", Sex: "F"},
		Operators: []procedure.Person{{Name: "Operator^A", ID: "OP-A", Issuer: "STAFF"}},
		Height:    quantity.Some[quantity.Millimetre](1710),
	}
}

func createAndSet(t *testing.T, s *site) {
	step := stepOf(1, "2.25.1")
	id, err := s.db.CreateStep(ctx(), door, step)
	require.NoError(t, err)
	_, err = s.db.CreateStep(ctx(), door, step)
	require.ErrorIs(t, err, store.ErrConflict)
	got, err := s.db.Performed(ctx(), id)
	require.NoError(t, err)
	assert.True(t, step.Start.Time.Equal(got.Step.Start.Time))
	got.Step.Start.Time = step.Start.Time
	assert.Equal(t, step, got.Step)
	set := func(key string, edit func(*performed.Step)) error {
		_, err := s.db.SetStep(ctx(), door, key, func(p *performed.Step) error { edit(p); return nil })
		return err
	}
	require.NoError(t, set(step.Key, func(p *performed.Step) { p.State, p.Key = performed.Completed, "another" }))
	require.ErrorIs(t, set(step.Key, func(*performed.Step) {}), store.ErrConflict, "a completed step changes no more")
	require.ErrorIs(t, set("2.25.404", func(*performed.Step) {}), store.ErrNotFound)
	versions, err := s.db.PerformedVersions(ctx(), id)
	require.NoError(t, err)
	require.Len(t, versions, 2)
	assert.Equal(t, performed.InProgress, versions[0].Step.State)
	assert.Equal(t, performed.Completed, versions[1].Step.State)
	assert.Equal(t, step.Key, versions[1].Step.Key, "a step keeps its key")
	for _, r := range s.records(t) {
		assert.NotContains(t, fmt.Sprint(r), "Demo^Step", "the record names no patient")
	}
	_, err = s.db.Performed(ctx(), "no such step")
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = s.db.CreateStep(ctx(), door, performed.Step{Source: performed.SourceMPPS})
	require.ErrorIs(t, err, store.ErrInvalid)
}

func tables(t *testing.T, s *site) {
	step := stepOf(1, "2.25.1")
	step.Source, step.State = performed.SourceCSV, performed.Completed
	other := stepOf(2, "2.25.2")
	other.Source = performed.SourceCSV
	hand := func(want ...store.Outcome) {
		t.Helper()
		id, err := s.db.BeginImport(ctx(), person)
		require.NoError(t, err)
		got, err := s.db.AddSteps(ctx(), person, id, []store.StepRow{{Line: 2, Step: step}, {Line: 3, Step: other}})
		require.NoError(t, err)
		assert.Equal(t, want, got)
		require.NoError(t, s.db.EndImport(ctx(), person, store.Imported{ID: id, Digest: "d"}))
		assert.Equal(t, "performed.import", s.last(t).Action)
	}
	hand(store.StepAdded, store.StepAdded)
	hand(store.StepSame, store.StepSame)
	step.Accession = "corrected"
	hand(store.StepChanged, store.StepSame)
	all, err := s.db.PerformedSteps(ctx(), store.PerformedFilter{})
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, "corrected", all[1].Step.Accession)
	assert.Equal(t, 2, all[1].Line)
	versions, err := s.db.PerformedVersions(ctx(), all[1].ID)
	require.NoError(t, err)
	assert.Len(t, versions, 2)
}

func stepLists(t *testing.T, s *site) {
	for n := range 10 {
		_, err := s.db.CreateStep(ctx(), door, stepOf(n, fmt.Sprint("2.25.", n)))
		require.NoError(t, err)
	}
	whole, err := s.db.PerformedSteps(ctx(), store.PerformedFilter{})
	require.NoError(t, err)
	require.Len(t, whole, 10)
	var paged []store.Performed
	for after := ""; ; after = paged[len(paged)-1].ID {
		page, err := s.db.PerformedSteps(ctx(), store.PerformedFilter{After: after, Limit: 3})
		require.NoError(t, err)
		if len(page) == 0 {
			break
		}
		paged = append(paged, page...)
	}
	assert.Equal(t, whole, paged)
	for want, f := range map[int]store.PerformedFilter{
		3: {Room: rooms[0]}, 0: {Rooms: []string{}}, 2: {Rooms: []string{rooms[3]}}, 10: {From: "2026-09-14", To: "2026-09-14", Source: performed.SourceMPPS},
	} {
		got, err := s.db.PerformedSteps(ctx(), f)
		require.NoError(t, err)
		assert.Len(t, got, want, "%+v", f)
	}
	none, err := s.db.PerformedSteps(ctx(), store.PerformedFilter{From: "2026-09-15"})
	require.NoError(t, err)
	assert.Empty(t, none)
}

func stepFacts(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	patient, err := s.db.Patient(ctx(), c.PatientID)
	require.NoError(t, err)
	s.drain(t)
	step := stepOf(1, c.StudyUID)
	_, err = s.db.CreateStep(ctx(), door, step)
	require.NoError(t, err)
	facts, err := s.db.Facts(ctx(), id)
	require.NoError(t, err)
	assert.Empty(t, facts, "the step names another patient")
	i := patient.Identity
	step.Key, step.Patient = "2.25.8", performed.Patient{Number: i.Number, Issuer: i.Issuer}
	for range 2 {
		_, err = s.db.CreateStep(ctx(), door, step)
		step.Key += "1" // the same said again by another step
		require.NoError(t, err)
	}
	facts, err = s.db.Facts(ctx(), id)
	require.NoError(t, err)
	require.Len(t, facts, 1)
	assert.Equal(t, "height_cm", facts[0].Name)
	assert.Equal(t, "171", facts[0].Value)
	assert.Equal(t, store.SourcePerformed, facts[0].Source)
	assert.Equal(t, []string{c.StudyUID}, subjects(s.drain(t)))
}

func comparedPeriod(t *testing.T, s *site) {
	_, c := s.assessed(t, nil)
	patient, err := s.db.Patient(ctx(), c.PatientID)
	require.NoError(t, err)
	found := stepOf(1, c.StudyUID)
	found.Patient = performed.Patient{Number: patient.Identity.Number}
	found.Start.Time = found.Start.Time.AddDate(0, -1, 0) // the study brings it in from another month
	lost := stepOf(2, "2.25.404")
	for _, step := range []performed.Step{found, lost} {
		_, err := s.db.CreateStep(ctx(), door, step)
		require.NoError(t, err)
	}
	rules := completeness.Rules{Window: time.Hour, Now: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)}
	l, roomOf, err := s.db.Completeness(ctx(), c.LocalDate, c.LocalDate, rules)
	require.NoError(t, err)
	assert.Equal(t, completeness.Counts{Performed: 2, Missing: 1, Reported: 1}, l.Counts())
	assert.Equal(t, c.Room, roomOf(l.Rows[0].Cases[0]))
	_, _, err = s.db.Completeness(ctx(), "2026-09-14", "2026-09-13", rules)
	require.ErrorIs(t, err, store.ErrInvalid)
}

func persons(t *testing.T, s *site) {
	step := stepOf(1, "2.25.1")
	step.Operators = append(step.Operators, procedure.Person{Name: "OPERATOR^A^B", ID: "op-a", Issuer: "Staff"},
		procedure.Person{Name: "Demo Step"}, procedure.Person{ID: "N1"}, procedure.Person{Name: "^^"}, procedure.Person{Login: "radiographer"})
	_, err := s.db.CreateStep(ctx(), door, step)
	require.NoError(t, err)
	all, err := s.db.Persons(ctx(), store.PersonFilter{})
	require.NoError(t, err)
	require.Len(t, all, 2, "one number is one person, the patient is none, and an empty name is nobody")
	assert.ElementsMatch(t, []string{"OPERATOR^A^B", ""}, []string{all[0].Name, all[1].Name}, "the first spelling in alphabetical order")
	assert.ElementsMatch(t, []string{"", "radiographer"}, []string{all[0].Login, all[1].Login})
}

func mappings(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	_, err := s.db.CreateStep(ctx(), door, stepOf(1, c.StudyUID))
	require.NoError(t, err)
	all, err := s.db.Persons(ctx(), store.PersonFilter{})
	require.NoError(t, err)
	require.Len(t, all, 1)
	who := all[0]
	assert.Equal(t, 1, who.Cases)
	a, err := s.db.AddAccount(ctx(), person, "surgeon", "operator", rooms)
	require.NoError(t, err)
	require.NoError(t, s.db.MapPerson(ctx(), person, who.ID, a.ID, "staff list"))
	require.ErrorIs(t, s.db.MapPerson(ctx(), person, who.ID, a.ID, "staff list"), store.ErrConflict)
	require.ErrorIs(t, s.db.MapPerson(ctx(), person, "nobody", a.ID, "staff list"), store.ErrNotFound)
	mapped, unmapped := true, false
	for f, want := range map[*bool]int{&mapped: 1, &unmapped: 0} {
		got, err := s.db.Persons(ctx(), store.PersonFilter{Mapped: f})
		require.NoError(t, err)
		assert.Len(t, got, want)
	}
	one, err := s.db.Case(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, []string{a.ID}, one.Operators)
	for account, want := range map[string]int{a.ID: 1, "another": 0} {
		got, err := s.db.Cases(ctx(), store.Filter{Account: account})
		require.NoError(t, err)
		assert.Len(t, got, want)
	}
	require.NoError(t, s.db.UnmapPerson(ctx(), person, who.ID, "left"))
	require.ErrorIs(t, s.db.UnmapPerson(ctx(), person, who.ID, "left"), store.ErrNotFound)
	require.NoError(t, s.db.MapPerson(ctx(), person, who.ID, a.ID, "came back"), "an ended one may be made anew")
}

func fallbacks(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	first, err := s.db.AddAccount(ctx(), person, "first", "operator", rooms)
	require.NoError(t, err)
	second, err := s.db.AddAccount(ctx(), person, "second", "operator", rooms)
	require.NoError(t, err)
	accounts, fallback, err := s.db.OperatorsOf(ctx(), id)
	require.NoError(t, err)
	assert.Empty(t, accounts)
	assert.False(t, fallback)
	require.NoError(t, s.db.SetFallback(ctx(), person, c.Room, first.ID, "head"))
	require.NoError(t, s.db.SetFallback(ctx(), person, c.Room, second.ID, "new head"))
	all, err := s.db.Fallbacks(ctx())
	require.NoError(t, err)
	require.Len(t, all, 1)
	accounts, fallback, err = s.db.OperatorsOf(ctx(), id)
	require.NoError(t, err)
	assert.Equal(t, []string{second.ID}, accounts)
	assert.True(t, fallback)
	require.NoError(t, s.db.DisableAccount(ctx(), person, second.ID, "left"))
	accounts, _, err = s.db.OperatorsOf(ctx(), id)
	require.NoError(t, err)
	assert.Empty(t, accounts, "nobody hears by an account that ended")
	require.NoError(t, s.db.SetFallback(ctx(), person, c.Room, "", "closed"))
	require.ErrorIs(t, s.db.SetFallback(ctx(), person, c.Room, "", "closed"), store.ErrNotFound)
	require.ErrorIs(t, s.db.SetFallback(ctx(), person, c.Room, "nobody", "x"), store.ErrNotFound)
}
