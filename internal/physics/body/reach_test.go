package body_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/body"
)

// marched tells by small steps whether the inside of the body lies between two points, leaving out the last piece.
func marched(b *body.Body, from, to r3.Vec, last float64) bool {
	way := r3.Sub(to, from)
	length := r3.Norm(way)
	for s := 0.0; s < length-last; s++ {
		if b.Inside(r3.Add(from, r3.Scale(s/length, way))) {
			return true
		}
	}
	return false
}

// focusOn draws a focus on a sphere round a point of the body axis.
func focusOn(t *rapid.T, low, high float64) r3.Vec {
	u := rapid.Float64Range(-1, 1).Draw(t, "height on the sphere")
	angle := rapid.Float64Range(-math.Pi, math.Pi).Draw(t, "angle round it")
	centre := rapid.Float64Range(low, high).Draw(t, "centre along the body")
	w := math.Sqrt(1 - u*u)
	return r3.Add(r3.Vec{Z: centre}, r3.Scale(900, r3.Vec{X: w * math.Cos(angle), Y: w * math.Sin(angle), Z: u}))
}

// comparesShadow holds the shadow on one patch against marching and tells whether another part threw it.
func comparesShadow(t assert.TestingT, b *body.Body, focus r3.Vec, i int) (byOther bool) {
	p := b.Patches[i]
	if b.Inside(focus) {
		return false
	}
	want := marched(b, focus, p.Centre, 3) || !b.Facing(i, focus)
	if b.Shadowed(i, focus) == want {
		return want && b.Facing(i, focus)
	}
	// Rays that only graze are between the steps: they lie within 2 mm of an edge of the shadow.
	d := r3.Unit(r3.Sub(p.Centre, focus))
	side := r3.Scale(2, r3.Unit(r3.Cross(d, r3.Vec{X: 0.3, Y: 0.5, Z: 0.8})))
	up := r3.Cross(side, d)
	grazing := r3.Dot(d, p.Normal) > -0.05
	for _, shift := range []r3.Vec{side, up, r3.Scale(-1, side), r3.Scale(-1, up)} {
		grazing = grazing || marched(b, r3.Add(focus, shift), r3.Add(p.Centre, shift), 6) != want
	}
	assert.True(t, grazing, "patch %+v, focus %v: marching says shadowed %v", p, focus, want)
	return false
}

func TestShadowedAgreesWithMarching(t *testing.T) {
	b := made(t, body.Size{}, 4)
	rapid.Check(t, func(t *rapid.T) {
		comparesShadow(t, b, focusOn(t, -600, 800), rapid.IntRange(0, len(b.Patches)-1).Draw(t, "patch"))
	})
}

// The same on patches that face the focus, at fixed places, so that shadows thrown by another part are surely among them.
func TestShadowedByOtherPartsAgreesWithMarching(t *testing.T) {
	b := made(t, body.Size{}, 4)
	byOther := 0
	for step := range 24 {
		u, angle := math.Cos(float64(step)*math.Pi/24), 2.4*float64(step) // a spiral over the sphere
		w := math.Sqrt(1 - u*u)
		focus := r3.Add(r3.Vec{Z: 300}, r3.Scale(900, r3.Vec{X: w * math.Cos(angle), Y: w * math.Sin(angle), Z: u}))
		for i := 0; i < len(b.Patches); i += 7 {
			if b.Facing(i, focus) && comparesShadow(t, b, focus, i) {
				byOther++
			}
		}
	}
	assert.Greater(t, byOther, 50)
}

func TestShadowsOfOtherParts(t *testing.T) {
	b := made(t, body.Size{}, 1)
	nearest := func(part body.Part, at r3.Vec) int {
		best, found := math.Inf(1), -1
		for i, p := range b.Patches {
			if d := r3.Norm(r3.Sub(p.Centre, at)); p.Part == part && d < best {
				best, found = d, i
			}
		}
		return found
	}
	tests := map[string]struct {
		part      body.Part
		at, focus r3.Vec
		want      bool
	}{
		"back from behind":                                      {body.Trunk, r3.Vec{Y: 100, Z: 500}, r3.Vec{Y: 800, Z: 500}, false},
		"back from the front":                                   {body.Trunk, r3.Vec{Y: 100, Z: 500}, r3.Vec{Y: -800, Z: 500}, true},
		"inner side of the left leg from the right":             {body.LegLeft, r3.Vec{X: 5, Z: -400}, r3.Vec{X: -800, Z: -400}, true},
		"outer side of the left leg from the left":              {body.LegLeft, r3.Vec{X: 115, Z: -400}, r3.Vec{X: 800, Z: -400}, false},
		"right side of the neck from the left":                  {body.Neck, r3.Vec{X: -54, Z: 740}, r3.Vec{X: 800, Z: 740}, true},
		"right shoulder from above on the right":                {body.Trunk, r3.Vec{X: -150, Z: 700}, r3.Vec{X: -300, Z: 1400}, false},
		"right shoulder from the left past the head":            {body.Trunk, r3.Vec{X: -100, Z: 700}, r3.Vec{X: 300, Z: 1170}, true},
		"underside of the head at the back, from behind below":  {body.Head, r3.Vec{Y: 80, Z: 784}, r3.Vec{Y: 400, Z: 400}, false},
		"underside of the head at the back, from behind, level": {body.Head, r3.Vec{Y: 80, Z: 784}, r3.Vec{Y: 800, Z: 790}, true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tt.want, b.Shadowed(nearest(tt.part, tt.at), tt.focus))
		})
	}
}

func TestEnterIsTheFirstPointInside(t *testing.T) {
	b := made(t, body.Size{}, 100)
	hits := 0
	rapid.Check(t, func(t *rapid.T) {
		focus := focusOn(t, -600, 800)
		if b.Inside(focus) {
			d, hit := b.Enter(focus, r3.Vec{X: 1})
			assert.True(t, hit)
			assert.Zero(t, d)
			return
		}
		target := r3.Vec{X: rapid.Float64Range(-250, 250).Draw(t, "x"), Y: rapid.Float64Range(-120, 120).Draw(t, "y"), Z: rapid.Float64Range(-850, 1000).Draw(t, "z")}
		direction := r3.Unit(r3.Sub(target, focus))
		d, hit := b.Enter(focus, direction)
		if !hit {
			d = 2500
		} else {
			hits++
			inside := r3.Add(focus, r3.Scale(d+1e-6, direction))
			edge := b.Inside(inside) || b.Inside(r3.Add(focus, r3.Scale(d+0.01, direction)))
			grazing := !edge && !marched(b, r3.Add(focus, r3.Scale(d, direction)), r3.Add(focus, r3.Scale(d+50, direction)), 0)
			if !edge && !grazing {
				t.Fatalf("%v is not at the surface", inside)
			}
		}
		if marched(b, focus, r3.Add(focus, r3.Scale(d, direction)), 1e-3) {
			t.Fatalf("the body begins before %v mm", d)
		}
	})
	require.Positive(t, hits)
}

func TestHalfDepthFollowsTheParts(t *testing.T) {
	b := made(t, body.Size{}, 100)
	tests := map[string]struct{ z, depth, width float64 }{
		"trunk":          {500, 100, 200},
		"neck":           {740, 54, 54},
		"head":           {900, 100, 80},
		"half the crown": {914.5 + 71.5/2, 100 * math.Sqrt(0.75), 80 * math.Sqrt(0.75)},
		"top":            {986.0, 0, 0},
		"knee":           {-500, 50, 100},
		"above":          {1000, 0, 0},
		"below":          {-900, 0, 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			assert.InDelta(t, tt.depth, b.HalfDepth(tt.z), 1e-9)
			assert.InDelta(t, tt.width, b.HalfWidth(tt.z), 1e-9)
		})
	}
}

func TestSheetsHoldTheirPatches(t *testing.T) {
	for name, size := range map[string]body.Size{"adult": {}, "newborn": sized(0, 50, 3.5), "heavy": sized(40, 165, 150)} {
		t.Run(name, func(t *testing.T) {
			b := made(t, size, 1)
			sheets := map[body.Part]body.Sheet{}
			for _, s := range b.Sheets() {
				sheets[s.Part] = s
				assert.Zero(t, s.HalfWidth(s.Low-1))
				assert.Zero(t, s.HalfWidth(s.High+1))
			}
			require.Len(t, sheets, 5)
			assert.InDelta(t, sheets[body.Trunk].High, sheets[body.Neck].Low, 1e-9)
			assert.InDelta(t, sheets[body.Neck].High, sheets[body.Head].Low, 1e-9)
			assert.InDelta(t, sheets[body.Trunk].HalfWidth(sheets[body.Trunk].High), sheets[body.Neck].HalfWidth(sheets[body.Neck].Low), 1e-6)
			assert.Positive(t, sheets[body.LegLeft].Midline-sheets[body.LegLeft].HalfWidth(0))
			for _, p := range b.Patches {
				s := sheets[p.Part]
				require.LessOrEqual(t, math.Abs(p.Across), s.HalfWidth(p.Up)+1e-6, "%+v", p)
				if p.Part != body.LegLeft && p.Part != body.LegRight && math.Abs(p.Centre.X) > 1 {
					require.Equal(t, math.Signbit(p.Centre.X), math.Signbit(p.Across), "left is positive")
				}
			}
		})
	}
}

func TestRegions(t *testing.T) {
	b := made(t, body.Size{}, 1)
	tests := map[string]r3.Vec{
		"left posterior chest":     {X: 100, Y: 86.6, Z: 510},
		"posterior chest, midline": {Y: 100, Z: 510},
		"right lateral chest":      {X: -200, Z: 510},
		"right flank":              {X: -200, Z: 350},
		"left lower back":          {X: 100, Y: 86.6, Z: 200},
		"right anterior chest":     {X: -100, Y: -86.6, Z: 510},
		"breastbone":               {Y: -100, Z: 510},
		"left shoulder":            {X: 150, Z: 700},
		"posterior head":           {Y: 100, Z: 850},
		"right temple":             {X: -80, Z: 910},
		"posterior neck":           {Y: 54, Z: 740},
		"left back of the thigh":   {X: 80, Y: 80, Z: -200},
		"right outer knee, side":   {X: -130, Z: -350},
	}
	for want, at := range tests {
		t.Run(want, func(t *testing.T) {
			best, got := math.Inf(1), ""
			for _, p := range b.Patches {
				if d := r3.Norm(r3.Sub(p.Centre, at)); d < best {
					best, got = d, p.Region
				}
			}
			assert.Equal(t, want, got)
		})
	}
}
