package skindose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestMapsAddPatchByPatch(t *testing.T) {
	b, err := body.New(body.Size{}, 4)
	require.NoError(t, err)
	same, err := body.New(body.Size{}, 4)
	require.NoError(t, err)
	one := irradiate(t, b, aimed(0, 2, 0, 0, 350, 100, 80, 0.3))
	two := irradiate(t, same, aimed(0, 1, 20, 0, 350, 150, 80, 0.3))
	sum, err := skindose.Accumulate(one, two)
	require.NoError(t, err)
	for i := range sum.Dose {
		assert.Equal(t, one.Dose[i]+two.Dose[i], sum.Dose[i])
	}
	assert.LessOrEqual(t, sum.PeakDose(), one.PeakDose()+two.PeakDose())
	assert.Greater(t, sum.PeakDose(), one.PeakDose())
}

func TestMapsOnDifferentBodiesDoNotAdd(t *testing.T) {
	b, err := body.New(body.Size{}, 4)
	require.NoError(t, err)
	other, err := body.New(body.Size{Weight: quantity.Some[quantity.Kilogram](90)}, 4)
	require.NoError(t, err)
	shot := aimed(0, 2, 0, 0, 350, 100, 80, 0.3)
	_, err = skindose.Accumulate(irradiate(t, b, shot), irradiate(t, other, shot))
	require.ErrorIs(t, err, skindose.ErrBodies)
	_, err = skindose.Accumulate()
	require.ErrorIs(t, err, skindose.ErrBodies)
}

func TestStagesOfOneRepairTogether(t *testing.T) {
	oblique := frontal(1)
	oblique.Mechanics.Primary = some[quantity.Degree](40)
	first := skindose.Evaluate(input(single(2, 2, frontal(2)), known()))
	second := skindose.Evaluate(input(single(1, 1, oblique), known()))
	sum := skindose.Together(first, second)
	require.NotNil(t, sum.Map)
	assert.False(t, sum.UpperBound)
	assert.False(t, sum.LowerBound)
	assert.Equal(t, skindose.MethodMap, sum.Method)
	got := value(t, sum.Value)
	assert.GreaterOrEqual(t, got, value(t, first.Value))
	assert.Less(t, got, value(t, first.Value)+value(t, second.Value), "the stages overlap in part")
	require.Len(t, sum.Shares, 2)
	assert.InDelta(t, got, float64(sum.Shares[0].Dose+sum.Shares[1].Dose), 1e-12)
	assert.Equal(t, 0, sum.Shares[0].Procedure)
	assert.Less(t, value(t, sum.Low), got)
	assert.Greater(t, value(t, sum.High), got)
	assert.NotEmpty(t, sum.Peak.Region)
}

func TestPeaksAddAsAnUpperBound(t *testing.T) {
	first := skindose.Evaluate(input(single(2, 2, frontal(2)), known()))
	totals := skindose.Evaluate(input(totalsOnly(3, 0), known()))
	nothing := skindose.Evaluate(input(procedure.Procedure{}, known()))
	sum := skindose.Together(first, totals, nothing)
	assert.True(t, sum.UpperBound)
	assert.Contains(t, sum.Reason, "upper bound")
	assert.Equal(t, 1, sum.Unknown)
	assert.True(t, sum.LowerBound, "one procedure has no estimate")
	assert.InDelta(t, value(t, first.Value)+value(t, totals.Value), value(t, sum.Value), 1e-12)
	assert.InDelta(t, value(t, first.High)+value(t, totals.High), value(t, sum.High), 1e-12)
	assert.Nil(t, sum.Map)

	p := single(2, 2, frontal(2))
	p.Patient.Weight = some[quantity.Kilogram](95)
	sum = skindose.Together(first, skindose.Evaluate(input(p, known())))
	assert.True(t, sum.UpperBound)
	assert.Contains(t, sum.Reason, skindose.ErrBodies.Error())

	none := skindose.Together(nothing)
	assert.Equal(t, skindose.MethodNone, none.Method)
	assert.False(t, none.Value.Present())
}

func TestKermaWithoutGeometryStaysInTheSum(t *testing.T) {
	e := skindose.Evaluate(input(single(2, 2.2, frontal(2)), known()))
	sum := skindose.Together(e, e)
	assert.InDelta(t, 2*value(t, e.High), value(t, sum.High), 1e-9)
	assert.InDelta(t, 2*value(t, e.Low), value(t, sum.Low), 1e-9)
}
