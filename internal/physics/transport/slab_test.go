package transport_test

import (
	"context"
	"encoding/csv"
	"math"
	"os"
	"runtime"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/quantity"
)

// layer is a plane layer of a slab in mm.
type layer struct {
	material  beam.Material
	thickness float64
}

// densities in g/cm3, as in package beam and, for bone, ICRU Report 44 (1989), from memory.
var densities = map[beam.Material]float64{
	beam.Water: 1, beam.FourComponent: 1, beam.PMMA: 1.19, beam.Skin: 1.09, transport.CorticalBone: 1.92,
	beam.CarbonFibre: 1.55, beam.Foam: 0.03, transport.PhantomSoft: 1.04,
}

// slab is a world of layers from z = 0 towards +z, a square of the given half side.
func slab(t testing.TB, half float64, layers ...layer) *transport.World {
	t.Helper()
	var regions []transport.Region
	z, thinnest := 0.0, math.Inf(1)
	for _, l := range layers {
		m, err := transport.NewMedium(l.material, densities[l.material])
		require.NoError(t, err)
		regions = append(regions, transport.Box(string(l.material), m,
			r3.Vec{X: -half, Y: -half, Z: z}, r3.Vec{X: half, Y: half, Z: z + l.thickness}))
		z, thinnest = z+l.thickness, min(thinnest, l.thickness)
	}
	w, err := transport.NewWorld(regions, r3.Vec{Z: thinnest})
	require.NoError(t, err)
	return w
}

// unlimited is half the side of a slab that counts as endless, in mm.
const unlimited = 2000

func mono(kev float64) []beam.Photons {
	return []beam.Photons{{Energy: beam.KiloElectronvolt(kev), PerArea: 1}}
}

func tungsten(t testing.TB, kv, al, cu float64) []beam.Photons {
	t.Helper()
	b, err := beam.New(beam.Quality{Voltage: quantity.Kilovolt(kv), Aluminium: quantity.Millimetre(al), Copper: quantity.Millimetre(cu)})
	require.NoError(t, err)
	return b.Spectrum()
}

// fromAbove is a point source on the axis above z = 0 with a square field of the given side at z = 0, in mm.
func fromAbove(distance, side float64, spectrum []beam.Photons) transport.Source {
	return transport.Source{
		Focus: r3.Vec{Z: -distance}, Toward: r3.Vec{Z: 1}, Across: r3.Vec{X: 1}, Along: r3.Vec{Y: 1},
		HalfWidth: side / 2 / distance, HalfHeight: side / 2 / distance, Spectrum: spectrum,
	}
}

// pencil is a beam without width that meets z = 0 in the origin, at an angle to the normal in degrees.
func pencil(degrees float64, spectrum []beam.Photons) transport.Source {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	toward := r3.Vec{X: sin, Z: cos}
	return transport.Source{
		Focus: r3.Scale(-100, toward), Toward: toward, Across: r3.Vec{X: cos, Z: -sin}, Along: r3.Vec{Y: 1}, Spectrum: spectrum,
	}
}

// surface is the detector that turns a pencil beam's scores into those of broad parallel fields by reciprocity.
func surface(source transport.Source, circles, squares []float64, media ...beam.Material) transport.Detector {
	return transport.Detector{
		Normal: r3.Vec{Z: -1}, U: source.Across, V: source.Along, Circles: circles, Squares: squares, Media: media,
	}
}

// disc is a round detector on the axis at a depth, in mm.
func disc(depth, radius float64, media ...beam.Material) transport.Detector {
	return transport.Detector{
		At: r3.Vec{Z: depth}, Normal: r3.Vec{Z: -1}, U: r3.Vec{X: 1}, V: r3.Vec{Y: 1}, Circles: []float64{radius}, Media: media,
	}
}

func run(t testing.TB, p transport.Plan) *transport.Result {
	t.Helper()
	r, err := transport.Run(context.Background(), p, runtime.GOMAXPROCS(0))
	require.NoError(t, err)
	return r
}

// scatterOverPrimary is S within square i (or circle i) of a pencil beam's surface detector, eq. (9.9).
func scatterOverPrimary(r *transport.Result, medium, i int, square bool) transport.Value {
	return r.Estimate(func(t transport.Tally) float64 {
		scattered := transport.Crossing{Medium: medium, Scattered: true}
		primary := transport.Crossing{Medium: medium}
		if square {
			return t.Square(scattered, i) / t.Square(primary, i)
		}
		return t.Circle(scattered, i) / t.Circle(primary, i)
	})
}

// onDisc is the scattered kerma in a disc over the kerma per photon and fluence given, for a point source whose axis
// meets the disc's plane, or a reference plane, at a distance.
func onDisc(r *transport.Result, s transport.Source, detector, medium int, radius, distance, kerma float64) transport.Value {
	free := kerma / (4 * s.HalfWidth * s.HalfHeight * distance * distance)
	return r.Estimate(func(t transport.Tally) float64 {
		return t.Circle(transport.Crossing{Detector: detector, Medium: medium, Scattered: true}, 0) / (math.Pi * radius * radius) / free
	})
}

// readTable gives the rows of a table with its first row, the column names, left out.
func readTable(t testing.TB, file string) [][]string {
	t.Helper()
	f, err := os.Open(file)
	require.NoError(t, err)
	defer func() { assert.NoError(t, f.Close()) }()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	return rows[1:]
}

func number(t testing.TB, text string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(text, 64)
	require.NoError(t, err)
	return v
}

func floats(t testing.TB, row []string) []float64 {
	t.Helper()
	out := make([]float64, len(row))
	for i := range row {
		out[i] = number(t, row[i])
	}
	return out
}
