package skindose_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// A patient far under the isocentre is hit from below and passed over from the side: the part of a spin that hits no skin
// is kerma without geometry.
func TestThePartOfAnArcThatMissesHasNoGeometry(t *testing.T) {
	spin := frontal(1)
	spin.Type = procedure.Rotational
	spin.Mechanics.PrimaryEnd, spin.Mechanics.SecondaryEnd = some(quantity.Degree(100)), some(quantity.Degree(0))
	spin.Mechanics.Primary = some(quantity.Degree(-100))
	spin.Mechanics.TableHeight = some[quantity.Millimetre](400) // the back 370 mm and the front 170 mm under the isocentre
	estimate := func(events ...procedure.Event) skindose.Estimate {
		var kerma quantity.Gray
		for _, e := range events {
			kerma += e.RefKerma.Or(0)
		}
		return skindose.Evaluate(input(single(kerma, kerma, events...), known()))
	}
	// The axis lies 270 mm under the isocentre. Seen at an angle a, 270 sin a from the ray, the trunk is half
	// sqrt((200 cos a)^2 + (100 sin a)^2) wide and the field at its depth 62 (785 - 270 cos a)/785: they part at 48.3 degrees.
	missing, ok := estimate(spin).KermaWithoutGeometry.Get()
	require.True(t, ok)
	assert.InDelta(t, 1-48.3/100, float64(missing), 0.03) // 1 degree a step, and patches count by their centres of 1 cm

	beside := frontal(9)
	e := estimate(beside, spin)
	part, ok := e.KermaWithoutGeometry.Get()
	require.True(t, ok)
	assert.InEpsilon(t, float64(missing)/10, float64(part), 1e-9)
	assert.InEpsilon(t, 2.4*float64(missing), float64(e.HighForMissing), 1e-9)
	said(t, e, "on a part of their way")
	assert.False(t, math.IsNaN(float64(e.HighForMissing)))
}

// A child is a child by birth date too.
func TestAgeByBirthDate(t *testing.T) {
	p := single(1, 1, frontal(1))
	p.Patient.AgeYears, p.Patient.BirthDate = quantity.None[float64](), "2021-03-10"
	p.Patient.Height, p.Patient.Weight = some[quantity.Millimetre](1091), some[quantity.Kilogram](19.8)
	e := skindose.Evaluate(input(p, known()))
	require.NotNil(t, e.Map)
	assert.Contains(t, e.Map.Body.Name, "5 years")
}
