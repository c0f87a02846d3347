package transport_test

import (
	"fmt"
	"math"
	"sort"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/validation"
)

// logLog interpolates column k of rows by rising first column.
func logLog(rows [][]float64, x float64, k int) float64 {
	i := min(max(sort.Search(len(rows), func(i int) bool { return rows[i][0] >= x }), 1), len(rows)-1)
	a, b := rows[i-1], rows[i]
	if a[0] <= 0 || a[k] <= 0 {
		return a[k] + (b[k]-a[k])*(x*x-a[0]*a[0])/(b[0]*b[0]-a[0]*a[0]) // S and F2 begin with x2
	}
	return math.Exp(math.Log(a[k]) + math.Log(b[k]/a[k])*math.Log(x/a[0])/math.Log(b[0]/a[0]))
}

// tableOf gives the numbers of a material in one of the package's tables.
func tableOf(t testing.TB, file string, m beam.Material) [][]float64 {
	t.Helper()
	var rows [][]float64
	for _, row := range readTable(t, file) {
		if row[0] == string(m) {
			rows = append(rows, floats(t, row[1:]))
		}
	}
	require.NotEmpty(t, rows)
	return rows
}

func TestValidateCoefficients(t *testing.T) {
	v := validation.New("Linear coefficients between whole keV against the table, log-log: step 1, demand 0.1 %", 0)
	for m, density := range map[beam.Material]float64{transport.PhantomSoft: 1.04, transport.PhantomBone: 1.4, transport.PhantomLung: 0.296} {
		medium, err := transport.NewMedium(m, density)
		require.NoError(t, err)
		rows := tableOf(t, "data/coefficients.csv", m)
		for _, e := range []float64{5, 5.55, 7.35, 10.05, 20.5, 33.3, 59.95, 88.85, 149.95} {
			total := density * (logLog(rows, e, 1) + logLog(rows, e, 2) + logLog(rows, e, 3))
			v.Add(
				validation.Row{What: fmt.Sprintf("%s %g keV, attenuation, 1/cm", m, e), Ours: medium.Attenuation(beam.KiloElectronvolt(e)), Reference: total, Demand: 0.001},
				validation.Row{What: fmt.Sprintf("%s %g keV, absorption, 1/cm", m, e), Ours: medium.Absorption(beam.KiloElectronvolt(e)), Reference: density * logLog(rows, e, 4), Demand: 0.001},
			)
		}
	}
	v.Done(t)
}

// TestValidateAttenuation follows a pencil beam to the first interaction: exp(-sum mu x), also through layers, where delta
// tracking has to sort out which tentative interaction is one.
func TestValidateAttenuation(t *testing.T) {
	v := validation.New("Unscattered photons of a pencil beam against the exponential law: step 1, demand 0.1 %", 3)
	stacks := map[string][]layer{
		"50 mm water":                              {{beam.Water, 50}},
		"5 mm skin, 6 mm bone, 40 mm water":        {{beam.Skin, 5}, {transport.CorticalBone, 6}, {beam.Water, 40}},
		"2.5 mm laminate, 50 mm foam, 20 mm water": {{beam.CarbonFibre, 2.5}, {beam.Foam, 50}, {beam.Water, 20}},
	}
	for _, name := range sortedKeys(stacks) {
		layers := stacks[name]
		for _, kev := range []float64{30, 60, 100} {
			depth, exponent := 0.0, 0.0
			for _, l := range layers {
				m, err := transport.NewMedium(l.material, densities[l.material])
				require.NoError(t, err)
				depth += l.thickness
				exponent += m.Attenuation(beam.KiloElectronvolt(kev)) * l.thickness / 10
			}
			r := run(t, transport.Plan{
				World: slab(t, 200, layers...), Source: pencil(0, mono(kev)),
				Detectors: []transport.Detector{disc(0, 1, beam.Air), disc(depth, 1, beam.Air)}, Histories: validation.Count(50_000, 2_000_000), Seed: 10,
			})
			through := r.Estimate(func(t transport.Tally) float64 {
				return t.Circle(transport.Crossing{Detector: 1}, 0) / t.Circle(transport.Crossing{}, 0)
			})
			v.Add(validation.Row{What: fmt.Sprintf("%s, %g keV", name, kev), Ours: through.Mean, Reference: math.Exp(-exponent), Demand: 0.001, Error: through.Error})
		}
	}
	v.Done(t)
}

func sortedKeys[V any](m map[string]V) []string {
	var keys []string
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

const (
	electronRest = 510.99895 // keV, CODATA 2018
	hc           = 12.39842  // keV Angstrom
)

// density of cos in the two kinds of scatter, from the embedded tables, not normalised.
func incoherentDensity(rows [][]float64, energy, cos float64) float64 {
	ratio := 1 / (1 + energy/electronRest*(1-cos))
	x := energy / hc * math.Sqrt((1-cos)/2)
	return ratio * ratio * (ratio + 1/ratio - 1 + cos*cos) * logLog(rows, x, 2)
}

func coherentDensity(rows [][]float64, energy, cos float64) float64 {
	return (1 + cos*cos) * logLog(rows, energy/hc*math.Sqrt((1-cos)/2), 1)
}

// TestScatteringAngles compares drawn angles with the numerical integral of the same tables: chi-square, p > 0.001, step 2.
// Bins are even in the fourth root of 1 - cos, because coherent scattering peaks forward.
func TestScatteringAngles(t *testing.T) {
	const bins, n = 40, 50_000
	edge := func(i int) float64 { return 1 - 2*math.Pow(float64(i)/bins, 4) }
	for _, m := range []beam.Material{beam.Water, transport.PhantomBone} {
		medium, err := transport.NewMedium(m, 1)
		require.NoError(t, err)
		rows := tableOf(t, "data/scattering.csv", m)
		for _, energy := range []float64{12, 30, 60, 140} {
			for kind, density := range map[string]func([][]float64, float64, float64) float64{"incoherent": incoherentDensity, "coherent": coherentDensity} {
				t.Run(fmt.Sprintf("%s %s %g keV", m, kind, energy), func(t *testing.T) {
					want, sum := make([]float64, bins), 0.0
					for i := range want {
						want[i] = integral(func(cos float64) float64 { return density(rows, energy, cos) }, edge(i+1), edge(i), 40)
						sum += want[i]
					}
					got, random := make([]float64, bins), transport.NewRandom(11, uint64(energy))
					for range n {
						var cos float64
						if kind == "coherent" {
							cos = medium.Coherently(random, energy)
						} else {
							_, cos = medium.Incoherently(random, energy)
						}
						require.True(t, cos >= -1 && cos <= 1, "cosine %v", cos)
						got[min(int(bins*math.Sqrt(math.Sqrt((1-cos)/2))), bins-1)]++
					}
					chi2, degrees := chiSquare(got, want, n/sum)
					p := 1 - distuv.ChiSquared{K: float64(degrees)}.CDF(chi2)
					assert.Greater(t, p, 0.001, "chi-square %.1f with %d degrees", chi2, degrees)
				})
			}
		}
	}
}

// chiSquare joins bins until at least 10 are expected.
func chiSquare(got, want []float64, scale float64) (chi2 float64, degrees int) {
	g, w := 0.0, 0.0
	degrees = -1
	for i := range want {
		g, w = g+got[i], w+want[i]*scale
		if w >= 10 {
			chi2 += (g - w) * (g - w) / w
			degrees++
			g, w = 0, 0
		}
	}
	return chi2, degrees
}

// integral is Simpson's rule with n parts, an even number.
func integral(f func(float64) float64, low, high float64, n int) float64 {
	h, sum := (high-low)/float64(n), f(low)+f(high)
	for i := 1; i < n; i++ {
		sum += f(low+float64(i)*h) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

// TestValidateEnergyTransfer compares the mean energy that incoherent scattering leaves with the integral of the same tables,
// and with the absorption coefficients, which contain it: mu_en less photoelectric over incoherent.
func TestValidateEnergyTransfer(t *testing.T) {
	v := validation.New("Mean share of energy left by incoherent scattering in water: step 2, demand 0.2 %", 3)
	medium, err := transport.NewMedium(beam.Water, 1)
	require.NoError(t, err)
	shapes, table := tableOf(t, "data/scattering.csv", beam.Water), tableOf(t, "data/coefficients.csv", beam.Water)
	n := validation.Count(100_000, 2_000_000)
	const fine = 4000 // the scattering function rises within 1 - cos of 0.01
	for _, energy := range []float64{20, 40, 60, 100, 150} {
		random := transport.NewRandom(12, uint64(energy))
		sum, squares := 0.0, 0.0
		for range n {
			after, cos := medium.Incoherently(random, energy)
			assert.InEpsilon(t, energy/(1+energy/electronRest*(1-cos)), after, 1e-9) // Compton's equation, rounding
			share := 1 - after/energy
			sum += share
			squares += share * share
		}
		mean := sum / float64(n)
		u := math.Sqrt((squares/float64(n) - mean*mean) / float64(n))
		shape := func(cos float64) float64 { return incoherentDensity(shapes, energy, cos) }
		want := integral(func(cos float64) float64 {
			k := energy / electronRest * (1 - cos)
			return shape(cos) * k / (1 + k)
		}, -1, 1, fine) / integral(shape, -1, 1, fine)
		row := table[int(energy)-5]
		v.Add(validation.Row{What: fmt.Sprintf("%g keV, integral", energy), Ours: mean, Reference: want, Demand: 0.002, Error: u})
		if energy >= 60 { // below, five digits of two nearly equal coefficients do not tell
			v.Add(validation.Row{What: fmt.Sprintf("%g keV, coefficients", energy), Ours: mean, Reference: (row[4] - row[1]) / row[2], Demand: 0.005, Error: u})
		}
	}
	v.Done(t)
}

func TestUnknownMaterials(t *testing.T) {
	for _, m := range []beam.Material{"cheese", beam.Air, transport.RedMarrow} { // the last two have no scattering here
		_, err := transport.NewMedium(m, 1)
		assert.ErrorIs(t, err, transport.ErrMaterial)
	}
	for _, density := range []float64{0, -1, math.NaN(), math.Inf(1)} {
		_, err := transport.NewMedium(beam.Water, density)
		assert.ErrorIs(t, err, transport.ErrMaterial)
	}
	_, err := transport.Kerma(mono(60), "cheese")
	assert.ErrorIs(t, err, transport.ErrMaterial)
	_, err = transport.NewWorld(nil, r3.Vec{})
	assert.ErrorIs(t, err, transport.ErrWorld)
}
