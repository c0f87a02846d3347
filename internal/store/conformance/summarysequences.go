package conformance

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// sequence is a store whose cases are changed in any order, with the ids of those it ever made.
type sequence struct {
	*site
	rng      *rand.Rand
	studies  []string // of each case
	patients []string
	ids      []string
	versions []store.Version
	links    []string
	steps    int
}

// summarySequences changes cases in any order - amended, reclassed, replaced, linked, late reports, performed steps, answers,
// estimates, reviews - and compares what a summary is made of with the cases themselves.
func summarySequences(t *testing.T, s *site) {
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	q := &sequence{site: s, rng: rand.New(rand.NewPCG(seed, 1))} //nolint:gosec // a test
	for range 3 {
		q.begin(t)
	}
	doings := []func(*testing.T){q.begin, q.amend, q.amend, q.amend, q.late, q.link, q.unlink, q.perform, q.answer, q.own, q.review}
	for range 40 {
		doings[q.rng.IntN(len(doings))](t)
	}
	require.Zero(t, s.unsound(t), "rows that differ from what they are made of")
	q.compare(t)
}

func (q *sequence) one() int { return q.rng.IntN(len(q.ids)) }

// begin makes a patient with a case.
func (q *sequence) begin(t *testing.T) {
	patient, study := q.patient(t)
	v := q.shape(versionOf(caseOf(patient, study), fmt.Sprint("digest ", q.next())))
	q.ids = append(q.ids, q.assess(t, v)[0])
	q.studies, q.patients, q.versions = append(q.studies, study), append(q.patients, patient), append(q.versions, v)
}

// shape draws what an amendment may change.
func (q *sequence) shape(v store.Version) store.Version {
	pick := func(words ...string) string { return words[q.rng.IntN(len(words))] }
	value := q.rng.Float64() * 8
	v.Case.Class, v.Case.Room = pick("coronary", "valve", "neuro"), pick(rooms...)
	v.Case.LocalDate = pick("2026-08-31", "2026-09-01", "2026-09-14", "")
	v.Case.FlagState = pick("reached", "near", "below", "unknown")
	v.Case.Kerma = quantity.None[quantity.Gray]()
	if q.rng.IntN(4) > 0 {
		v.Case.Kerma = quantity.Some(quantity.Gray(value))
	}
	v.Case.Gaps = store.Gaps(q.rng.IntN(64))
	v.Case.Quality = q.rng.IntN(8) == 0
	v.Case.Basis = store.BasisReport
	if q.rng.IntN(8) == 0 {
		v.Case.Basis = store.BasisReplaced
	}
	v.Traits = store.Traits{Complexity: pick("", "simple", "complex"), AgeYears: quantity.Some(float64(q.rng.IntN(90))), NoPeak: pick("", "no geometry")}
	state := "below"
	if value >= 5 {
		state = "reached"
	}
	v.Flags = []store.Flag{flagOf(state, value)}
	v.Pregnant = q.rng.IntN(8) == 0
	v.Digest = fmt.Sprint("digest ", q.next())
	return v
}

func (q *sequence) amend(t *testing.T) {
	i := q.one()
	q.versions[i] = q.shape(q.versions[i])
	q.again(t, q.versions[i])
}

// late brings another report with a person of its own, and the same estimate or another one.
func (q *sequence) late(t *testing.T) {
	i := q.one()
	n := q.next()
	patient, err := q.db.Patient(ctx(), q.patients[i])
	require.NoError(t, err)
	q.readAs(t, store.Report{
		SOPInstance: fmt.Sprintf("2.25.%d", n), DataSetDigest: fmt.Sprintf("set %d", n), ContentDigest: fmt.Sprintf("content %d", n),
		StudyUID: q.studies[i], DeviceKey: "Hybrid 1", ContentAt: q.clock.Now(), Body: []byte("late"),
		Persons: []procedure.Person{{Name: fmt.Sprint("Operator^", n%5), RoleInProcedure: procedure.Code{Value: []string{"121094", "113851", "121099"}[n%3], Scheme: "DCM"}}},
	}, patient.Identity)
	if q.rng.IntN(2) == 0 {
		q.versions[i] = q.shape(q.versions[i])
		q.assess(t, q.versions[i])
	}
}

func (q *sequence) link(t *testing.T) {
	l, err := q.db.LinkPatients(ctx(), person, q.patients[q.one()], q.patients[q.one()], "same person")
	if err == nil {
		q.links = append(q.links, l.ID)
	}
}

func (q *sequence) unlink(t *testing.T) {
	if n := len(q.links); n > 0 {
		require.NoError(t, q.db.UnlinkPatients(ctx(), person, q.links[n-1], "two persons"))
		q.links = q.links[:n-1]
	}
}

// perform announces a step of a case with an operator, or gives one another study.
func (q *sequence) perform(t *testing.T) {
	if q.steps > 0 && q.rng.IntN(2) == 0 {
		_, err := q.db.SetStep(ctx(), door, stepOf(1+q.rng.IntN(q.steps), "").Key, func(s *performed.Step) error {
			s.StudyUID = q.studies[q.one()]
			return nil
		})
		require.NoError(t, err)
		return
	}
	q.steps++
	step := stepOf(q.steps, q.studies[q.one()])
	step.Operators[0].RoleInProcedure = procedure.Code{Value: "121094", Scheme: "DCM"}
	_, err := q.db.CreateStep(ctx(), door, step)
	require.NoError(t, err)
}

func (q *sequence) answer(t *testing.T) {
	open, err := q.db.Asks(ctx(), store.AskFilter{States: []ask.State{ask.Open}, CaseID: q.ids[q.one()]})
	require.NoError(t, err)
	for _, a := range open {
		said := ask.Answer{Outcome: ask.Done, Day: "2026-09-14"}
		if a.Kind.LooksAtSkin() {
			said = ask.Answer{Outcome: ask.Seen, Day: "2026-09-14", Grade: quantity.Some(float64(q.rng.IntN(3))), Place: "back"}
		}
		if _, err := q.db.AnswerAsk(ctx(), person, a.ID, said); err == nil {
			return
		}
	}
}

func (q *sequence) own(t *testing.T) {
	value := quantity.Gray(1 + 8*q.rng.Float64())
	_, err := q.db.AddOwnEstimate(ctx(), person, q.ids[q.one()], ask.Own{
		Value: value, Low: value / 2, High: value * 2, Place: "back", Method: "film", Reason: "film was on the table",
	})
	if err != nil {
		require.ErrorIs(t, err, store.ErrConflict)
	}
}

func (q *sequence) review(t *testing.T) {
	i := q.one()
	one, err := q.db.Case(ctx(), q.ids[i])
	require.NoError(t, err)
	states := summary.ReviewStates()
	if _, err := q.db.ReviewCase(ctx(), person, q.ids[i], one.Version, states[q.rng.IntN(len(states))], "looked at"); err != nil {
		require.ErrorIs(t, err, store.ErrConflict)
	}
}

// compare holds what a summary is made of against the cases, versions, asks and reviews as they are read one by one.
func (q *sequence) compare(t *testing.T) {
	got := map[string]summary.Case{}
	for _, c := range q.summaryCases(t, everything()) {
		got[c.ID] = c
	}
	survivors, err := q.db.Survivors(ctx())
	require.NoError(t, err)
	counting := 0
	for i, id := range q.ids {
		c, err := q.db.Case(ctx(), id)
		require.NoError(t, err)
		have, there := got[id]
		require.Equal(t, c.Basis != store.BasisReplaced, there, "case %d", i)
		if !there {
			continue
		}
		counting++
		patient := c.PatientID
		if other, linked := survivors[patient]; linked {
			patient = other
		}
		assert.Equal(t, []any{c.LocalDate, c.Class, c.Room, patient, c.Quality, c.Kerma, c.KAP, c.PSD, c.FlagState}, []any{have.Day, have.Class, have.Room, have.Patient, have.Quality, have.Kerma, have.KAP, have.PSD, have.State})
		assert.Equal(t, []any{q.versions[i].Traits.Complexity, q.versions[i].Traits.AgeYears, q.versions[i].Traits.NoPeak, q.versions[i].Pregnant},
			[]any{have.Complexity, have.Age, have.PSDNone, have.Pregnant})
		assert.Equal(t, c.Gaps.Has(store.LowerBound), have.PSDLowerBound)
		q.compareFollowUp(t, c, have)
	}
	assert.Len(t, got, counting, "no other case")
}

func (q *sequence) compareFollowUp(t *testing.T, c store.Case, have summary.Case) {
	v, err := q.db.Version(ctx(), c.ID, 0)
	require.NoError(t, err)
	want := map[string]bool{}
	for _, f := range v.Flags {
		if f.State == "reached" || f.State == "near" {
			want[f.Scheme+"/"+f.LevelID] = true
		}
	}
	for _, f := range q.flagsOf(t, c.ID) {
		if f.State != store.FlagSuperseded {
			want[f.Key.Scheme+"/"+f.Key.Level] = true
		}
	}
	flags := map[string]bool{}
	for _, f := range have.Flags {
		flags[f.Scheme+"/"+f.Level] = true
	}
	assert.Equal(t, want, flags)
	var asks, told []string
	reactions := 0
	for _, a := range q.asksOf(t, c.ID) {
		asks = append(asks, fmt.Sprint(a.Kind, " ", a.State, " ", a.Due))
		history, err := q.db.AskHistory(ctx(), a.ID)
		require.NoError(t, err)
		for _, e := range history {
			if e.Answer != nil && e.Answer.Grade.Present() {
				reactions++
			}
		}
	}
	for _, a := range have.Asks {
		told = append(told, fmt.Sprint(a.Kind, " ", a.State, " ", a.Due))
	}
	slices.Sort(asks)
	slices.Sort(told)
	assert.Equal(t, asks, told)
	assert.Len(t, have.Reactions, reactions)
	reviews, err := q.db.PeerReviews(ctx(), c.ID)
	require.NoError(t, err)
	state := summary.ReviewNone
	if len(reviews) > 0 {
		state = reviews[0].State
	}
	assert.Equal(t, state, have.Review.State)
}
