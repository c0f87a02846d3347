package exposure_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func mm(v float64) quantity.Opt[quantity.Millimetre] { return some(quantity.Millimetre(v)) }

// table puts the table at a longitudinal, lateral and height position.
func table(longitudinal, lateral, height float64) func(*procedure.Event) {
	return func(e *procedure.Event) {
		e.Mechanics.TableLongitudinal, e.Mechanics.TableLateral, e.Mechanics.TableHeight = mm(longitudinal), mm(lateral), mm(height)
	}
}

// isocentric puts the table reference point at x, y, z of the isocentre system.
func isocentric(x, y, z float64) func(*procedure.Event) {
	return func(e *procedure.Event) {
		e.Mechanics.TableX, e.Mechanics.TableY, e.Mechanics.TableZ = mm(x), mm(y), mm(z)
	}
}

func isocentre(s exposure.Shot) r3.Vec { return r3.Add(s.Focus, r3.Scale(750, s.Toward)) }

func TestTableMotion(t *testing.T) {
	b := adult(t)
	feet := lying(procedure.FeetFirst, procedure.Supine)
	tests := map[string]struct {
		from, to []func(*procedure.Event)
		want     r3.Vec // motion of the field over the patient
	}{
		"headward: the field goes footward":                   {ev(table(0, 0, 130)), ev(table(40, 0, 130)), r3.Vec{Z: -40}},
		"to the table's left: the field goes to the right":    {ev(table(0, 0, 130)), ev(table(0, 40, 130)), r3.Vec{X: -40}},
		"down: the field goes to the front":                   {ev(table(0, 0, 130)), ev(table(0, 0, 170)), r3.Vec{Y: -40}},
		"feet first, to the table's head: headward":           {ev(table(0, 0, 130), feet), ev(table(40, 0, 130), feet), r3.Vec{Z: 40}},
		"feet first, to the table's left: to the left":        {ev(table(0, 0, 130), feet), ev(table(0, 40, 130), feet), r3.Vec{X: 40}},
		"rows of the isocentre system, X left":                {ev(isocentric(0, 130, 0)), ev(isocentric(40, 130, 0)), r3.Vec{X: -40}},
		"rows of the isocentre system, Y down":                {ev(isocentric(0, 130, 0)), ev(isocentric(0, 170, 0)), r3.Vec{Y: -40}},
		"rows of the isocentre system, Z to the table's head": {ev(isocentric(0, 130, 0)), ev(isocentric(0, 130, 40)), r3.Vec{Z: -40}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, explained(), b, plain(0, 0, tt.from...), plain(0, 0, tt.to...))
			require.Len(t, c.Shots, 2)
			near(t, tt.want, r3.Sub(isocentre(c.Shots[1]), isocentre(c.Shots[0])), name)
			assert.False(t, c.Assumed, "%q", c.Assumptions)
		})
	}
}

func ev(change ...func(*procedure.Event)) []func(*procedure.Event) { return change }

func TestAxesAsTheProfileMeansThem(t *testing.T) {
	b := adult(t)
	// Positions exchanged and one counted the other way, as some equipment does.
	p := explained()
	p.Longitudinal = procedure.TableAxis{Meaning: procedure.AxisTableLeft, Sign: 1, Zero: mm(10)}
	p.Lateral = procedure.TableAxis{Meaning: procedure.AxisTableHead, Sign: -1, Zero: mm(0)}
	p.Height = procedure.TableAxis{Meaning: procedure.AxisTableDown, Sign: -1, Zero: mm(900)}
	c := traced(t, p, b, plain(0, 0, table(10, 0, 770)), plain(0, 0, table(30, 50, 760)))
	require.Len(t, c.Shots, 2)
	// 900-770 = 130 mm: mattress 30 and half depth 100 put the mid-plane at the isocentre. The mean place is the heart.
	near(t, r3.Vec{Z: 510 - 25}, isocentre(c.Shots[0]), "first")
	near(t, r3.Vec{X: -20, Y: -10, Z: 510 + 25}, isocentre(c.Shots[1]), "20 left, 50 footward, 10 down")
}

func TestTableHeightGivesTheTrueDistance(t *testing.T) {
	b := adult(t)
	tests := map[string]struct {
		height   float64
		distance float64 // focus to skin: 750 - height + mattress
	}{
		"mid-plane at the isocentre": {130, 650},
		"table low":                  {200, 580},
		"table high":                 {30, 750},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			for _, e := range []procedure.Event{
				plain(0, 0, table(0, 0, tt.height)), plain(0, 0, isocentric(0, tt.height, 0)),
				plain(0, 0, func(e *procedure.Event) { e.Mechanics.SourceToTable = mm(750 - tt.height) }),
			} {
				c := traced(t, explained(), b, e)
				_, d := entry(t, b, c.Shots[0])
				assert.InDelta(t, tt.distance, d, 1e-6) // mm, rounding
			}
		})
	}
}

func TestTableHeightFromTheDistanceSourceToTable(t *testing.T) {
	b := adult(t)
	toTable := func(v float64) func(*procedure.Event) {
		return func(e *procedure.Event) { e.Mechanics.SourceToTable = mm(v) }
	}
	cos8 := math.Cos(8 * math.Pi / 180)
	tests := map[string]struct {
		event procedure.Event
		want  float64 // isocentre's y: mattress 30 + half depth 100 - depth of the table top
	}{
		"straight under the table":              {plain(0, 0, toTable(600)), 130 - 150},
		"8 degrees aslant, along the beam":      {plain(8, 0, toTable(600)), 130 - 150*cos8},
		"30 degrees aslant: not used, mean":     {plain(30, 0, toTable(600)), 130 - 100},
		"none: mean of the others":              {plain(90, 0), 130 - 100},
		"not believed: unplaced, and no mean":   {plain(0, 0, toTable(600), func(e *procedure.Event) { e.Suspicion = procedure.SuspectDistance }), math.NaN()},
		"tube over the table: not used, mean":   {plain(180, 0, toTable(600)), 130 - 100},
		"a known zero goes first":               {plain(0, 0, toTable(600), table(0, 0, 90)), 130 - 90},
		"prone: straight under is 180 of front": {plain(180, 0, toTable(600), lying(procedure.HeadFirst, procedure.Prone)), 150 - 130},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			tt.event.RefKerma = some(quantity.Gray(0.001)) // weighs nothing against the other event
			other := plain(0, 0, toTable(650), func(e *procedure.Event) { e.RefKerma = some(quantity.Gray(1e9)) })
			c := traced(t, explained(), b, other, tt.event)
			if math.IsNaN(tt.want) {
				require.Len(t, c.Shots, 1)
				return
			}
			require.Len(t, c.Shots, 2)
			assert.InDelta(t, tt.want, isocentre(c.Shots[1]).Y, 1e-3) // mm, weight of the event itself
		})
	}
}

func TestTableHeightFromTheDistanceWithAnglesOfTheGantry(t *testing.T) {
	b := adult(t)
	profile := explained()
	profile.Angles = procedure.FrameGantry
	toTable := func(e *procedure.Event) { e.Mechanics.SourceToTable = mm(600) }
	for posture, want := range map[procedure.Posture]float64{procedure.Supine: 130 - 150, procedure.Prone: 150 - 130} {
		c := traced(t, profile, b, plain(0, 0, toTable, lying(procedure.HeadFirst, posture)))
		near(t, r3.Vec{Y: want, Z: 510}, isocentre(c.Shots[0]), posture.String())
	}
	over := traced(t, profile, b, plain(180, 0, toTable))
	near(t, r3.Vec{Z: 510}, isocentre(over.Shots[0]), "tube over the table: not used")
}

// Under a table with its head end raised the distance is still that along the beam, and the depth that along the table's
// normal; a beam within 10 degrees of the normal counts, wherever the room's vertical is.
func TestTableHeightFromTheDistanceUnderATiltedTable(t *testing.T) {
	b := adult(t)
	profile := explained()
	profile.Angles = procedure.FrameGantry
	for name, tt := range map[string]struct{ secondary, tilt, want float64 }{
		"8 degrees off the normal of a tilted table":     {0, 8, 130 - 150*math.Cos(8*math.Pi/180)},
		"with the table, along its normal":               {-20, 20, 130 - 150},
		"straight up, 20 degrees off the normal: mean":   {0, 20, 130 - 100},
		"20 degrees aslant under a straight one: mean":   {-20, 0, 130 - 100},
		"against the table's tilt, 16 degrees off: mean": {8, 8, 130 - 100},
	} {
		t.Run(name, func(t *testing.T) {
			at := func(d, kerma float64) func(*procedure.Event) {
				return func(e *procedure.Event) {
					e.Mechanics.SourceToTable, e.RefKerma = mm(d), some(quantity.Gray(kerma))
				}
			}
			tilt := func(e *procedure.Event) { e.Mechanics.TableHeadTilt = some(quantity.Degree(tt.tilt)) }
			c := traced(t, profile, b, plain(0, 0, at(650, 1e9)), plain(0, tt.secondary, at(600, 0.001), tilt))
			require.Len(t, c.Shots, 2)
			assert.InDelta(t, tt.want, isocentre(c.Shots[1]).Y, 1e-3) // mm, weight of the event itself
		})
	}
}

func TestThePartInTheBeamLiesOnTheTable(t *testing.T) {
	child, err := body.New(body.Size{AgeYears: some(5.0)}, 10) // trunk 7.5 cm, head 9.05 cm half deep
	require.NoError(t, err)
	side := lying(procedure.HeadFirst, procedure.DecubitusLeft)
	tests := map[string]struct {
		site  string
		event procedure.Event
		want  float64
	}{
		"trunk":             {"heart", plain(0, 0), 75},
		"neck hangs":        {"neck", plain(0, 0), 75},
		"head":              {"brain", plain(0, 0), 90.5},
		"leg":               {"lower_limb", plain(0, 0), 114.5 / 2 * (1 - 24.0/65)},
		"trunk on the side": {"heart", plain(0, 0, side), 114.5},
		"head on the side":  {"brain", plain(0, 0, side), 71.3},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{tt.event}}, procedure.DeviceProfile{}, procedure.Facts{}, child, tt.site, nil)
			require.NoError(t, err)
			table := c.Shots[0].Table
			assert.InDelta(t, tt.want, r3.Dot(table.Centre, table.Down), 1e-9)
		})
	}
}

func TestTableDownRaisesTheDoseOfATubeUnderIt(t *testing.T) {
	b := adult(t)
	rapid.Check(t, func(t *rapid.T) {
		high := rapid.Float64Range(0, 150).Draw(t, "height")
		lower := rapid.Float64Range(1, 100).Draw(t, "further down")
		angle := rapid.Float64Range(-50, 50).Draw(t, "angle")
		c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{
			plain(angle, 0, table(0, 0, high)), plain(angle, 0, table(0, 0, high+lower)),
		}}, explained(), procedure.Facts{}, b, "heart", nil)
		require.NoError(t, err)
		d0, _ := b.Enter(c.Shots[0].Focus, c.Shots[0].Toward)
		d1, hit := b.Enter(c.Shots[1].Focus, c.Shots[1].Toward)
		if hit && d1 >= d0 {
			t.Fatalf("%v mm down: skin at %v, before %v mm", lower, d1, d0)
		}
	})
}

func TestOnlyRelativeMotionKnown(t *testing.T) {
	b := adult(t)
	p := explained()
	p.Longitudinal.Zero, p.Lateral.Zero, p.Height.Zero = quantity.None[quantity.Millimetre](), quantity.None[quantity.Millimetre](), quantity.None[quantity.Millimetre]()
	heavy := plain(0, 0, table(1000, 500, 800), func(e *procedure.Event) { e.RefKerma = some(quantity.Gray(3)) })
	c := traced(t, p, b, heavy, plain(0, 0, table(1040, 520, 840)))
	// The kerma-weighted means are 1010, 505 and 810.
	near(t, r3.Vec{X: 5, Y: 10, Z: 520}, isocentre(c.Shots[0]), "heavy")
	near(t, r3.Vec{X: -15, Y: -30, Z: 480}, isocentre(c.Shots[1]), "light")
	assert.True(t, c.Assumed)
	says(t, c.Assumptions, "only relative table motion known")
	assert.Equal(t, quantity.Percent(8), c.Knowledge.Place.Percent)
	assert.Equal(t, quantity.Percent(16), c.Knowledge.Distance.Percent)
}

func TestNothingKnownOfTheTable(t *testing.T) {
	b := adult(t)
	c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, plain(0, 0, table(1, 2, 3)), plain(0, 0, table(400, 200, 300)))
	near(t, r3.Vec{Z: 510}, isocentre(c.Shots[0]), "mid-plane, centred, at the heart")
	near(t, r3.Vec{Z: 510}, isocentre(c.Shots[1]), "numbers without a meaning are not used")
	assert.True(t, c.Assumed)
	assert.Equal(t, quantity.Percent(15), c.Knowledge.Place.Percent)
}

func TestPlaceAlongTheBody(t *testing.T) {
	b := adult(t)
	target := procedure.Code{Value: "69536005", Scheme: "SCT"}
	side := func(value string) procedure.Code { return procedure.Code{Value: value, Scheme: "SCT"} }
	lookup := func(c procedure.Code) (string, bool) {
		return map[string]string{"69536005": "brain", "legs": "lower_limb", "odd": "elbow"}[c.Value], c.Value != "nowhere"
	}
	tests := map[string]struct {
		site   string
		change func(*procedure.Event)
		offset quantity.Opt[quantity.Millimetre]
		want   r3.Vec
		says   string
	}{
		"procedure class":             {"arch", func(*procedure.Event) {}, mm(0), r3.Vec{Z: 600}, "arch"},
		"target region goes first":    {"arch", func(e *procedure.Event) { e.Target = target }, mm(0), r3.Vec{Z: 900}, "brain"},
		"anatomy when no target":      {"arch", func(e *procedure.Event) { e.Anatomy = target }, mm(0), r3.Vec{Z: 900}, "brain"},
		"target without a place":      {"arch", func(e *procedure.Event) { e.Target = side("nowhere") }, mm(0), r3.Vec{Z: 600}, "arch"},
		"target with an unknown one":  {"arch", func(e *procedure.Event) { e.Target = side("odd") }, mm(0), r3.Vec{Z: 600}, "arch"},
		"nothing known":               {"", func(*procedure.Event) {}, mm(0), r3.Vec{Z: 350}, "middle of the trunk"},
		"a person's offset, headward": {"heart", func(*procedure.Event) {}, mm(30), r3.Vec{Z: 540}, "offset"},
		"liver, 8 cm to the right":    {"liver", func(*procedure.Event) {}, mm(0), r3.Vec{X: -80, Z: 360}, "liver"},
		"left leg": {
			"arch", func(e *procedure.Event) { e.Target, e.Side = side("legs"), side("7771000") }, mm(0),
			r3.Vec{X: 60, Z: -400},
			"lower limb",
		},
		"some leg": {"arch", func(e *procedure.Event) { e.Target = side("legs") }, mm(0), r3.Vec{X: -60, Z: -400}, "right leg"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{plain(0, 0, tt.change)}},
				procedure.DeviceProfile{Angles: procedure.FramePatient}, procedure.Facts{TableOffset: tt.offset}, b, tt.site, lookup)
			require.NoError(t, err)
			near(t, tt.want, isocentre(c.Shots[0]), name)
			says(t, c.Assumptions, tt.says)
		})
	}
}

// The place is the mean position of the events of one place; a target elsewhere has its own.
func TestEachPlaceHasItsOwnMean(t *testing.T) {
	b := adult(t)
	p := explained()
	lookup := func(c procedure.Code) (string, bool) { return c.Value, c.Value != "" }
	at := func(place string, z float64) procedure.Event {
		return plain(0, 0, table(z, 0, 130), func(e *procedure.Event) { e.Target = procedure.Code{Value: place, Scheme: "X"} })
	}
	c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{at("heart", 0), at("iliac", 300), at("heart", 20), at("iliac", 340)}},
		p, procedure.Facts{}, b, "", lookup)
	require.NoError(t, err)
	for i, z := range []float64{520, 200, 500, 160} {
		near(t, r3.Vec{Z: z}, isocentre(c.Shots[i]), "event")
	}
}

func TestFactsReplaceTheReportedOrientation(t *testing.T) {
	b := adult(t)
	c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{plain(0, 0)}},
		procedure.DeviceProfile{Angles: procedure.FrameGantry}, procedure.Facts{Posture: procedure.Prone}, b, "heart", nil)
	require.NoError(t, err)
	got, _ := entry(t, b, c.Shots[0])
	near(t, surface(front, 510), got, "prone by a person's fact")
}

// The closed form: along a ray in the plane of an ellipse with half-axes 200 and 100, aimed at its centre, the surface
// is at 200*100/sqrt((100 sin a)^2 + (200 cos a)^2) from it, and tilting by b divides that by cos b.
func TestFocusSkinDistanceOfAnEllipse(t *testing.T) {
	b := adult(t)
	rapid.Check(t, func(t *rapid.T) {
		primary := rapid.Float64Range(-180, 180).Draw(t, "primary")
		secondary := rapid.Float64Range(-30, 30).Draw(t, "secondary")
		c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{plain(primary, secondary)}},
			procedure.DeviceProfile{Angles: procedure.FramePatient}, procedure.Facts{}, b, "visceral_aorta", nil)
		require.NoError(t, err)
		sin, cos := math.Sincos(primary * math.Pi / 180)
		want := 750 - 20000/math.Hypot(100*sin, 200*cos)/math.Cos(secondary*math.Pi/180)
		got, hit := b.Enter(c.Shots[0].Focus, c.Shots[0].Toward)
		require.True(t, hit)
		require.InDelta(t, want, got, 1e-6) // mm; 0.5 % was asked, the ray is exact
	})
}

// A flat piece of skin: the shoulder, met straight from above. Its points lie one height away along the axis.
func TestDistanceToAPlane(t *testing.T) {
	b := adult(t)
	s := traced(t, explained(), b, plain(0, -90, isocentric(150, 130, 0), func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = mm(900) })).Shots[0]
	got, d := entry(t, b, s)
	near(t, r3.Vec{X: -150, Z: 700}, got, "right shoulder")
	assert.InDelta(t, 900-(700-510), d, 1e-6)
}

func TestTheTableSlab(t *testing.T) {
	b := adult(t)
	s := traced(t, procedure.DeviceProfile{}, b, plain(0, 0)).Shots[0].Table
	assert.Equal(t, 225.0, s.HalfWidth)
	assert.InDelta(t, 0.54, float64(s.Layers[0].Mass+s.Layers[1].Mass), 1e-12)
	p := procedure.DeviceProfile{TableWidth: mm(400), TableLength: mm(2000), Layers: []procedure.TableLayer{{Material: "pmma", Mass: 1.2}}}
	s = traced(t, p, b, plain(0, 0)).Shots[0].Table
	assert.Equal(t, []float64{200, 1000}, []float64{s.HalfWidth, s.HalfLength})
	require.Len(t, s.Layers, 1)
	p.Layers[0].Material = "oak"
	_, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{plain(0, 0)}}, p, procedure.Facts{}, b, "heart", nil)
	require.ErrorIs(t, err, exposure.ErrProfile)
	_, err = exposure.Trace(procedure.Procedure{}, procedure.DeviceProfile{}, procedure.Facts{}, nil, "", nil)
	require.ErrorIs(t, err, exposure.ErrBody)
}
