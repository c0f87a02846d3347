package body_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

func sized(age, cm, kg float64) body.Size {
	return body.Size{
		AgeYears: quantity.Some(age),
		Height:   quantity.Some(quantity.Millimetre(10 * cm)),
		Weight:   quantity.Some(quantity.Kilogram(kg)),
	}
}

func made(t testing.TB, size body.Size, maxPatch float64) *body.Body {
	t.Helper()
	b, err := body.New(size, maxPatch)
	require.NoError(t, err)
	return b
}

// areas sums the patches' areas in cm2 by surface.
func areas(b *body.Body) (sum map[string]float64) {
	sum = map[string]float64{}
	d := b.Dimensions
	crown := d.TrunkHeight + d.NeckHeight + d.HeadHeight
	for _, p := range b.Patches {
		switch {
		case p.Part == body.Trunk && p.Normal.Z == 1:
			sum["shoulders"] += p.Area
		case p.Part == body.Trunk:
			sum["trunk"] += p.Area
		case p.Part == body.Neck:
			sum["neck"] += p.Area
		case p.Part == body.Head && p.Normal.Z == -1:
			sum["underside of the head"] += p.Area
		case p.Part == body.Head && p.Centre.Z > crown:
			sum["crown"] += p.Area
		case p.Part == body.Head:
			sum["head"] += p.Area
		case p.Part == body.LegLeft:
			sum["left leg"] += p.Area
		default:
			sum["right leg"] += p.Area
		}
	}
	return sum
}

// perimeter of an ellipse by its complete elliptic integral, with the longer axis first.
func perimeter(a, b float64) float64 {
	long, short := max(a, b), min(a, b)
	return 4 * long * mathext.CompleteE(1-short*short/(long*long))
}

// ellipsoid is the surface of an ellipsoid by Legendre's closed form, a >= b >= c.
// Source: NIST Digital Library of Mathematical Functions, 19.33; known from memory.
func ellipsoid(a, b, c float64) float64 {
	phi := math.Acos(c / a)
	m := a * a * (b*b - c*c) / (b * b * (a*a - c*c))
	sin, cos := math.Sincos(phi)
	return 2*math.Pi*c*c + 2*math.Pi*a*b/sin*(mathext.EllipticE(phi, m)*sin*sin+mathext.EllipticF(phi, m)*cos*cos)
}

// slantingCone integrates the closed element of area of a leg over its angle.
func slantingCone(half, taper, length float64) float64 {
	k := half / taper
	around := quad.Fixed(func(t float64) float64 { return math.Hypot(1, k*(1+math.Cos(t))) }, 0, 2*math.Pi, 40, nil, 0)
	return around * half * (length - length*length/(2*taper))
}

func TestAreasAreThoseOfTheClosedForms(t *testing.T) {
	tests := map[string]body.Size{
		"adult, unscaled": {},
		"heavy adult":     sized(60, 170, 140),
		"newborn":         sized(0, 50, 3.5),
		"ten years":       sized(10, 140, 33),
	}
	for name, size := range tests {
		t.Run(name, func(t *testing.T) {
			b := made(t, size, 1)
			d := b.Dimensions
			ring := func(a, b, r float64) float64 { return math.Pi * (a*b - r*r) }
			axes := []float64{d.HeadHalfWidth, d.HeadHalfDepth, d.HeadCap}
			a, c := max(axes[0], axes[1], axes[2]), min(axes[0], axes[1], axes[2])
			want := map[string]float64{
				"trunk":                 perimeter(d.TrunkHalfWidth, d.TrunkHalfDepth) * d.TrunkHeight,
				"shoulders":             ring(d.TrunkHalfWidth, d.TrunkHalfDepth, d.NeckRadius),
				"neck":                  2 * math.Pi * d.NeckRadius * d.NeckHeight,
				"underside of the head": ring(d.HeadHalfWidth, d.HeadHalfDepth, d.NeckRadius),
				"head":                  perimeter(d.HeadHalfWidth, d.HeadHalfDepth) * d.HeadHeight,
				"crown":                 ellipsoid(a, axes[0]+axes[1]+axes[2]-a-c, c) / 2,
				"left leg":              slantingCone(d.TrunkHalfWidth/2, d.LegTaper, d.LegLength),
				"right leg":             slantingCone(d.TrunkHalfWidth/2, d.LegTaper, d.LegLength),
			}
			got := areas(b)
			require.Len(t, got, len(want))
			for surface, mm2 := range want {
				// 0.5 %: midpoint rule on patches of 1 cm2; flat and upright surfaces are exact.
				assert.InEpsilon(t, mm2/100, got[surface], 0.005, surface)
			}
		})
	}
}

func TestPatchesAreSmallOutwardAndInGroups(t *testing.T) {
	for _, limit := range []float64{0.25, 1, 4} {
		b := made(t, sized(50, 175, 90), limit)
		next := 0
		for _, g := range b.Groups {
			require.Equal(t, next, g.First)
			require.Greater(t, g.End, g.First)
			require.LessOrEqual(t, g.End-g.First, 100) // about 8 x 8; the crown's rows shrink unevenly
			next = g.End
			for _, p := range b.Patches[g.First:g.End] {
				require.LessOrEqual(t, r3.Norm(r3.Sub(p.Centre, g.Centre)), g.Radius)
				require.GreaterOrEqual(t, r3.Dot(p.Normal, g.Axis), g.CosHalf)
			}
		}
		require.Equal(t, len(b.Patches), next)
		for i, p := range b.Patches {
			require.LessOrEqual(t, p.Area, limit*(1+1e-9), "patch %d", i)
			require.Positive(t, p.Area)
			require.InDelta(t, 1, r3.Norm(p.Normal), 1e-12) // rounding
			require.NotEmpty(t, p.Region)
			out, in := r3.Add(p.Centre, r3.Scale(0.5, p.Normal)), r3.Sub(p.Centre, r3.Scale(0.5, p.Normal))
			require.False(t, b.Inside(out) && p.Part != body.LegLeft && p.Part != body.LegRight, "half a millimetre outside %v", p)
			require.True(t, b.Inside(in), "half a millimetre inside %v", p)
		}
	}
}

// A leg is a cone: its normals stand upright on the lines to its point, wherever that point is below the foot.
func TestNormalsOfTheLegs(t *testing.T) {
	b := made(t, sized(30, 190, 80), 4)
	point := r3.Vec{Z: -b.Dimensions.LegTaper}
	for _, p := range b.Patches {
		if p.Part == body.LegLeft || p.Part == body.LegRight {
			require.InDelta(t, 0, r3.Dot(p.Normal, r3.Unit(r3.Sub(p.Centre, point))), 1e-12, "%+v", p) // rounding
		}
	}
}

func BenchmarkNew(b *testing.B) {
	for b.Loop() {
		made(b, body.Size{}, 1)
	}
}
