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
	table := 1.0
	if len(layers) > 0 {
		table = open.Transmission(layers, 1) * beam.ForwardScatter(beam.Mass(layers), quantity.Millimetre(side))
	}
	return (600 / distance) * (600 / distance) * table * behind.Scatter().Square(quantity.Millimetre(side)) * behind.TissueFactor(beam.SoftTissue)
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
		assert.False(t, alone.Dose[i] > 0 && other.Dose[i] > 0, "patch %d lies in both of two abutting fields", i)
	}
	assert.Equal(t, max(alone.PeakDose(), other.PeakDose()), both.PeakDose(), "abutting fields share no skin")

	near := fromBelow(1, -12, 0, 600, 103, 100)
	overlap := irradiate(t, flat, left, near)
	in := patchAt(flat, r3.Vec{X: -30})
	want := alone.Dose[in] + irradiate(t, flat, near).Dose[in]
	assert.InEpsilon(t, float64(want), float64(overlap.Dose[in]), 1e-12) // one addition in another order
	assert.InDelta(t, -30, flat.Patches[overlap.Peak].Centre.X, 10.1, "the peak lies in the overlap")
	require.Len(t, overlap.Contributions, 2)
	assert.InDelta(t, 1, overlap.Contributions[0].Share+overlap.Contributions[1].Share, 1e-12)
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
			want := (siso - 150) * (siso - 150) / skin / skin * b.Scatter().Square(side) * b.TissueFactor(beam.SoftTissue)
			entry := patchAt(adult, r3.Add(r3.Vec{Z: height}, r3.Scale(-tt.depth, toward)))
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
	side := quantity.Millimetre(60)
	want := b.Transmission([]beam.Layer{al}, math.Sqrt2) * beam.ForwardScatter(al.Mass, side) *
		behind.Scatter().Square(side) / b.Scatter().Square(side) * behind.TissueFactor(beam.SoftTissue) / b.TissueFactor(beam.SoftTissue)
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
