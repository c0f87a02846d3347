package exposure_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// orientations are written out by hand: what lies on the table, what the tube meets from below and from the table's
// right side, and where along the patient it enters when tilted to the foot end of the table.
var orientations = map[string]struct {
	direction procedure.Direction
	posture   procedure.Posture
	down      r3.Vec // the side of the patient on the table
	right     r3.Vec // the side of the patient towards the table's right
	footward  bool   // the foot end of the table is at the patient's feet
}{
	"head first, supine: back down, right side on the right":              {procedure.HeadFirst, procedure.Supine, back, rightSide, true},
	"head first, prone: front down, left side on the right":               {procedure.HeadFirst, procedure.Prone, front, leftSide, true},
	"feet first, supine: back down, turned round, left side on the right": {procedure.FeetFirst, procedure.Supine, back, leftSide, false},
	"feet first, prone: front down, right side on the right":              {procedure.FeetFirst, procedure.Prone, front, rightSide, false},
	"head first on the left side: the face looks left, back on the right": {procedure.HeadFirst, procedure.DecubitusLeft, leftSide, back, true},
	"head first on the right side: the face looks right, front on it":     {procedure.HeadFirst, procedure.DecubitusRight, rightSide, front, true},
	"feet first on the left side: turned round, front on the right":       {procedure.FeetFirst, procedure.DecubitusLeft, leftSide, front, false},
	"feet first on the right side: turned round, back on the right":       {procedure.FeetFirst, procedure.DecubitusRight, rightSide, back, false},
}

var (
	back      = r3.Vec{Y: 1}
	front     = r3.Vec{Y: -1}
	leftSide  = r3.Vec{X: 1}
	rightSide = r3.Vec{X: -1}
)

// surface is the point of the adult's trunk on a side at a height of z mm.
func surface(side r3.Vec, z float64) r3.Vec { return r3.Vec{X: 200 * side.X, Y: 100 * side.Y, Z: z} }

func near(t *testing.T, want, got r3.Vec, text string) {
	t.Helper()
	assert.InDelta(t, 0, r3.Norm(r3.Sub(want, got)), 1e-6, "%s: want %v, got %v", text, want, got) // mm, rounding
}

func lying(direction procedure.Direction, posture procedure.Posture) func(*procedure.Event) {
	return func(e *procedure.Event) { e.Direction, e.Posture = direction, posture }
}

func TestOrientationsWithAnglesOfThePatient(t *testing.T) {
	b := adult(t)
	for name, o := range orientations {
		t.Run(name, func(t *testing.T) {
			lie := lying(o.direction, o.posture)
			c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, plain(0, 0, lie), plain(90, 0, lie), plain(0, 45, lie))
			require.Len(t, c.Shots, 3)
			assert.Nil(t, c.Alternative)
			for i, want := range []r3.Vec{surface(back, 510), surface(rightSide, 510), surface(back, 410)} {
				got, _ := entry(t, b, c.Shots[i])
				near(t, want, got, "the patient's angles do not care about the table")
			}
			near(t, o.down, c.Shots[0].Table.Down, "the table lies under the lower side")
			depth := 100*math.Abs(o.down.Y) + 200*math.Abs(o.down.X)
			assert.InDelta(t, depth, r3.Dot(c.Shots[0].Table.Centre, o.down), 1e-9, "the table touches the skin")
			near(t, r3.Scale(-1, o.right), c.Shots[0].Table.Left, "table left is away from what is on the right")
		})
	}
}

func TestOrientationsWithAnglesOfTheGantry(t *testing.T) {
	b := adult(t)
	for _, frame := range []procedure.AngleFrame{procedure.FrameGantry, procedure.FrameUnknown} {
		for name, o := range orientations {
			t.Run(name, func(t *testing.T) {
				lie := lying(o.direction, o.posture)
				c := traced(t, procedure.DeviceProfile{Angles: frame}, b, plain(0, 0, lie), plain(90, 0, lie), plain(0, 45, lie))
				shots := c.Shots
				if frame == procedure.FrameUnknown && name[:18] != "head first, supine" {
					require.True(t, c.Assumed)
					inPatient, _ := entry(t, b, shots[1])
					near(t, surface(rightSide, 510), inPatient, "the first reading is the patient's")
					shots = c.Alternative
				} else {
					assert.Nil(t, c.Alternative)
				}
				require.Len(t, shots, 3)
				got, _ := entry(t, b, shots[0])
				near(t, surface(o.down, 510), got, "0/0 from under the table")
				got, _ = entry(t, b, shots[1])
				near(t, surface(o.right, 510), got, "+90: the tube on the table's right")
				got, _ = entry(t, b, shots[2])
				shift := 100*math.Abs(o.down.Y) + 200*math.Abs(o.down.X)
				if o.footward {
					shift = -shift
				}
				if want := surface(o.down, 510+shift); want.Z < 700 {
					near(t, want, got, "+45: the tube towards the foot end of the table")
				} else {
					assert.InDelta(t, 700, got.Z, 1e-6, "over the shoulder")
				}
			})
		}
	}
}

func TestTheAlternativeHoldsAllShots(t *testing.T) {
	b := adult(t)
	prone := lying(procedure.HeadFirst, procedure.Prone)
	c := traced(t, procedure.DeviceProfile{}, b, plain(0, 0), plain(0, 0, prone), plain(30, 0))
	require.Len(t, c.Alternative, 3)
	assert.Equal(t, c.Shots[0], c.Alternative[0], "supine: both frames agree")
	assert.Equal(t, c.Shots[2], c.Alternative[2], "supine: both frames agree")
	near(t, r3.Scale(-1, c.Shots[1].Toward), c.Alternative[1].Toward, "prone: the other side")
	says(t, c.Assumptions, "both are computed")
	c = traced(t, procedure.DeviceProfile{}, b, plain(0, 0), plain(0, 0, lying(procedure.HeadFirst, procedure.PostureOther)))
	assert.Nil(t, c.Alternative, "an event that is not placed has no other reading")
}

func TestFieldAxesAreRightHandedEverywhere(t *testing.T) {
	b := adult(t)
	for name, o := range orientations {
		for _, frame := range []procedure.AngleFrame{procedure.FramePatient, procedure.FrameGantry} {
			c := traced(t, procedure.DeviceProfile{Angles: frame}, b, plain(33, -21, lying(o.direction, o.posture)))
			s := c.Shots[0]
			near(t, s.Toward, r3.Cross(s.Across, s.Along), name)
			assert.InDelta(t, 1, r3.Norm(s.Across), 1e-12)
			assert.InDelta(t, 0, r3.Dot(s.Across, s.Along), 1e-12)
			near(t, s.Table.Down, r3.Cross(s.Table.Head, s.Table.Left), name+": head x left = down")
		}
	}
}

// At the front of the chest the field's width runs to the patient's left and its height to the head (PS3.3 C.8.7.5).
func TestFieldAxesOfAFrontalBeam(t *testing.T) {
	b := adult(t)
	s := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, plain(0, 0)).Shots[0]
	near(t, leftSide, s.Across, "width")
	near(t, r3.Vec{Z: 1}, s.Along, "height")
}

// A detector turned by 30 degrees turns the field in its plane, height towards width, whatever the angles and the frame.
func TestTurnedDetector(t *testing.T) {
	b := adult(t)
	sin, cos := math.Sincos(30 * math.Pi / 180)
	turned := func(v float64) func(*procedure.Event) {
		return func(e *procedure.Event) { e.Mechanics.DetectorRotation = some(quantity.Degree(v)) }
	}
	for _, frame := range []procedure.AngleFrame{procedure.FramePatient, procedure.FrameGantry} {
		for _, angles := range [][2]float64{{0, 0}, {-40, 25}, {95, 10}} {
			for _, o := range orientations {
				lies := lying(o.direction, o.posture)
				profile := procedure.DeviceProfile{Angles: frame}
				straight := traced(t, profile, b, plain(angles[0], angles[1], lies)).Shots[0]
				c := traced(t, profile, b, plain(angles[0], angles[1], lies, turned(30)))
				s := c.Shots[0]
				near(t, r3.Add(r3.Scale(cos, straight.Along), r3.Scale(sin, straight.Across)), s.Along, "height")
				near(t, r3.Sub(r3.Scale(cos, straight.Across), r3.Scale(sin, straight.Along)), s.Across, "width")
				near(t, straight.Toward, s.Toward, "the beam stays")
				near(t, straight.Focus, s.Focus, "the focus stays")
				says(t, c.Assumptions, "field turned with the detector")
			}
		}
	}
	c := traced(t, procedure.DeviceProfile{}, b, plain(0, 0))
	says(t, c.Assumptions, "detector rotation not reported")
	none := traced(t, procedure.DeviceProfile{}, b, plain(0, 0, turned(0)))
	assert.Equal(t, c.Shots, none.Shots)
	assert.NotContains(t, none.Assumptions, "detector rotation not reported: 0 (common practice, no source)")
	mad := traced(t, procedure.DeviceProfile{}, b, plain(0, 0, turned(9999)))
	assert.Equal(t, c.Shots, mad.Shots, "no angle")
}

// An open run is tried at every angle with the field as turned as reported.
func TestTurnedDetectorOfAnOpenRun(t *testing.T) {
	c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, adult(t), plain(0, 0, func(e *procedure.Event) {
		e.Type = procedure.Rotational
		e.Mechanics.DetectorRotation = some[quantity.Degree](90)
	}))
	require.NotEmpty(t, c.Shots[0].Else)
	for _, s := range c.Shots[0].Else {
		near(t, r3.Vec{Z: -1}, s.Across, "the width runs to the feet")
	}
}

func TestTurnedTable(t *testing.T) {
	b := adult(t)
	deg := func(v float64) quantity.Opt[quantity.Degree] { return some(quantity.Degree(v)) }
	tests := map[string]struct {
		primary, secondary float64
		turn               func(*procedure.Mechanics)
		same               [2]float64 // the angles with the table straight that meet the patient in the same way
	}{
		"head end raised by 20: up lies nearer the head":            {0, 0, func(m *procedure.Mechanics) { m.TableHeadTilt = deg(20) }, [2]float64{0, 20}},
		"left edge raised by 30: up lies nearer the left":           {0, 0, func(m *procedure.Mechanics) { m.TableCradleTilt = deg(30) }, [2]float64{30, 0}},
		"head turned clockwise by 90: a beam to the left meets it":  {60, 0, func(m *procedure.Mechanics) { m.TableRotation = deg(90) }, [2]float64{0, 60}},
		"head turned the other way by 90: a beam to the right does": {-60, 0, func(m *procedure.Mechanics) { m.TableRotation = deg(-90) }, [2]float64{0, 60}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			gantry := procedure.DeviceProfile{Angles: procedure.FrameGantry}
			turned := func(e *procedure.Event) { tt.turn(&e.Mechanics) }
			c := traced(t, gantry, b, plain(tt.primary, tt.secondary, turned))
			want := traced(t, gantry, b, plain(tt.same[0], tt.same[1])).Shots[0]
			near(t, want.Toward, c.Shots[0].Toward, "beam")
			near(t, want.Focus, c.Shots[0].Focus, "focus")
			says(t, c.Assumptions, "tilted or rotated")
			patient := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, plain(10, 5, turned))
			near(t, traced(t, gantry, b, plain(10, 5)).Shots[0].Toward, patient.Shots[0].Toward, "angles of the patient stay")
		})
	}
}

// The room turns into the table first and the table into the patient then: with the head end raised a beam straight up
// lies nearer the head of a prone patient too, and nearer the feet of one who lies feet first.
func TestTurnedTableUnderOtherPostures(t *testing.T) {
	b := adult(t)
	sin, cos := math.Sincos(20 * math.Pi / 180)
	tilted := func(e *procedure.Event) { e.Mechanics.TableHeadTilt = some[quantity.Degree](20) }
	gantry := procedure.DeviceProfile{Angles: procedure.FrameGantry}
	prone := traced(t, gantry, b, plain(0, 0, tilted, lying(procedure.HeadFirst, procedure.Prone)))
	near(t, r3.Vec{Y: cos, Z: sin}, prone.Shots[0].Toward, "prone")
	feet := traced(t, gantry, b, plain(0, 0, tilted, lying(procedure.FeetFirst, procedure.Supine)))
	near(t, r3.Vec{Y: -cos, Z: -sin}, feet.Shots[0].Toward, "feet first")
}

func TestPosturesWithoutARule(t *testing.T) {
	b := adult(t)
	other := plain(0, 0, lying(procedure.HeadFirst, procedure.PostureOther))
	erect := plain(0, 0, func(e *procedure.Event) { e.Attitude = procedure.Code{Value: "C86043", Scheme: "NCIt"} })
	for name, e := range map[string]procedure.Event{"another posture": other, "erect": erect} {
		t.Run(name, func(t *testing.T) {
			c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, e)
			require.Len(t, c.Shots, 1)
			assert.Nil(t, c.Shots[0].Table)
			assert.True(t, c.Assumed)
			for _, frame := range []procedure.AngleFrame{procedure.FrameGantry, procedure.FrameUnknown} {
				c = traced(t, procedure.DeviceProfile{Angles: frame}, b, e)
				assert.Empty(t, c.Shots)
				require.Len(t, c.Unplaced, 1)
				assert.Contains(t, c.Unplaced[0].Reason, "no rule")
				assert.Equal(t, some(quantity.Gray(1)), c.Unplaced[0].Kerma)
			}
		})
	}
}

func TestUnknownOrientationIsHeadFirstSupine(t *testing.T) {
	b := adult(t)
	unknown := plain(20, 10, lying(procedure.DirectionUnknown, procedure.PostureUnknown))
	for _, frame := range []procedure.AngleFrame{procedure.FramePatient, procedure.FrameGantry, procedure.FrameUnknown} {
		c := traced(t, procedure.DeviceProfile{Angles: frame}, b, unknown)
		assert.Equal(t, traced(t, procedure.DeviceProfile{Angles: frame}, b, plain(20, 10)).Shots, c.Shots)
		says(t, c.Assumptions, "head first")
		says(t, c.Assumptions, "supine")
	}
}

func says(t *testing.T, said []string, want string) {
	t.Helper()
	assert.True(t, slices.ContainsFunc(said, func(s string) bool { return strings.Contains(s, want) }), "%q in %q", want, said)
}
