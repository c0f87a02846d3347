package ingest_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func TestALateReportMakesAVersionThatSaysWhatChanged(t *testing.T) {
	r := newRig(t)
	whole := scene(t, stageOne, 6)
	r.send(t, cut(whole, 0, 3, ""))
	r.work(t)
	v := r.the(t, whole.StudyUID)
	assert.Equal(t, 1, v.Number)
	assert.Equal(t, "first estimate", v.Change)
	assert.Equal(t, "complete", v.Case.State)
	assert.NotEmpty(t, v.Map)
	assert.NotEmpty(t, v.Flags)
	assert.Equal(t, "2026-09-21", v.Case.LocalDate)
	assert.Equal(t, "Hybrid 1", v.Case.Room)

	late := cut(whole, 0, 6, "2.25.99.1")
	late.Content.Time = whole.Content.Time.Add(5 * time.Minute)
	r.clock.Pass(time.Hour)
	r.send(t, late)
	r.work(t)
	v = r.the(t, whole.StudyUID)
	assert.Equal(t, 2, v.Number)
	assert.Regexp(t, `^1 new report; 3 events added; amended instead of complete; Ka,r .* Gy instead of .* Gy; KAP .*; peak skin dose .*; effective dose .* mSv instead of .* mSv`, v.Change)
	events, err := archive.ReadProcedure(v.Body)
	require.NoError(t, err)
	assert.Len(t, events.Procedure.Events, 6)

	versions, err := r.db.Versions(t.Context(), v.Case.ID)
	require.NoError(t, err)
	assert.Len(t, versions, 2, "the first estimate stays")
}

func TestEqualWorkAddsNoVersion(t *testing.T) {
	r := newRig(t)
	for _, report := range []procedure.Report{scene(t, stageOne, 4), scene(t, stageTwo, 4), scene(t, ablation, 6)} {
		r.send(t, report)
	}
	r.settle(t)
	want := r.hash(t)
	numbers := func() (all []int) {
		for _, c := range r.cases(t) {
			all = append(all, c.Version)
		}
		return all
	}
	before := numbers()
	asked, err := r.db.Recompute(t.Context(), store.System("test"), store.Recomputation{Reason: "a test"})
	require.NoError(t, err)
	assert.Equal(t, 3, asked.Studies)
	r.work(t)
	assert.Equal(t, want, r.hash(t), "the same inputs give the same bits")
	assert.Equal(t, before, numbers())

	// Another method makes versions, and says why.
	r.pipeline.Method.Levels.PlainKAP = true
	_, err = r.db.Recompute(t.Context(), store.System("test"), store.Recomputation{Reason: "levels of the site"})
	require.NoError(t, err)
	r.work(t)
	for _, c := range r.cases(t) {
		v, err := r.db.Version(t.Context(), c.ID, 0)
		require.NoError(t, err)
		assert.Contains(t, v.Change, "methods, tables or levels are new")
	}
}

func TestFactsMakeVersions(t *testing.T) {
	r := newRig(t)
	report := scene(t, stageOne, 4)
	r.send(t, report)
	r.work(t)
	first := r.the(t, report.StudyUID)
	add := func(facts ...store.Fact) store.Version {
		tag, err := r.db.Tag(t.Context(), first.Case.ID)
		require.NoError(t, err)
		require.NoError(t, r.db.AddFacts(t.Context(), store.System("test"), first.Case.ID, tag, facts))
		r.work(t)
		return r.the(t, report.StudyUID)
	}
	v := add(store.Fact{Name: "weight_kg", Value: "131.5", Reason: "scales"}, store.Fact{Name: "height_cm", Value: "171", Reason: "scales"})
	assert.Equal(t, 2, v.Number)
	assert.Contains(t, v.Change, "given by a person: height, weight; peak skin dose")
	assert.NotEqual(t, first.Case.PSD, v.Case.PSD)
	c, err := archive.ReadProcedure(v.Body)
	require.NoError(t, err)
	assert.Equal(t, quantity.Some(quantity.Kilogram(131.5)), c.Facts.Weight)
	assert.Equal(t, quantity.Some(quantity.Millimetre(1710)), c.Facts.Height)
	p, err := archive.ReadMap(v.Map)
	require.NoError(t, err)
	assert.Contains(t, p.Map.Body.Name, "131.5 kg", "the map is drawn on the body of the facts")

	v = add(store.Fact{Name: "class", Value: "neuro", Reason: "as in the theatre book"}, store.Fact{Name: "posture", Value: "prone", Reason: "seen"},
		store.Fact{Name: "arms", Value: "alongside", Reason: "seen"}, store.Fact{Name: "direction", Value: "feet_first"}, store.Fact{Name: "age_years", Value: "61"}, store.Fact{Name: "table_offset_mm", Value: "-20"})
	assert.Equal(t, 3, v.Number)
	assert.Equal(t, "neuro", v.Case.Class)
	assert.Contains(t, v.Change, "given by a person: age, procedure class, direction on the table, posture, position of the arms, table offset")
	p, err = archive.ReadMap(v.Map)
	require.NoError(t, err)
	assert.Contains(t, p.Map.Body.Name, "arms alongside")

	v = add(store.Fact{Name: "weight_kg", Value: "131.5", Reason: "scales, once more"})
	assert.Equal(t, 3, v.Number, "the same fact changes nothing")
}

func TestAQuietStudyIsComplete(t *testing.T) {
	r := newRig(t)
	whole := scene(t, stageOne, 6)
	run := func(from, to int, instance string) procedure.Report {
		part := cut(whole, from, to, instance)
		part.Scope, part.ScopeUID = procedure.ScopeSeries, "2.25.62."+instance[5:]
		return part
	}
	r.send(t, run(0, 2, "2.25.1"))
	r.work(t)
	assert.Equal(t, "provisional", r.the(t, whole.StudyUID).Case.State)
	backlog, err := r.db.Backlog(t.Context())
	require.NoError(t, err)
	assert.Zero(t, backlog.Waiting, "a study that is waited for is no work")

	r.clock.Pass(quiet - time.Minute)
	r.send(t, run(2, 4, "2.25.2"))
	r.work(t)
	r.clock.Pass(time.Minute)
	r.work(t)
	v := r.the(t, whole.StudyUID)
	assert.Equal(t, "provisional", v.Case.State, "each report starts the quiet time anew")
	assert.Equal(t, 2, v.Number)

	r.clock.Pass(quiet - time.Minute)
	r.work(t)
	v = r.the(t, whole.StudyUID)
	assert.Equal(t, "complete", v.Case.State)
	assert.Equal(t, "complete instead of provisional", v.Change)

	r.clock.Pass(24 * time.Hour)
	r.send(t, run(2, 4, "2.25.2")) // the same again
	r.work(t)
	assert.Equal(t, 3, r.the(t, whole.StudyUID).Number)
	r.send(t, run(4, 6, "2.25.3"))
	r.settle(t)
	v = r.the(t, whole.StudyUID)
	assert.Equal(t, "amended", v.Case.State)
	assert.Equal(t, 4, v.Number)
}

// What a site chooses of the method is part of a version's name, and makes others.
func TestChosenMethodsAreNamed(t *testing.T) {
	r := newRig(t)
	report := scene(t, stageOne, 2)
	r.send(t, report)
	r.work(t)
	usual := r.the(t, report.StudyUID)
	assert.NotContains(t, usual.Methods, "range points")
	r.pipeline.Method.RangePoints, r.pipeline.Method.Skull = 64, true
	_, err := r.db.Recompute(t.Context(), store.System("test"), store.Recomputation{Reason: "a choice of the site"})
	require.NoError(t, err)
	r.work(t)
	chosen := r.the(t, report.StudyUID)
	assert.Equal(t, usual.Number+1, chosen.Number)
	assert.Contains(t, chosen.Methods, " range points:64 skull ")
}
