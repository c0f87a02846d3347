package skindose_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// A spin whose end is not known stands still at the angle that makes the peak of the whole procedure highest.
func TestOpenRotationIsAnUpperBound(t *testing.T) {
	spin := func(kerma quantity.Gray, start float64, end ...float64) procedure.Event {
		e := frontal(kerma)
		e.Type = procedure.Rotational
		e.Mechanics.Primary = some(quantity.Degree(start))
		for _, v := range end {
			e.Mechanics.PrimaryEnd, e.Mechanics.SecondaryEnd = some(quantity.Degree(v)), some(quantity.Degree(0))
		}
		return e
	}
	beam := func(kerma quantity.Gray, primary float64) procedure.Event {
		e := frontal(kerma)
		e.Mechanics.Primary = some(quantity.Degree(primary))
		return e
	}
	peak := func(events ...procedure.Event) float64 {
		var kerma quantity.Gray
		for _, e := range events {
			kerma += e.RefKerma.Or(0)
		}
		e := skindose.Evaluate(input(single(kerma, kerma, events...), known()))
		assert.Equal(t, slices.ContainsFunc(events, func(e procedure.Event) bool {
			return e.Type == procedure.Rotational && !e.Mechanics.PrimaryEnd.Present()
		}), e.Method == skindose.MethodMapAssumed)
		return value(t, e.Value)
	}
	// Alone, a lateral beam is the worst: its skin is nearest.
	assert.InEpsilon(t, peak(beam(1, 90)), peak(spin(1, 0)), 1e-9)
	// Beside much dose in the back the worst angle is the back's own.
	assert.InEpsilon(t, peak(beam(10, 0), beam(1, 0)), peak(beam(10, 0), spin(1, 90)), 1e-9)
	assert.InEpsilon(t, peak(beam(10, 30), beam(1, 30)), peak(spin(1, 90), beam(10, 30)), 1e-9)
	// An unknown end never gives less than any known one, and two open spins no less than one.
	for _, end := range []float64{-100, -30, 5, 180} {
		assert.GreaterOrEqual(t, peak(beam(1, 20), spin(1, 0)), peak(beam(1, 20), spin(1, 0, end)))
	}
	assert.InEpsilon(t, 2*peak(spin(1, 0)), peak(spin(1, 0), spin(1, 40)), 1e-9)
}
