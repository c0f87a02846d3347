package transport_test

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/validation"
)

// cell is the locator's cell for the stylised body.
var cell = r3.Vec{X: 20, Y: 20, Z: 20}

func phantom(t testing.TB, arms transport.Arms, more ...transport.Region) *transport.World {
	t.Helper()
	regions, err := transport.Phantom(arms)
	require.NoError(t, err)
	w, err := transport.NewWorld(append(regions, more...), cell)
	require.NoError(t, err)
	return w
}

func anywhere(random *rand.Rand, low, high r3.Vec) r3.Vec {
	return r3.Vec{
		X: low.X + random.Float64()*(high.X-low.X), Y: low.Y + random.Float64()*(high.Y-low.Y), Z: low.Z + random.Float64()*(high.Z-low.Z),
	}
}

func TestLocatorAgreesWithSearch(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 1))
	for _, arms := range []transport.Arms{transport.ArmsAlongside, transport.ArmsAway, transport.ArmsRaised} {
		w := phantom(t, arms)
		for range validation.Count(20_000, 2_000_000) {
			p := anywhere(random, r3.Vec{X: -210, Y: -140, Z: -810}, r3.Vec{X: 210, Y: 110, Z: 1000})
			require.Equal(t, w.Search(p), w.Locate(p), "%s at %v mm", arms, p)
		}
	}
}

// TestValidateVolumes counts random points in each region's box. The volumes of the table are known to about 0.1 %.
func TestValidateVolumes(t *testing.T) {
	volumes := validation.New("Volumes of regions by random points, cm3: step 5, demand 0.5 %", 3)
	masses := validation.New("Masses (g) and bone volumes (cm3) of organs against ORNL/TM-8381 (from memory), demand 1 %", 3)
	random := rand.New(rand.NewPCG(2, 2))
	organ := map[string]float64{}
	density := map[string]float64{}
	w := phantom(t, transport.ArmsAlongside)
	n := validation.Count(20_000, 2_000_000)
	for i, r := range w.Regions() {
		hits := 0
		for range n {
			if w.Locate(anywhere(random, r.Low, r.High)) == i {
				hits++
			}
		}
		side := r3.Sub(r.High, r.Low)
		box := side.X * side.Y * side.Z / 1000
		p := float64(hits) / float64(n)
		u := box * math.Sqrt(p*(1-p)/float64(n))
		volumes.Add(validation.Row{What: r.Name, Ours: box * p, Reference: r.Volume, Demand: 0.005, Error: math.Hypot(u, 0.001*r.Volume)})
		organ[r.Organ] += r.Volume
		density[r.Organ] = r.Medium.Density
	}
	volumes.Done(t)
	for _, row := range readTable(t, "testdata/masses.csv") {
		ours := organ[row[0]]
		if row[2] == "g" {
			ours *= density[row[0]]
		}
		masses.Add(validation.Row{What: row[0], Ours: ours, Reference: number(t, row[1]), Demand: 0.01})
	}
	masses.Done(t)
}

func TestArms(t *testing.T) {
	for arms, want := range map[transport.Arms]map[r3.Vec]string{
		transport.ArmsAlongside: {{X: 184, Z: 300}: "bone_arms", {X: -184, Z: 300}: "bone_arms", {X: 199, Z: 300}: "skin"},
		transport.ArmsRaised:    {{X: 184, Z: 300}: "rest_trunk", {X: -184, Z: 300}: "rest_trunk", {X: 199, Z: 300}: "skin"},
		transport.ArmsAway:      {{X: 184, Z: 300}: "", {X: 174, Z: 300}: "skin", {X: 193, Z: 600}: "skin"},
	} {
		w := phantom(t, arms)
		for at, organ := range want {
			got := ""
			if i := w.Locate(at); i >= 0 {
				got = w.Regions()[i].Organ
			}
			assert.Equal(t, organ, got, "%s at %v mm", arms, at)
		}
	}
	_, err := transport.Phantom("akimbo")
	assert.ErrorIs(t, err, transport.ErrArms)
}

// organBeam is a row of organ_beams.csv.
func organBeam(t testing.TB, row []string, spectrum []beam.Photons) (transport.Arms, transport.Source) {
	t.Helper()
	f := floats(t, row[2:])
	focus, centre := r3.Scale(10, r3.Vec{X: f[0], Y: f[1], Z: f[2]}), r3.Scale(10, r3.Vec{X: f[3], Y: f[4], Z: f[5]})
	axis := r3.Sub(centre, focus)
	distance := r3.Norm(axis)
	toward := r3.Scale(1/distance, axis)
	along := r3.Unit(r3.Sub(r3.Vec{Z: 1}, r3.Scale(toward.Z, toward)))
	return transport.Arms(row[1]), transport.Source{
		Focus: focus, Toward: toward, Along: along, Across: r3.Cross(along, toward),
		HalfWidth: f[6] * 10 / 2 / distance, HalfHeight: f[7] * 10 / 2 / distance, Spectrum: spectrum,
	}
}

// marrow lists the bones with red marrow.
func marrow(w *transport.World) map[string]beam.Material {
	second := map[string]beam.Material{}
	for _, r := range w.Regions() {
		if strings.HasPrefix(r.Organ, "bone_") {
			second[r.Organ] = transport.RedMarrow
		}
	}
	return second
}

// TestValidateOrgans compares organ doses whose reference is known to 3 % or better.
func TestValidateOrgans(t *testing.T) {
	v := validation.New("Organ doses, mGy per Gy cm2: step 6, demand 2 %", 2)
	spectrum := tungsten(t, 80, 3, 0.3)
	references := readTable(t, "testdata/organs.csv")
	for b, row := range readTable(t, "testdata/organ_beams.csv") {
		if !validation.Full() && b > 0 {
			break
		}
		arms, source := organBeam(t, row, spectrum)
		w := phantom(t, arms)
		r := run(t, transport.Plan{World: w, Source: source, Second: marrow(w), Histories: validation.Count(100_000, 5_000_000), Seed: 8})
		for _, reference := range references {
			u, limit, want := number(t, reference[3]), 3.0, number(t, reference[2])
			if !validation.Full() {
				limit = 0.2
			}
			if reference[0] != row[0] || want == 0 || u >= limit {
				continue
			}
			dose := organDose(r, w, reference[1])
			v.Add(validation.Row{
				What: row[0] + " " + reference[1], Ours: dose.Mean, Reference: want, Demand: 0.02, Error: math.Hypot(dose.Error, want*u/100),
			})
		}
	}
	v.Done(t)
}

// organDose is an organ's kerma per kerma-area product, eq. (9.10), in mGy per Gy cm2.
func organDose(r *transport.Result, w *transport.World, organ string) transport.Value {
	name, second := strings.CutSuffix(organ, "_rbm")
	return r.Estimate(func(t transport.Tally) float64 {
		energy, mass := 0.0, 0.0
		for i, region := range w.Regions() {
			if region.Organ != name {
				continue
			}
			mass += region.Volume * region.Medium.Density
			if second {
				energy += t.Second(i)
			} else {
				energy += t.Energy(i)
			}
		}
		return 1000 * energy / mass / t.KAP()
	})
}

// BenchmarkPhantom states histories per second on one core in the stylised body: chest, 20 by 20 cm, 80 kV.
func BenchmarkPhantom(b *testing.B) {
	for _, row := range readTable(b, "testdata/organ_beams.csv") {
		b.Run(row[0], func(b *testing.B) {
			arms, source := organBeam(b, row, tungsten(b, 80, 3, 0.3))
			w := phantom(b, arms)
			const histories = 50_000
			plan := transport.Plan{World: w, Source: source, Second: marrow(w), Histories: histories, Seed: 1}
			before := processor(b)
			for b.Loop() {
				_, err := transport.Run(context.Background(), plan, 1)
				require.NoError(b, err)
			}
			b.ReportMetric(histories*float64(b.N)/(processor(b)-before), "histories/s/core")
		})
	}
}
