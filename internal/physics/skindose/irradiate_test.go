package skindose_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// usual is the beam of the closed forms: 80 kV, 3 mm Al, 0.3 mm Cu.
var usual = beam.Quality{Voltage: 80, Aluminium: 3, Copper: 0.3}

// plane is a body of flat skin: patches 1 cm apart in the plane y = 0, facing +y, as far as reach mm from the middle.
func plane(reach int) *body.Body {
	b := &body.Body{Name: "plane"}
	for x := -reach; x <= reach; x += 10 {
		first := len(b.Patches)
		for z := -reach; z <= reach; z += 10 {
			b.Patches = append(b.Patches, body.Patch{
				Centre: r3.Vec{X: float64(x), Z: float64(z)}, Normal: r3.Vec{Y: 1}, Area: 1, Across: float64(x), Up: float64(z),
			})
		}
		b.Groups = append(b.Groups, body.Group{
			First: first, End: len(b.Patches), Centre: r3.Vec{X: float64(x)}, Radius: float64(reach), Axis: r3.Vec{Y: 1}, CosHalf: 1,
		})
	}
	return b
}

// patchAt finds the patch of a body nearest to a point.
func patchAt(b *body.Body, at r3.Vec) int {
	best := 0
	for i := range b.Patches {
		if r3.Norm(r3.Sub(b.Patches[i].Centre, at)) < r3.Norm(r3.Sub(b.Patches[best].Centre, at)) {
			best = i
		}
	}
	return best
}

// fromBelow is a beam along -y from a focus at a distance under (x, 0, z), with a field of width by height mm at the
// plane y = 0.
func fromBelow(event int, x, z, distance, width, height float64) exposure.Shot {
	return exposure.Shot{
		Event: event, Kerma: 1, RefDistance: 600, Focus: r3.Vec{X: x, Y: distance, Z: z},
		Toward: r3.Vec{Y: -1}, Across: r3.Vec{X: 1}, Along: r3.Vec{Z: 1},
		HalfWidth: width / 2 / distance, HalfHeight: height / 2 / distance, Quality: usual,
	}
}

// carbon is a table in contact with the plane y = 0.
func carbon(layers ...beam.Layer) *exposure.Table {
	return &exposure.Table{
		Down: r3.Vec{Y: 1}, Left: r3.Vec{X: 1}, Head: r3.Vec{Z: 1}, HalfWidth: 225, HalfLength: 1000, Layers: layers,
	}
}

func irradiate(t testing.TB, b *body.Body, shots ...exposure.Shot) *skindose.Map {
	t.Helper()
	m, err := skindose.Irradiate(shots, b, beam.SoftTissue)
	require.NoError(t, err)
	return m
}

// byHand is eq. (6.1) with the published tables read by hand: B and f of the quality and a square field.
func byHand(t testing.TB, distance, side float64, layers ...beam.Layer) float64 {
	t.Helper()
	open, err := beam.New(usual)
	require.NoError(t, err)
	behind := open.Behind(layers)
	scatter := behind.Scatter().Square(quantity.Millimetre(side)) + float64(beam.Mass(layers))*fromTable(side, 0)
	return (600 / distance) * (600 / distance) * open.Transmission(layers, 1) * scatter * behind.TissueFactor(beam.SoftTissue)
}

// fromTable is the scatter of 1 g/cm2 of table in the middle of a square field behind a gap.
func fromTable(side, gap float64) float64 {
	half := quantity.Millimetre(side / 2)
	return beam.TableScattering().Over(half, half, half, half, quantity.Millimetre(gap))
}

func TestClosedFormOnPlaneSkin(t *testing.T) {
	const tol = 0.005 // of the value: half a voltage step and the tables' interpolation stay well within
	flat := plane(200)
	tests := map[string]struct {
		distance, side float64
		layers         []beam.Layer
	}{
		"at the reference point": {distance: 600, side: 100},
		"nearer":                 {distance: 550, side: 120},
		"through 1 mm aluminium": {distance: 630, side: 120, layers: []beam.Layer{beam.Sheet(beam.AluminiumMat, 1)}},
		"through carbon and foam": {distance: 700, side: 80, layers: []beam.Layer{
			{Material: beam.CarbonFibre, Mass: 0.39}, {Material: beam.Foam, Mass: 0.15},
		}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := fromBelow(0, 0, 0, tt.distance, tt.side, tt.side)
			if tt.layers != nil {
				s.Table = carbon(tt.layers...)
			}
			m := irradiate(t, flat, s)
			want := byHand(t, tt.distance, tt.side, tt.layers...)
			assert.InEpsilon(t, want, float64(m.PeakDose()), tol)
			assert.Equal(t, patchAt(flat, r3.Vec{}), m.Peak, "backscatter is highest in the middle")
			require.Len(t, m.Fields, 1)
			assert.InEpsilon(t, tt.side*tt.side/100, m.Fields[0].Area.Cm2(), 1e-9) // the middle patch lies on the axis
		})
	}
}

func TestVoltageBetweenTheGrains(t *testing.T) {
	s := fromBelow(0, 0, 0, 600, 100, 100)
	s.Quality = beam.Quality{Voltage: 60.5, Aluminium: 3} // half a step from both neighbours
	b, err := beam.New(s.Quality)
	require.NoError(t, err)
	want := b.Scatter().Square(100) * b.TissueFactor(beam.SoftTissue)
	assert.InEpsilon(t, want, float64(irradiate(t, plane(100), s).PeakDose()), 0.0017) // 0.14 % of B, 0.03 % of f
}

func TestEachRayHasItsOwnDistance(t *testing.T) {
	flat := plane(200)
	m := irradiate(t, flat, fromBelow(0, 0, 0, 600, 360, 360))
	b, err := beam.New(usual)
	require.NoError(t, err)
	at := r3.Vec{X: 100, Z: -50}
	slant2 := 600.0*600 + 100*100 + 50*50
	want := 600 * 600 / slant2 * b.Scatter().At(280, 80, 130, 230) * b.TissueFactor(beam.SoftTissue)
	assert.InEpsilon(t, want, float64(m.Dose[patchAt(flat, at)]), 0.005) // closed form
}

func TestFieldsAbutAndOverlap(t *testing.T) {
	flat := plane(200)
	left, right := fromBelow(0, -52, 0, 600, 103, 100), fromBelow(1, 52, 0, 600, 103, 100) // abut between patches
	alone, other := irradiate(t, flat, left), irradiate(t, flat, right)
	both := irradiate(t, flat, left, right)
	for i := range both.Dose {
		assert.InDelta(t, float64(alone.Dose[i]+other.Dose[i]), float64(both.Dose[i]), 1e-12, "doses add")
		assert.False(t, alone.Dose[i] > 0.5 && other.Dose[i] > 0.5, "no patch %d lies in both of two abutting fields", i)
	}
	at := patchAt(flat, r3.Vec{X: -40})
	assert.InDelta(t, 0.031, float64(other.Dose[at]/alone.PeakDose()), 0.002, "4 cm beside the other field, between 3 and 5 cm of the table below")

	near := fromBelow(1, -12, 0, 600, 103, 100)
	overlap := irradiate(t, flat, left, near)
	in := patchAt(flat, r3.Vec{X: -30})
	want := alone.Dose[in] + irradiate(t, flat, near).Dose[in]
	assert.InEpsilon(t, float64(want), float64(overlap.Dose[in]), 1e-12) // one addition in another order
	assert.InDelta(t, -30, flat.Patches[overlap.Peak].Centre.X, 10.1, "the peak lies in the overlap")
	require.Len(t, overlap.Contributions, 2)
	assert.InDelta(t, 1, overlap.Contributions[0].Share+overlap.Contributions[1].Share, 1e-12)
}

// Beside a field lies what it scatters there, 5 cm far.
func TestScatterBesideTheField(t *testing.T) {
	flat := plane(200)
	m := irradiate(t, flat, fromBelow(0, 5, 5, 600, 100, 100)) // edges half-way between patches
	middle := float64(m.PeakDose())
	b, err := beam.New(usual)
	require.NoError(t, err)
	for _, out := range []float64{5, 15, 25, 35, 45} { // mm outside the left edge at -45
		at := flat.Patches[patchAt(flat, r3.Vec{X: -45 - out, Z: 0})].Centre
		distance := 600*600 + (at.X-5)*(at.X-5) + (at.Z-5)*(at.Z-5)
		mm := func(v float64) quantity.Millimetre { return quantity.Millimetre(v) }
		scatter := b.Scatter().At(mm(-out), mm(100+out), mm(45), mm(55)) - 1
		cos := 600 / math.Sqrt(distance)
		want := 600 * 600 / distance * scatter * b.Oblique().Left(100, cos) * b.TissueFactor(beam.SoftTissue)
		assert.InEpsilon(t, want, float64(m.Dose[patchAt(flat, at)]), 1e-9, "%v mm outside", out) // rounding
		assert.Less(t, want, 0.13*middle)
	}
	assert.Zero(t, m.Dose[patchAt(flat, r3.Vec{X: -100})], "more than 5 cm outside")
	assert.Zero(t, m.Dose[patchAt(flat, r3.Vec{X: -90, Z: -90})], "more than 5 cm from the corner")
	assert.Positive(t, m.Dose[patchAt(flat, r3.Vec{X: -70, Z: -70})])
	require.Len(t, m.Fields, 1)
}

// A beam that passes the body by scatters nothing onto it, and has no field on it.
func TestBeamBesideTheBodyScattersNothing(t *testing.T) {
	adult, err := body.New(body.Size{}, 1)
	require.NoError(t, err)
	lateral := func(y float64) exposure.Shot { // along the left-right axis, the back 100 mm behind it
		return exposure.Shot{
			Kerma: 1, RefDistance: 600, Focus: r3.Vec{X: -785, Y: y, Z: 400}, Toward: r3.Vec{X: 1}, Across: r3.Vec{Y: 1}, Along: r3.Vec{Z: 1},
			HalfWidth: 0.05, HalfHeight: 0.05, Quality: usual,
		}
	}
	past := irradiate(t, adult, lateral(145))
	assert.Equal(t, -1, past.Peak)
	assert.Empty(t, past.Fields)
	edge := irradiate(t, adult, lateral(120)) // its axis misses, its lower edge does not
	require.Len(t, edge.Fields, 1)
	beside := patchAt(adult, r3.Vec{X: -120, Y: 60, Z: 400}) // 20 mm below the field's edge
	assert.Positive(t, edge.Dose[beside])
	assert.Less(t, float64(edge.Dose[beside]), 0.2*float64(edge.PeakDose()))
}

// Where the field ends on the table and the skin beside it lies over the open, what scatters has come through the table.
func TestScatterBesideTheFieldHasCrossedTheTable(t *testing.T) {
	flat := plane(200)
	al := beam.Sheet(beam.AluminiumMat, 1)
	s := fromBelow(0, 5, 0, 600, 100, 100)
	s.Table = carbon(al)
	s.Table.Centre = r3.Vec{X: 225 - 50} // the table ends 5 mm left of the field's left edge
	b, err := beam.New(usual)
	require.NoError(t, err)
	behind := b.Behind([]beam.Layer{al})
	const out, square = 25, 600*600 + 75*75
	slant := math.Sqrt(600*600+50*50) / 600 // of the ray to the nearest part of the field
	scatter := (behind.Scatter().At(-out, 100+out, 50, 50)-1)*behind.Oblique().Left(100, 600/math.Sqrt(square)) +
		float64(al.Mass)*beam.TableScattering().Over(-out, 100+out, 50, 50, 0)
	want := 600.0 * 600 / square * b.Transmission([]beam.Layer{al}, slant) * scatter * behind.TissueFactor(beam.SoftTissue)
	got := irradiate(t, flat, s).Dose[patchAt(flat, r3.Vec{X: -70})]
	assert.InEpsilon(t, want, float64(got), 1e-4) // table of the slants
	beside := (b.Scatter().At(-out, 100+out, 50, 50) - 1) * b.TissueFactor(beam.SoftTissue)
	assert.Greater(t, math.Abs(want/beside-1), 0.03, "it is not the beam beside the table")
}

// A gap of air takes scatter of the table away; the transmission stays.
func TestGapBetweenTableAndSkin(t *testing.T) {
	flat := plane(200)
	layers := []beam.Layer{{Material: beam.CarbonFibre, Mass: 0.39}, {Material: beam.Foam, Mass: 0.15}}
	b, err := beam.New(usual)
	require.NoError(t, err)
	behind := b.Behind(layers)
	for _, gap := range []float64{-10, 0, 10, 100, 300} {
		s := fromBelow(0, 0, 0, 600, 100, 100)
		s.Table = carbon(layers...)
		s.Table.Centre = r3.Vec{Y: gap} // below 0 the skin has sunk into the mattress
		want := b.Transmission(layers, 1) * (behind.Scatter().Square(100) + 0.54*fromTable(100, gap)) * behind.TissueFactor(beam.SoftTissue)
		assert.InEpsilon(t, want, float64(irradiate(t, flat, s).PeakDose()), 0.0002, "gap of %v mm", gap) // table of the slants
	}
	assert.Less(t, fromTable(100, 10), 0.85*fromTable(100, 0))
	assert.Less(t, fromTable(100, 100), 0.35*fromTable(100, 0))
}

func TestEllipticTrunkAtKnownAngles(t *testing.T) {
	adult, err := body.New(body.Size{AgeYears: quantity.Some(40.0), Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}, 0.05)
	require.NoError(t, err)
	b, err := beam.New(usual)
	require.NoError(t, err)
	const (
		siso   = 785.0
		height = 350.0
		field  = 100.0 // at the isocentre
	)
	tests := map[string]struct {
		primary float64
		depth   float64 // from isocentre to skin along the axis, by the ellipse of 200 by 100 mm
	}{
		"frontal, the back":       {0, 100},
		"LAO 90, the right flank": {90, 200},
		"RAO 90, the left flank":  {-90, 200},
		"LAO 45":                  {45, 1 / math.Sqrt(0.5/200/200+0.5/100/100)},
		"180, the front":          {180, 100},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			sin, cos := math.Sincos(tt.primary * math.Pi / 180)
			toward := r3.Vec{X: sin, Y: -cos}
			focus := r3.Add(r3.Vec{Z: height}, r3.Scale(-siso, toward))
			m := irradiate(t, adult, exposure.Shot{
				Kerma: 1, RefDistance: siso - 150, Focus: focus, Toward: toward, Across: r3.Vec{X: cos, Y: sin}, Along: r3.Vec{Z: 1},
				HalfWidth: field / 2 / siso, HalfHeight: field / 2 / siso, Quality: usual,
			})
			skin := siso - tt.depth
			side := quantity.Millimetre(field * skin / siso)
			entry := patchAt(adult, r3.Add(r3.Vec{Z: height}, r3.Scale(-tt.depth, toward)))
			facing := -r3.Dot(toward, adult.Patches[entry].Normal)
			scatter := 1 + (b.Scatter().Square(side)-1)*b.Oblique().Left(side, facing)
			want := (siso - 150) * (siso - 150) / skin / skin * scatter * b.TissueFactor(beam.SoftTissue)
			// The entry patch lies up to 1.6 mm off the axis, where an oblique surface is nearer or farther by less: 0.5 %.
			assert.InEpsilon(t, want, float64(m.Dose[entry]), 0.005)
		})
	}
}

func TestTableOnlyOnTheWay(t *testing.T) {
	flat := plane(200)
	al := beam.Sheet(beam.AluminiumMat, 1)
	beside := fromBelow(0, 0, 0, 600, 100, 100)
	beside.Table = carbon(al)
	beside.Table.Centre = r3.Vec{X: 225 + 3} // the edge runs 3 mm off the middle
	m := irradiate(t, flat, beside)
	open := irradiate(t, flat, fromBelow(0, 0, 0, 600, 100, 100))
	for _, x := range []float64{-40, -10, 0} {
		i := patchAt(flat, r3.Vec{X: x})
		assert.Equal(t, open.Dose[i], m.Dose[i], "the ray to x = %v mm misses the table", x)
	}
	for _, x := range []float64{10, 40} {
		i := patchAt(flat, r3.Vec{X: x})
		assert.Less(t, float64(m.Dose[i]), 0.95*float64(open.Dose[i]), "the ray to x = %v mm crosses the table", x)
	}
	above := fromBelow(0, 0, 0, 600, 100, 100)
	above.Table = carbon(al)
	above.Table.Centre, above.Table.Down = r3.Vec{Y: -200}, r3.Vec{Y: -1}
	assert.Equal(t, open.Dose, irradiate(t, flat, above).Dose, "an over-table tube's beam meets the skin first")
}

func TestObliqueRayCrossesMoreTable(t *testing.T) {
	flat := plane(200)
	al := beam.Sheet(beam.AluminiumMat, 1)
	const tilt = math.Pi / 4
	s := exposure.Shot{
		Kerma: 1, RefDistance: 600, Focus: r3.Vec{X: 600 * math.Sin(tilt), Y: 600 * math.Cos(tilt)},
		Toward: r3.Vec{X: -math.Sin(tilt), Y: -math.Cos(tilt)}, Across: r3.Vec{X: math.Cos(tilt), Y: -math.Sin(tilt)}, Along: r3.Vec{Z: 1},
		HalfWidth: 0.05, HalfHeight: 0.05, Quality: usual,
	}
	open := irradiate(t, flat, s)
	s.Table = carbon(al)
	through := irradiate(t, flat, s)
	b, err := beam.New(usual)
	require.NoError(t, err)
	behind := b.Behind([]beam.Layer{al})
	const side = 60
	cos := math.Cos(tilt)
	scatter := func(b *beam.Beam) float64 { return 1 + (b.Scatter().Square(side)-1)*b.Oblique().Left(side, cos) }
	want := b.Transmission([]beam.Layer{al}, math.Sqrt2) * (scatter(behind) + float64(al.Mass)*fromTable(side, 0)) / scatter(b) *
		behind.TissueFactor(beam.SoftTissue) / b.TissueFactor(beam.SoftTissue)
	i := patchAt(flat, r3.Vec{})
	assert.InEpsilon(t, want, float64(through.Dose[i]/open.Dose[i]), 0.001) // tables of transmission by slant
}

func TestAwayAndShadowedSkinGetsNothing(t *testing.T) {
	adult, err := body.New(body.Size{}, 1)
	require.NoError(t, err)
	// A lateral beam through both legs: the far leg lies in the shadow of the near one.
	m := irradiate(t, adult, exposure.Shot{
		Kerma: 1, RefDistance: 600, Focus: r3.Vec{X: -785, Z: -400}, Toward: r3.Vec{X: 1}, Across: r3.Vec{Y: 1}, Along: r3.Vec{Z: 1},
		HalfWidth: 0.05, HalfHeight: 0.05, Quality: usual,
	})
	require.GreaterOrEqual(t, m.Peak, 0)
	for i, d := range m.Dose {
		if d > 0 {
			p := adult.Patches[i]
			assert.Equal(t, body.LegRight, p.Part, "dose at %v", p.Centre)
			assert.Negative(t, p.Normal.X)
		}
	}
	assert.Equal(t, "right outer knee, side", adult.Patches[m.Peak].Region)
}

func TestImpossibleShots(t *testing.T) {
	flat := plane(50)
	good := fromBelow(0, 0, 0, 600, 100, 100)
	tests := map[string]func(*exposure.Shot){
		"not a number":       func(s *exposure.Shot) { s.Focus.X = math.NaN() },
		"infinite kerma":     func(s *exposure.Shot) { s.Kerma = quantity.Gray(math.Inf(1)) },
		"negative kerma":     func(s *exposure.Shot) { s.Kerma = -1 },
		"no reference point": func(s *exposure.Shot) { s.RefDistance = 0 },
		"no field":           func(s *exposure.Shot) { s.HalfHeight = 0 },
	}
	for name, spoil := range tests {
		t.Run(name, func(t *testing.T) {
			s := good
			spoil(&s)
			_, err := skindose.Irradiate([]exposure.Shot{s}, flat, beam.SoftTissue)
			assert.ErrorIs(t, err, skindose.ErrShot)
		})
	}
	_, err := skindose.Irradiate([]exposure.Shot{good}, flat, "cheese")
	assert.ErrorIs(t, err, beam.ErrMaterial)
	good.Quality.Voltage = 10
	_, err = skindose.Irradiate([]exposure.Shot{good}, flat, beam.SoftTissue)
	assert.ErrorIs(t, err, beam.ErrQuality)
}
