package assessment_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

// A frontal coronary case of 1,000 mGy with all geometry: the expected ratio of skin dose to Ka,r is that of a single
// static beam, 0.8 to 1.6 (AJR 2014, PMID 25148168, nine systems; read in the abstract).
func frontal(kermaGy float64, day string) procedure.Procedure {
	start, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	const areaRef = 100e-4 // m2
	mm := func(v float64) quantity.Opt[quantity.Millimetre] { return quantity.Some(quantity.Millimetre(v)) }
	kap := quantity.GraySquareMetre(kermaGy * areaRef)
	return procedure.Procedure{
		StudyUID: "2.25.1", DeviceKey: "2.25.7", State: procedure.Complete, Start: procedure.Moment{Time: start},
		Study:   procedure.Study{Description: "Coronary angiography"},
		Patient: procedure.Patient{AgeYears: quantity.Some(60.0), Height: mm(1786), Weight: quantity.Some(quantity.Kilogram(73))},
		Events: []procedure.Event{{
			UID: "2.25.2", Plane: procedure.PlaneSingle, Type: procedure.Fluoroscopy,
			Direction: procedure.HeadFirst, Posture: procedure.Supine,
			KAP: quantity.Some(kap), RefKerma: quantity.Some(quantity.Gray(kermaGy)),
			RefPoint:  procedure.ReferencePoint{Code: procedure.Code{Value: "113860", Scheme: "DCM"}},
			Technique: procedure.Technique{Voltages: []quantity.Kilovolt{80}},
			Field:     procedure.Field{Area: quantity.Some(quantity.SquareMetre(areaRef * (1100.0 / 635) * (1100.0 / 635)))},
			Mechanics: procedure.Mechanics{
				Primary: quantity.Some[quantity.Degree](0), Secondary: quantity.Some[quantity.Degree](0),
				SourceToIsocentre: mm(785), SourceToReference: mm(635), SourceToDetector: mm(1100),
			},
			Filters: []procedure.Filter{{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: mm(0.3), Max: mm(0.3)}},
		}},
		Totals: []procedure.PlaneTotal{{Plane: procedure.PlaneSingle, RefKerma: quantity.Some(quantity.Gray(kermaGy)), KAP: quantity.Some(kap)}},
	}
}

func TestAssess(t *testing.T) {
	a := assessment.Default().Assess(frontal(1, "2026-09-14"), procedure.Facts{})
	assert.Equal(t, "coronary_diagnostic", a.Class.ID)
	value, ok := a.SkinDose.Value.Get()
	require.True(t, ok)
	assert.GreaterOrEqual(t, float64(value), 0.8)
	assert.LessOrEqual(t, float64(value), 1.6)
	assert.Equal(t, level.Below, a.Levels.State)
	// KAP 100 Gy cm2 at 0.3 mm Cu lies between the published 0.27 and 0.34 mSv per Gy cm2 at 0.1 and 0.4 mm.
	e, ok := a.Effective.Value.Get()
	require.True(t, ok)
	assert.InDelta(t, 31.7, e.MSv(), 0.05)
}

func TestAPersonsClassDecides(t *testing.T) {
	a := assessment.Default().Assess(frontal(1, "2026-09-14"), procedure.Facts{Class: "neuro"})
	assert.Equal(t, "neuro", a.Procedure.Class)
	assert.Equal(t, "given by a person", a.Procedure.ClassFrom)
}

func TestTheNewestProfileOfTheDayIsTaken(t *testing.T) {
	m := assessment.Default()
	factor := quantity.Some(procedure.Factor{Value: 1.2, Uncertainty: 3, From: "2026-01-01", Until: "2026-12-31"})
	m.Profiles = []procedure.DeviceProfile{
		{Device: "2.25.7", From: "2026-10-01", SignedBy: "later", KermaFactor: quantity.Some(procedure.Factor{Value: 2, Uncertainty: 3})},
		{Device: "2.25.7", From: "2026-02-01", SignedBy: "in force", KermaFactor: factor},
		{Device: "2.25.7", From: "2025-02-01", SignedBy: "before"},
		{Device: "another", From: "2026-03-01", SignedBy: "another"},
	}
	a := m.Assess(frontal(4.5, "2026-09-14"), procedure.Facts{})
	assert.Equal(t, "in force", a.Profile.SignedBy)
	assert.Equal(t, level.Reached, a.Levels.State, "4.5 Gy displayed is 5.4 Gy with the signed factor")
	m.Profiles[1].SignedBy = ""
	a = m.Assess(frontal(4.5, "2026-09-14"), procedure.Facts{})
	for _, r := range a.Levels.Results {
		assert.NotContains(t, r.Basis, "factor", "a factor without a signature is not applied")
	}
}

func TestClassesFitTheOtherTables(t *testing.T) {
	for _, c := range lexicon.Classes() {
		assert.Contains(t, effective.Regions(), c.DoseRegion, c.ID)
		assert.Equal(t, c.Group, skindose.TotalsOf(c.Group).Group, c.ID)
	}
}

func TestSum(t *testing.T) {
	m := assessment.Default()
	days := []string{"2026-09-01", "2026-09-14", "2026-10-30"}
	var all []assessment.Delivered
	for _, day := range days {
		all = append(all, m.Assess(frontal(2.4, day), procedure.Facts{}).Delivered())
	}
	slices.Reverse(all)
	s := m.Sum(all, 60, "2026-10-30")
	assert.Equal(t, 3, s.Procedures, "2026-09-01 is the 60th day before and including 2026-10-30")
	assert.Equal(t, "2026-09-01", s.From)
	assert.InDelta(t, 7.2, float64(s.Kerma.Value.Or(0)), 1e-12)
	assert.Equal(t, level.Reached, s.Levels.State)
	assert.False(t, s.SkinDose.UpperBound, "maps on one body add patch by patch")

	s = m.Sum(all, 59, "2026-10-30")
	assert.Equal(t, 2, s.Procedures)
	s = m.Sum(all, 60, "2026-09-14")
	assert.Equal(t, 2, s.Procedures, "later procedures do not count")

	test := frontal(9, "2026-10-01")
	test.Purpose = procedure.PurposeQualityControl
	s = m.Sum(append(all, m.Assess(test, procedure.Facts{}).Delivered()), 0, "2026-12-31")
	assert.Equal(t, 3, s.Procedures, "a test object is no patient")
	assert.Empty(t, s.From)

	dark := frontal(1, "2026-10-02")
	dark.Totals = nil
	dark.Events[0].RefKerma, dark.Events[0].KAP = quantity.None[quantity.Gray](), quantity.None[quantity.GraySquareMetre]()
	s = m.Sum([]assessment.Delivered{m.Assess(frontal(0.1, "2026-10-01"), procedure.Facts{}).Delivered(), m.Assess(dark, procedure.Facts{}).Delivered()}, 60, "2026-10-30")
	assert.Equal(t, 1, s.Kerma.From)
	assert.Equal(t, level.Unknown, s.Levels.State, "a procedure without dose makes the sum unknown, never below")
}
