package transport_test

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/validation"
)

// errors is the number of standard errors that the demands of the validation plan leave beside them: 2 in a full run. An
// ordinary one has so few scores far from the surface that their spread is not normal: 4.
func errors() float64 {
	if validation.Full() {
		return 2
	}
	return 4
}

// circles are the radii of the embedded backscatter kernel in mm.
var circles = []float64{5, 10, 15, 25, 50, 75, 100, 150}

// TestValidateBackscatterKernel calculates the kernel of package beam anew. The references' standard error is 0.0006 at
// most (the table's header) and grows with S; 0.0004 is taken where S is over 0.1, and their rounding comes on top.
func TestValidateBackscatterKernel(t *testing.T) {
	v := validation.New("Backscatter kernel: S in air kerma of circles on 20 cm of water, parallel beam", 3)
	world := slab(t, unlimited, layer{beam.Water, 200})
	for _, row := range readTable(t, "../beam/data/backscatter.csv") {
		values := floats(t, row)
		if !validation.Full() && !slices.Contains([]float64{20, 60, 100}, values[0]) {
			continue
		}
		source := pencil(0, mono(values[0]))
		r := run(t, transport.Plan{
			World: world, Source: source, Detectors: []transport.Detector{surface(source, circles, nil, beam.Air)},
			Histories: validation.Count(100_000, 2_000_000), Seed: 1,
		})
		for i, radius := range circles {
			s := scatterOverPrimary(r, 0, i, false)
			u := math.Hypot(s.Error, math.Min(0.0004, 0.0001+0.002*values[i+1]))
			v.Add(validation.Row{
				What: fmt.Sprintf("%g keV, diameter %g cm: B", values[0], radius/5), Ours: 1 + s.Mean, Reference: 1 + values[i+1], Error: u,
			})
		}
	}
	v.Done(t)
}

func TestValidateBackscatterPointSource(t *testing.T) {
	v := validation.New("Backscatter of a point source at 60 cm, 120 x 120 x 20 cm of water: step 3, demand 0.5 %", errors())
	world := slab(t, 600, layer{beam.Water, 200})
	for _, row := range readTable(t, "testdata/backscatter_point_source.csv") {
		f := floats(t, row)
		kev, side, radius := f[0], 10*f[1], 10*f[2]
		if !validation.Full() && (side != 100 || kev != 40 && kev != 80) {
			continue
		}
		source := fromAbove(600, side, mono(kev))
		r := run(t, transport.Plan{
			World: world, Source: source, Detectors: []transport.Detector{disc(0, radius, beam.Air, beam.Water)},
			Histories: validation.Count(200_000, 5_000_000), Seed: 2,
		})
		for m, medium := range []beam.Material{beam.Air, beam.Water} {
			kerma, err := transport.Kerma(source.Spectrum, medium)
			require.NoError(t, err)
			s := onDisc(r, source, 0, m, radius, 600, kerma)
			v.Add(validation.Row{
				What: fmt.Sprintf("%g keV, %g cm, %s kerma: B", kev, side/10, medium), Ours: 1 + s.Mean, Reference: f[3+2*m],
				Demand: 0.005, Error: math.Hypot(s.Error, f[4+2*m]),
			})
		}
	}
	v.Done(t)
}

// onAxis is the primary kerma in water on the axis at a depth in cm, per air kerma free in air at the surface, by the
// exponential law.
func onAxis(t testing.TB, spectrum []beam.Photons, depth float64) float64 {
	t.Helper()
	water, err := transport.NewMedium(beam.Water, 1)
	require.NoError(t, err)
	air, err := transport.Kerma(spectrum, beam.Air)
	require.NoError(t, err)
	sum, photons := 0.0, 0.0
	for _, p := range spectrum {
		photons += p.PerArea
		sum += p.PerArea * float64(p.Energy) * water.Absorption(p.Energy) * math.Exp(-water.Attenuation(p.Energy)*depth)
	}
	inverse := 60 / (60 + depth)
	return sum / photons / air * inverse * inverse
}

func TestValidateDepthDose(t *testing.T) {
	v := validation.New("Depth dose in a water slab 30 x 30 x 20 cm, point source at 60 cm: step 4, demand 1 % to 10 cm, 2 % beyond", errors())
	world := slab(t, 150, layer{beam.Water, 200})
	depths := []float64{0, 10, 20, 50, 100, 150, 200}
	rows := readTable(t, "testdata/depth_dose.csv")
	for first := 0; first < len(rows); first += len(depths) {
		f := floats(t, rows[first])
		kv, al, cu, side := f[0], f[1], f[2], f[3]
		if !validation.Full() && (side != 10 || kv != 80) {
			continue
		}
		radius := 10.0
		if side == 5 {
			radius = 5
		}
		source := fromAbove(600, 10*side, tungsten(t, kv, al, cu))
		plan := transport.Plan{World: world, Source: source, Histories: validation.Count(200_000, 10_000_000), Seed: 300 + uint64(first)}
		for _, depth := range depths {
			plan.Detectors = append(plan.Detectors, disc(depth, radius, beam.Water))
		}
		r := run(t, plan)
		air, err := transport.Kerma(source.Spectrum, beam.Air)
		require.NoError(t, err)
		for i, depth := range depths {
			f := floats(t, rows[first+i])
			require.InDelta(t, depth/10, f[4], 1e-9)
			scattered := onDisc(r, source, i, 0, radius, 600, air)
			demand := 0.01
			if depth > 100 {
				demand = 0.02
			}
			what := fmt.Sprintf("%g kV %g Cu, %g cm, depth %g cm", kv, cu, side, depth/10)
			primary := onAxis(t, source.Spectrum, depth/10)
			u := math.Hypot(scattered.Error, f[8])
			v.Add(validation.Row{What: what, Ours: primary + scattered.Mean, Reference: f[7], Demand: demand, Error: u})
		}
	}
	v.Done(t)
}

func TestValidateOblique(t *testing.T) {
	v := validation.New("Oblique incidence: B in air kerma on 20 cm of water, square fields", 3)
	world := slab(t, unlimited, layer{beam.Water, 200})
	sides := []float64{5, 10, 15, 20, 30}
	halves := []float64{25, 50, 75, 100, 150}
	angles := []float64{0, 15, 30, 45, 60, 75}
	type quality struct{ kev, kv, al, cu float64 }
	want := map[quality][5][6]float64{}
	var order []quality
	for _, row := range readTable(t, "testdata/oblique.csv") {
		f := floats(t, row)
		q := quality{f[0], f[1], f[2], f[3]}
		list, ok := want[q]
		if !ok {
			order = append(order, q)
		}
		copy(list[slices.Index(sides, f[4])][:], f[5:])
		want[q] = list
	}
	seed := uint64(400)
	for _, q := range order {
		if !validation.Full() && q != (quality{0, 80, 3, 0.3}) {
			continue
		}
		spectrum, name := mono(q.kev), fmt.Sprintf("%g keV", q.kev)
		if q.kev == 0 {
			spectrum, name = tungsten(t, q.kv, q.al, q.cu), fmt.Sprintf("%g kV %g Cu", q.kv, q.cu)
		}
		for a, angle := range angles {
			seed++ // else all would err alike
			source := pencil(angle, spectrum)
			r := run(t, transport.Plan{
				World: world, Source: source, Detectors: []transport.Detector{surface(source, nil, halves, beam.Air)},
				Histories: validation.Count(50_000, 200_000), Seed: seed,
			})
			for i, side := range sides {
				s := scatterOverPrimary(r, 0, i, true)
				b := want[q][i][a]
				// The references have 6e6 histories and three decimals.
				u := math.Sqrt(s.Error*s.Error*(1+float64(r.Histories())/6e6) + 0.0003*0.0003)
				demand := 0.0
				if q.kev == 0 {
					demand = 0.01 // the tungsten spectra of two models: their B differ by up to 1 % (THEORY.md part 3)
				}
				v.Add(validation.Row{What: fmt.Sprintf("%s, %g cm, %g degrees: B", name, side, angle), Ours: 1 + s.Mean, Reference: b, Demand: demand, Error: u})
			}
		}
	}
	v.Done(t)
}

// TestValidateICRUSlab compares surface doses of the finite slab of ICRU tissue, normal incidence, with ICRP 74. The focus is
// so far that the beam is parallel.
func TestValidateICRUSlab(t *testing.T) {
	v := validation.New("ICRU slab 30 x 30 x 15 cm: Hp(0.07) per air kerma against ICRP 74 (from memory), demand 2 %", errors())
	world := slab(t, 150, layer{beam.FourComponent, 150})
	const far, radius = 100_000, 20
	for _, row := range readTable(t, "../beam/testdata/icru_slab.csv") {
		f := floats(t, row[1:])
		if !validation.Full() && f[0] != 50 {
			continue
		}
		source := fromAbove(far, 300, mono(f[0]))
		r := run(t, transport.Plan{
			World: world, Source: source, Detectors: []transport.Detector{disc(0, radius, beam.FourComponent)},
			Histories: validation.Count(200_000, 5_000_000), Seed: 5,
		})
		air, err := transport.Kerma(source.Spectrum, beam.Air)
		require.NoError(t, err)
		tissue, err := transport.Kerma(source.Spectrum, beam.FourComponent)
		require.NoError(t, err)
		s := onDisc(r, source, 0, 0, radius, far, air)
		v.Add(validation.Row{What: fmt.Sprintf("%g keV", f[0]), Ours: tissue/air + s.Mean, Reference: f[1], Demand: 0.02, Error: s.Error})
	}
	v.Done(t)
}

// TestValidateOtherPhantoms compares materials and thicknesses.
func TestValidateOtherPhantoms(t *testing.T) {
	v := validation.New("Other phantoms: B in air kerma, square fields, demand 1 % for the spectra of two models", 3)
	halves := []float64{25, 50, 75, 100, 125}
	for _, row := range readTable(t, "testdata/phantoms.csv") {
		kv, al, cu, thickness := number(t, row[0]), number(t, row[1]), number(t, row[2]), number(t, row[4])
		if !validation.Full() && !(kv == 80 && cu == 0.3 && (row[3] == "layered" || row[3] == "pmma")) {
			continue
		}
		layers := []layer{{beam.Material(row[3]), thickness}}
		if row[3] == "layered" {
			layers = []layer{{beam.Skin, 5}, {transport.CorticalBone, 6}, {beam.Water, 150}}
		}
		source := pencil(0, tungsten(t, kv, al, cu))
		r := run(t, transport.Plan{
			World: slab(t, unlimited, layers...), Source: source, Detectors: []transport.Detector{surface(source, nil, halves, beam.Air)},
			Histories: validation.Count(50_000, 200_000), Seed: 6,
		})
		for i, b := range floats(t, row[5:]) {
			s := scatterOverPrimary(r, 0, i, true)
			v.Add(validation.Row{
				What: fmt.Sprintf("%g kV %g Cu, %s %g mm, %g cm", kv, cu, row[3], thickness, halves[i]/5), Ours: 1 + s.Mean, Reference: b,
				Demand: 0.01, Error: math.Hypot(s.Error, 0.0005),
			})
		}
	}
	v.Done(t)
}

// TestValidateBone puts cortical bone in the place of water: B falls to 0.80 to 0.90 of water's at 100 kV, 10 cm square. The
// HVL is 2.9 mm Al, the softest that the spectra reach; the sources' was 2.65. Source: Ma C M, Seuntjens J P 1999, Phys Med
// Biol 44:131 (abstract read: up to 20 % lower), and the project's earlier Monte Carlo, 16 % lower.
func TestValidateBone(t *testing.T) {
	v := validation.New("Bone for water: ratio of B, 100 kV, HVL 2.9 mm Al, 10 cm square; demand 0.80 to 0.90", 0)
	b := map[beam.Material]float64{}
	for _, m := range []beam.Material{beam.Water, transport.CorticalBone} {
		source := pencil(0, tungsten(t, 100, 1.9, 0))
		r := run(t, transport.Plan{
			World: slab(t, unlimited, layer{m, 200}), Source: source, Detectors: []transport.Detector{surface(source, nil, []float64{50}, beam.Air)},
			Histories: validation.Count(50_000, 2_000_000), Seed: 7,
		})
		b[m] = 1 + scatterOverPrimary(r, 0, 0, true).Mean
	}
	v.Add(validation.Row{What: "cortical bone over water", Ours: b[transport.CorticalBone] / b[beam.Water], Reference: 0.85, Demand: 0.05 / 0.85})
	v.Done(t)
}
