package body_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

func skinArea(b *body.Body) float64 {
	sum := 0.0
	for _, p := range b.Patches {
		sum += p.Area
	}
	return sum
}

// enclosed checks that groups cover the patches in order and hold them.
func enclosed(t *testing.T, b *body.Body) {
	t.Helper()
	next := 0
	for _, g := range b.Groups {
		require.Equal(t, next, g.First)
		next = g.End
		for i := g.First; i < g.End; i++ {
			require.LessOrEqual(t, r3.Norm(r3.Sub(b.Patches[i].Centre, g.Centre)), g.Radius)
			require.GreaterOrEqual(t, r3.Dot(b.Patches[i].Normal, g.Axis), g.CosHalf)
		}
	}
	assert.Len(t, b.Patches, next)
}

func TestExcerptKeepsWhatIsAsked(t *testing.T) {
	b := made(t, body.Size{}, 10)
	keep := make([]bool, len(b.Patches))
	var want []body.Patch
	for i := range keep {
		if keep[i] = i%7 == 3; keep[i] {
			want = append(want, b.Patches[i])
		}
	}
	e := b.Excerpt(keep)
	assert.Equal(t, want, e.Patches)
	enclosed(t, e)
	assert.Equal(t, b.Inside(r3.Vec{Z: 300}), e.Inside(r3.Vec{Z: 300}))
}

func TestSplitKeepsTheArea(t *testing.T) {
	b := made(t, body.Size{}, 4)
	s := b.Split(0.25)
	enclosed(t, s)
	assert.Greater(t, len(s.Patches), 10*len(b.Patches))
	assert.InEpsilon(t, skinArea(b), skinArea(s), 1e-9) // a sum of many terms
	for _, p := range s.Patches {
		require.LessOrEqual(t, p.Area, 0.25+1e-12)
		require.InDelta(t, 1, r3.Norm(p.Normal), 1e-12)
	}
}

// A widened body is the one that is built wider: scaled by weight alone it keeps its heights.
func TestWidenedIsThatOfMoreWeight(t *testing.T) {
	const by = 1.2
	kg := func(v float64) body.Size { return body.Size{Weight: quantity.Some(quantity.Kilogram(v))} }
	wide, want := made(t, kg(73), 10).Widened(by), made(t, kg(73*by*by), 10)
	enclosed(t, wide)
	assert.InDelta(t, want.Dimensions.TrunkHalfWidth, wide.Dimensions.TrunkHalfWidth, 1e-9)
	assert.InDelta(t, want.Dimensions.NeckRadius, wide.Dimensions.NeckRadius, 1e-9)
	for _, from := range []r3.Vec{{X: -900, Z: 300}, {Y: 900, Z: 500}, {X: 500, Y: 700, Z: 880}, {X: 700, Y: 60, Z: -300}} {
		toward := r3.Unit(r3.Sub(r3.Vec{X: 20, Z: from.Z}, from))
		a, okA := want.Enter(from, toward)
		b, okB := wide.Enter(from, toward)
		require.Equal(t, okA, okB)
		assert.InDelta(t, a, b, 1e-9)
	}
	for i, p := range wide.Patches {
		require.True(t, want.Inside(r3.Add(p.Centre, r3.Scale(-0.5, p.Normal))), "patch %d lies on the wider body", i)
	}
}
