package ingest_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// announce makes the step of a report: the totals that its equipment announces when it is through.
func (r *rig) announce(t testing.TB, of procedure.Report, change func(*performed.Step)) {
	t.Helper()
	totals, _ := performed.Announced{AreaDoseProduct: quantity.Some(1250.0), FluoroscopyTime: quantity.Some(1800.0)}.Totals()
	s := performed.Step{
		Source: performed.SourceMPPS, Key: "2.25.31", StudyUID: of.StudyUID, Accession: of.Study.AccessionNumber, State: performed.InProgress,
		Start: of.Events[0].Start, Room: of.Device.Room, Station: of.Device.Station,
		Patient: performed.Patient{Number: of.Patient.ID, Issuer: of.Patient.Issuer, BirthDate: of.Patient.BirthDate, Sex: of.Patient.Sex},
	}
	_, err := r.db.CreateStep(t.Context(), store.System("test"), s)
	require.NoError(t, err)
	r.settle(t)
	require.Empty(t, r.cases(t), "nothing is made of a step in progress")
	_, err = r.db.SetStep(t.Context(), store.System("test"), s.Key, func(step *performed.Step) error {
		step.State, step.Totals = performed.Completed, totals
		if change != nil {
			change(step)
		}
		return nil
	})
	require.NoError(t, err)
	_, err = r.db.SetStep(t.Context(), store.System("test"), s.Key, func(*performed.Step) error { return nil })
	require.ErrorIs(t, err, store.ErrConflict, "a completed step changes no more")
}

func TestTotalsStandInForAReportThatDoesNotCome(t *testing.T) {
	r := newRig(t)
	of := scene(t, stageOne, 4)
	r.announce(t, of, nil)
	r.work(t)
	assert.Empty(t, r.cases(t), "a report may still come")
	r.settle(t)
	v := r.the(t, of.StudyUID)
	assert.Equal(t, store.BasisTotals, v.Case.Basis)
	assert.InDelta(t, 125, v.Case.KAP.Or(0).Gycm2(), 1e-9, "dGy cm2 are tenths of Gy cm2; a few roundings")
	assert.Equal(t, quantity.Some[quantity.Second](1800), v.Case.FluoroTime)
	assert.False(t, v.Case.Kerma.Present(), "an entrance dose is no air kerma at the reference point")
	assert.Contains(t, string(v.Summary), "totals only, no geometry")
	assert.False(t, v.Case.HasMap)
}

// The totals never count beside the report, whichever came first and under whatever study it is filed.
func TestAReportReplacesTotals(t *testing.T) {
	for name, file := range map[string]func(*procedure.Report){
		"under its study":     func(*procedure.Report) {},
		"under another study": func(of *procedure.Report) { of.StudyUID = "2.25.999" },
		"by patient and time": func(of *procedure.Report) { of.StudyUID, of.Study.AccessionNumber = "2.25.999", "" },
	} {
		t.Run(name, func(t *testing.T) {
			late, early := newRig(t), newRig(t)
			of := scene(t, stageOne, 4)
			filed := of
			file(&filed)
			late.announce(t, of, nil)
			late.settle(t)
			require.Len(t, late.cases(t), 1)
			id := late.cases(t)[0].ID
			late.send(t, filed)
			late.settle(t)
			cases := late.cases(t)
			require.Len(t, cases, 1)
			assert.Equal(t, store.BasisReport, cases[0].Basis)
			gone, err := late.db.Version(t.Context(), id, 0)
			require.NoError(t, err)
			assert.Equal(t, store.BasisReplaced, gone.Case.Basis)
			assert.Contains(t, gone.Change, "replaced")
			assert.False(t, gone.Case.KAP.Present())

			early.announce(t, of, nil)
			early.send(t, filed)
			early.settle(t)
			require.Len(t, early.cases(t), 1)
			assert.Equal(t, store.BasisReport, early.cases(t)[0].Basis)
			late.clock.Pass(time.Hour)
			late.settle(t)
			again, err := late.db.Version(t.Context(), id, 0)
			require.NoError(t, err)
			assert.Equal(t, gone.Number, again.Number, "nothing is done twice")
		})
	}
}

func TestSuspectTotalsSayNothingBelowALevel(t *testing.T) {
	r := newRig(t)
	of := scene(t, stageOne, 4)
	r.announce(t, of, func(s *performed.Step) {
		s.Totals, _ = performed.Announced{AreaDoseProduct: quantity.Some(0.0125), FluoroscopyTime: quantity.Some(1800.0)}.Totals()
	})
	r.settle(t)
	v := r.the(t, of.StudyUID)
	assert.True(t, v.Case.Gaps.Has(store.SuspectKAP))
	assert.Contains(t, string(v.Summary), "factor of 10 or 100")
	assert.NotEqual(t, "below", v.Case.FlagState)
}

// Facts of a step reach the case before and after its first estimate, and a person's word holds against them.
func TestFactsOfAStep(t *testing.T) {
	r := newRig(t)
	of := scene(t, stageOne, 4)
	of.Patient.Height = quantity.None[quantity.Millimetre]()
	step := func(key string, height quantity.Millimetre) {
		t.Helper()
		_, err := r.db.CreateStep(t.Context(), store.System("test"), performed.Step{
			Source: performed.SourceMPPS, Key: key, StudyUID: of.StudyUID, State: performed.Completed, Start: of.Events[0].Start,
			Patient: performed.Patient{Number: of.Patient.ID, Issuer: of.Patient.Issuer}, Height: quantity.Some(height),
		})
		require.NoError(t, err)
	}
	step("2.25.1", 1710)
	r.send(t, of)
	r.settle(t)
	v := r.the(t, of.StudyUID)
	heights := func() []string {
		facts, err := r.db.Facts(t.Context(), v.Case.ID)
		require.NoError(t, err)
		var all []string
		for _, f := range facts {
			all = append(all, f.Value+" "+f.Source)
		}
		return all
	}
	assert.Equal(t, []string{"171 " + store.SourcePerformed}, heights())
	first, err := r.db.Version(t.Context(), v.Case.ID, 1)
	require.NoError(t, err)
	assert.NotEqual(t, first.Digest, v.Digest, "the fact made another estimate")
	tag, err := r.db.Tag(t.Context(), v.Case.ID)
	require.NoError(t, err)
	require.NoError(t, r.db.AddFacts(t.Context(), store.System("person"), v.Case.ID, tag, []store.Fact{{Name: "height_cm", Value: "165", Source: "chart", Reason: "measured"}}))
	r.settle(t)
	spoken := r.the(t, of.StudyUID)
	step("2.25.2", 1800)
	r.settle(t)
	assert.Equal(t, []string{"171 " + store.SourcePerformed, "165 chart", "180 " + store.SourcePerformed}, heights())
	assert.Equal(t, spoken.Digest, r.the(t, of.StudyUID).Digest, "a person's word holds against a later import")
	require.ErrorIs(t, r.db.AddFacts(t.Context(), store.System("person"), v.Case.ID, tag, []store.Fact{{Name: "height_cm", Value: "1", Source: store.SourcePerformed}}), store.ErrInvalid)
}
