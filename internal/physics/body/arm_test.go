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

func withArms(size body.Size) body.Size {
	size.ArmsAlongside = true
	return size
}

func TestArmsOfTheAdult(t *testing.T) {
	b := made(t, withArms(sized(40, 178.6, 73)), 1)
	assert.Contains(t, b.Name, "arms alongside")
	area := map[body.Part]float64{}
	for i, p := range b.Patches {
		if !p.Part.OnArm() {
			continue
		}
		area[p.Part] += p.Area
		left := p.Part == body.UpperArmLeft || p.Part == body.ForearmLeft
		require.Equal(t, left, p.Centre.X > 0, "left is positive")
		require.Greater(t, math.Abs(p.Centre.X), 210-1e-9, "1 cm beside the trunk of 20 cm")
		require.False(t, b.Inside(r3.Add(p.Centre, r3.Scale(0.5, p.Normal))))
		require.True(t, b.Inside(r3.Sub(p.Centre, r3.Scale(0.5, p.Normal))))
		require.Contains(t, p.Region, map[bool]string{true: "left", false: "right"}[left], "patch %d", i)
		require.LessOrEqual(t, p.Area, 1.0)
	}
	// Cylinders of 43 by 340 and 33 by 450 mm; patches are measured along the outline, exactly.
	want := map[body.Part]float64{}
	for part, mm2 := range map[body.Part]float64{body.UpperArmLeft: 43 * 340, body.UpperArmRight: 43 * 340, body.ForearmLeft: 33 * 450, body.ForearmRight: 33 * 450} {
		want[part] = 2 * math.Pi * mm2 / 100
	}
	assert.InDeltaMapValues(t, want, area, 1e-6)
	// At 1.05 g/cm3 both weigh near to 2.71 and 2.23 % of 73 kg; the radii are rounded to the mm.
	assert.InDelta(t, 0.0271*73, 1.05e-6*math.Pi*43*43*340, 0.1)
	assert.InDelta(t, 0.0223*73, 1.05e-6*math.Pi*33*33*450, 0.1)
}

// The skin without arms comes first and is the same, so that maps add.
func TestArmsComeAfterTheOtherSkin(t *testing.T) {
	for name, size := range map[string]body.Size{"adult": {}, "newborn": sized(0, 50, 3.5), "heavy": sized(40, 165, 150)} {
		t.Run(name, func(t *testing.T) {
			without, with := made(t, size, 4), made(t, withArms(size), 4)
			n := len(without.Patches)
			assert.Equal(t, without.Patches, with.Patches[:n])
			require.Greater(t, len(with.Patches), n)
			for _, p := range with.Patches[n:] {
				require.True(t, p.Part.OnArm())
				require.True(t, p.Part.OnLimb())
			}
			assert.Equal(t, without.Sheets()[0].Name, with.Sheets()[0].Name)
			wide := with.Widened(1.25).Patches[n]
			assert.InDelta(t, 1.25*with.Patches[n].Centre.X, wide.Centre.X, 1e-9)
		})
	}
}

func TestShadowsOfAndOnArms(t *testing.T) {
	b := made(t, withArms(body.Size{}), 1)
	tests := map[string]struct {
		part      body.Part
		at, focus r3.Vec
		want      bool
	}{
		"left flank from the left, behind the arm":        {body.Trunk, r3.Vec{X: 200, Z: 400}, r3.Vec{X: 800, Z: 400}, true},
		"left flank from the left, under the finger tips": {body.LegLeft, r3.Vec{X: 150, Z: -200}, r3.Vec{X: 800, Z: -200}, false},
		"back from behind":                                    {body.Trunk, r3.Vec{Y: 100, Z: 400}, r3.Vec{Y: 800, Z: 400}, false},
		"outer left arm from the left":                        {body.UpperArmLeft, r3.Vec{X: 296, Z: 500}, r3.Vec{X: 800, Z: 500}, false},
		"inner left arm from the right, behind the trunk":     {body.UpperArmLeft, r3.Vec{X: 210, Z: 500}, r3.Vec{X: -800, Z: 500}, true},
		"outer right arm from the right":                      {body.ForearmRight, r3.Vec{X: -286, Z: 200}, r3.Vec{X: -800, Z: 200}, false},
		"outer right arm from the left":                       {body.ForearmRight, r3.Vec{X: -286, Z: 200}, r3.Vec{X: 800, Z: 200}, true},
		"back of the right arm from behind":                   {body.UpperArmRight, r3.Vec{X: -253, Y: 43, Z: 500}, r3.Vec{X: -253, Y: 800, Z: 500}, false},
		"left forearm from above, under the wider upper arm":  {body.ForearmLeft, r3.Vec{X: 286, Z: 330}, r3.Vec{X: 290, Z: 1400}, true},
		"left flank from the back, past the arm":              {body.Trunk, r3.Vec{X: 190, Y: 31, Z: 400}, r3.Vec{X: 190, Y: 900, Z: 400}, false},
		"left flank from the side and back, through the arm":  {body.Trunk, r3.Vec{X: 199, Y: 10, Z: 400}, r3.Vec{X: 800, Y: 100, Z: 400}, true},
		"right flank from the right where the arm has ended":  {body.Trunk, r3.Vec{X: -200, Z: 695}, r3.Vec{X: -800, Z: 710}, false},
		"outer side of the right leg above the hand's height": {body.LegRight, r3.Vec{X: -195, Z: -20}, r3.Vec{X: -800, Z: -20}, true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			best, found := math.Inf(1), -1
			for i, p := range b.Patches {
				if d := r3.Norm(r3.Sub(p.Centre, tt.at)); p.Part == tt.part && d < best {
					best, found = d, i
				}
			}
			assert.Equal(t, tt.want, b.Shadowed(found, tt.focus), "%+v", b.Patches[found])
		})
	}
}

func TestShadowsWithArmsAgreeWithMarching(t *testing.T) {
	b := made(t, withArms(body.Size{}), 4)
	rapid.Check(t, func(t *rapid.T) {
		comparesShadow(t, b, focusOn(t, -600, 800), rapid.IntRange(0, len(b.Patches)-1).Draw(t, "patch"))
	})
}

func TestEnterMeetsTheArmFirst(t *testing.T) {
	b := made(t, withArms(body.Size{}), 100)
	for name, tt := range map[string]struct {
		from, way r3.Vec
		want      float64
	}{
		"upper arm from the left": {r3.Vec{X: 800, Z: 500}, r3.Vec{X: -1}, 800 - 296},
		"forearm from the right":  {r3.Vec{X: -800, Z: 200}, r3.Vec{X: 1}, 800 - 286},
		"over the arms":           {r3.Vec{X: 800, Z: 690}, r3.Vec{X: -1}, 600},
		"from behind":             {r3.Vec{Y: 800, Z: 500}, r3.Vec{Y: -1}, 700},
		"arm alone, from behind":  {r3.Vec{X: 253, Y: 800, Z: 500}, r3.Vec{Y: -1}, 757},
	} {
		d, hit := b.Enter(tt.from, tt.way)
		require.True(t, hit, name)
		assert.InDelta(t, tt.want, d, 1e-9, name)
	}
	assert.True(t, b.Inside(r3.Vec{X: 253, Z: 500}))
	assert.True(t, b.Inside(r3.Vec{X: -253, Z: 0}))
	assert.False(t, b.Inside(r3.Vec{X: 253, Z: 700}))
	assert.False(t, b.Inside(r3.Vec{X: 205, Z: 500}), "between trunk and arm")
}

func TestRegionsOfArms(t *testing.T) {
	b := made(t, withArms(body.Size{}), 1)
	for want, at := range map[string]r3.Vec{
		"left upper arm, outer side":  {X: 296, Z: 500},
		"right upper arm, inner side": {X: -210, Z: 500},
		"left upper arm, back":        {X: 253, Y: 43, Z: 500},
		"right forearm, front":        {X: -253, Y: -33, Z: 200},
		"right forearm, outer side":   {X: -286, Z: 200},
		"left hand, outer side":       {X: 286, Z: 0},
	} {
		best, got := math.Inf(1), ""
		for _, p := range b.Patches {
			if d := r3.Norm(r3.Sub(p.Centre, at)); d < best {
				best, got = d, p.Region
			}
		}
		assert.Equal(t, want, got)
	}
}

func TestSheetsOfArmsLieBesideAllOthers(t *testing.T) {
	for name, size := range map[string]body.Size{"adult": {}, "newborn": sized(0, 50, 3.5), "heavy": sized(40, 165, 150)} {
		t.Run(name, func(t *testing.T) {
			b := made(t, withArms(size), 4)
			sheets := map[body.Part]body.Sheet{}
			for _, s := range b.Sheets() {
				sheets[s.Part] = s
			}
			require.Len(t, sheets, 9)
			reach := 0.0 // of trunk, head and legs
			for part, s := range sheets {
				if part.OnArm() {
					continue
				}
				for up := s.Low; up <= s.High; up += (s.High - s.Low) / 50 {
					reach = max(reach, math.Abs(s.Midline)+s.HalfWidth(up))
				}
			}
			for part, s := range sheets {
				if !part.OnArm() {
					continue
				}
				assert.Greater(t, math.Abs(s.Midline)-s.HalfWidth(s.Low), reach)
				assert.Equal(t, part == body.UpperArmLeft || part == body.ForearmLeft, s.Midline > 0)
				assert.Zero(t, s.HalfWidth(s.Low-1))
			}
			assert.InDelta(t, sheets[body.UpperArmLeft].Low, sheets[body.ForearmLeft].High, 1e-9)
			for _, p := range b.Patches {
				if p.Part.OnArm() {
					require.LessOrEqual(t, math.Abs(p.Across), sheets[p.Part].HalfWidth(p.Up)+1e-6)
					require.InDelta(t, p.Centre.Z, p.Up, 1e-9)
				}
			}
		})
	}
}
