package body_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

func TestSizes(t *testing.T) {
	mm := func(v float64) quantity.Opt[quantity.Millimetre] { return quantity.Some(quantity.Millimetre(v)) }
	kg := func(v float64) quantity.Opt[quantity.Kilogram] { return quantity.Some(quantity.Kilogram(v)) }
	age := quantity.Some[float64]
	tests := map[string]struct {
		size                     body.Size
		name                     string
		halfWidth, halfDepth, up float64 // mm; trunk
		says                     []string
	}{
		"nothing known is the unscaled adult": {
			body.Size{},
			"adult 73 kg 178.6 cm, not scaled", 200, 100, 700,
			[]string{"age unknown", "height unknown", "weight unknown"},
		},
		"reference adult": {body.Size{AgeYears: age(40), Height: mm(1786), Weight: kg(73)}, "adult 73 kg 178.6 cm, scaled to 73 kg 178.6 cm", 200, 100, 700, nil},
		"twice the mass at the same height is wider by the root of 2": {
			body.Size{AgeYears: age(40), Height: mm(1786), Weight: kg(146)}, "adult 73 kg 178.6 cm, scaled to 146 kg 178.6 cm", 282.842712, 141.421356, 700, nil,
		},
		"half the height with half the mass is as wide": {
			body.Size{AgeYears: age(40), Height: mm(893), Weight: kg(36.5)}, "adult 73 kg 178.6 cm, scaled to 36.5 kg 89.3 cm", 200, 100, 350, nil,
		},
		"ten years with its own reference": {
			body.Size{AgeYears: age(10), Height: mm(1397.7), Weight: kg(33.2)}, "10 years 33.2 kg 139.8 cm, scaled to 33.2 kg 139.8 cm", 139, 84, 508, nil,
		},
		// By hand: two fifths of the way from 5 to 10 years, 109.11 to 139.77 cm and 19.8 to 33.2 kg.
		"seven years lies between five and ten": {
			body.Size{AgeYears: age(7), Height: mm(1213.74), Weight: kg(25.16)}, "7 years 25.2 kg 121.4 cm, scaled to 25.2 kg 121.4 cm", 124.3, 78.6, 448, []string{"between those of 5 years and 10 years"},
		},
		"eighteen years lies between fifteen and adult": {
			body.Size{AgeYears: age(18), Height: mm(1743.88), Weight: kg(66.52)}, "18 years 66.5 kg 174.4 cm, scaled to 66.5 kg 174.4 cm", 189, 99.2, 672.4, []string{"between those of 15 years and adult"},
		},
		"an adult of 200 kg":              {body.Size{AgeYears: age(40), Height: mm(1786), Weight: kg(200)}, "adult 73 kg 178.6 cm, scaled to 200 kg 178.6 cm", 331.042355, 165.521178, 700, nil}, // root of 200/73
		"a height of 17 m is not used":    {body.Size{AgeYears: age(40), Height: mm(17860), Weight: kg(73)}, "adult 73 kg 178.6 cm, scaled to 73 kg", 200, 100, 700, []string{"outside 30 to 220 cm"}},
		"a weight of 7300 kg is not used": {body.Size{AgeYears: age(40), Height: mm(1786), Weight: kg(7300)}, "adult 73 kg 178.6 cm, scaled to 178.6 cm", 200, 100, 700, []string{"outside 0.5 to 350 kg"}},
		"a body mass index of 111 is not used": {
			body.Size{AgeYears: age(40), Height: mm(1500), Weight: kg(250)}, "adult 73 kg 178.6 cm, not scaled", 200, 100, 700, []string{"body mass index"},
		},
		"an age of -3 is not used": {body.Size{AgeYears: age(-3), Height: mm(1786), Weight: kg(73)}, "adult 73 kg 178.6 cm, scaled to 73 kg 178.6 cm", 200, 100, 700, []string{"age given", "age unknown"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b := made(t, tt.size, 10)
			assert.Equal(t, tt.name, b.Name)
			assert.InDelta(t, tt.halfWidth, b.Dimensions.TrunkHalfWidth, 1e-5) // last printed digit of the expectation
			assert.InDelta(t, tt.halfDepth, b.Dimensions.TrunkHalfDepth, 1e-5)
			assert.InDelta(t, tt.up, b.Dimensions.TrunkHeight, 1e-5)
			for _, want := range append(tt.says, "arms raised") {
				assert.Condition(t, func() bool { return mentions(b.Assumptions, want) }, "%q in %q", want, b.Assumptions)
			}
			if height, ok := tt.size.Height.Get(); ok && tt.says == nil {
				assert.InDelta(t, float64(height), b.Dimensions.Height(), 1e-6)
			}
		})
	}
}

func mentions(said []string, want string) bool {
	return slices.ContainsFunc(said, func(s string) bool { return strings.Contains(s, want) })
}

func TestPatchSizeOutOfRange(t *testing.T) {
	for _, area := range []float64{-1, 0.001, 1000} {
		_, err := body.New(body.Size{}, area)
		require.ErrorIs(t, err, body.ErrPatch)
	}
	b := made(t, body.Size{}, 0)
	assert.Greater(t, len(b.Patches), 10000) // DefaultPatch of 1 cm2 on about 1.5 m2
}

func TestSites(t *testing.T) {
	b := made(t, body.Size{}, 100)
	tests := map[string]r3.Vec{
		"heart": {Z: 510}, "arch": {Z: 600}, "visceral_aorta": {Z: 350}, "infrarenal_aorta": {Z: 270}, "iliac": {Z: 180},
		"pelvis": {Z: 120}, "groin": {}, "liver": {X: -80, Z: 360}, "neck": {Z: 740}, "brain": {Z: 900}, "lower_limb": {Z: -400},
	}
	for place, want := range tests {
		t.Run(place, func(t *testing.T) {
			got, ok := b.Site(place)
			require.True(t, ok)
			assert.InDelta(t, 0, r3.Norm(r3.Sub(want, got)), 1e-9)
		})
	}
	_, ok := b.Site("elbow")
	assert.False(t, ok)
	child := made(t, sized(5, 109.11, 19.8), 100)
	brain, _ := child.Site("brain")
	assert.True(t, child.Inside(brain))
	neck, _ := child.Site("neck")
	assert.InDelta(t, child.Dimensions.NeckRadius, child.HalfDepth(neck.Z), 1e-9)
}

func TestSameSizeSameBody(t *testing.T) {
	a, b := made(t, sized(60, 180, 100), 1), made(t, sized(60, 180, 100), 1)
	assert.Equal(t, a.Patches, b.Patches)
	assert.Equal(t, a.Groups, b.Groups)
}
