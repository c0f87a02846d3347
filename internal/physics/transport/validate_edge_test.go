package transport_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/quantity"
	"afterbeam/internal/validation"
)

// besideEdge are mm outside the middle of an edge of the field; the first ones lie inside.
var besideEdge = []float64{-10, 5, 10, 20, 30, 50, 100}

// strip is a detector on the surface beside the right edge of a field with half a side in mm: thin across, long along the
// edge, where the profile changes little.
func strip(half, out float64, media ...beam.Material) transport.Detector {
	const across, along = 2, 10
	return transport.Detector{
		At: r3.Vec{X: half + out}, Normal: r3.Vec{Z: -1}, U: r3.Vec{X: 1.0 / across}, V: r3.Vec{Y: 1.0 / along},
		Squares: []float64{1}, Media: media,
	}
}

// onStrip is the scattered kerma in a strip per primary kerma in the middle of the field.
func onStrip(r *transport.Result, s transport.Source, detector int, distance, kerma float64) transport.Value {
	free := kerma / (4 * s.HalfWidth * s.HalfHeight * distance * distance)
	return r.Estimate(func(t transport.Tally) float64 {
		return t.Square(transport.Crossing{Detector: detector, Scattered: true}, 0) / (4 * 2 * 10) / free
	})
}

// edgeOf adds to a table the profile of scatter across an edge: the kernel of package beam, which is that of a parallel beam,
// times the primary kerma that a point of the plane would get.
func edgeOf(t *testing.T, v *validation.Table, w *transport.World, medium beam.Material, q beam.Quality, side float64, seed uint64) {
	t.Helper()
	const distance = 600
	tube, err := beam.New(q)
	require.NoError(t, err)
	source := fromAbove(distance, side, tube.Spectrum())
	plan := transport.Plan{World: w, Source: source, Histories: validation.Count(400_000, 4_000_000), Seed: seed}
	for _, out := range besideEdge {
		plan.Detectors = append(plan.Detectors, strip(side/2, out, beam.Air))
	}
	r := run(t, plan)
	kerma, err := transport.Kerma(source.Spectrum, beam.Air)
	require.NoError(t, err)
	middle := tube.Scatter().Square(quantity.Millimetre(side))
	for i, out := range besideEdge {
		mc := onStrip(r, source, i, distance, kerma)
		at, half := quantity.Millimetre(out), quantity.Millimetre(side/2)
		x := side/2 + out
		ours := (tube.Scatter().At(-at, 2*half+at, half, half) - 1) * distance * distance / (distance*distance + x*x)
		v.Add(validation.Row{
			What: fmt.Sprintf("%s, %g kV %g Cu, %g cm, %g mm outside", medium, float64(q.Voltage), float64(q.Copper), side/10, out),
			Ours: ours / middle, Reference: mc.Mean / middle, Demand: 0.005 * middle / mc.Mean, Error: mc.Error / middle,
		})
	}
}

// TestValidateEdge compares the scatter across the edge of a field, in parts of the kerma in its middle, on slabs of water
// and of soft tissue under a point source at 60 cm. The demand is 0.5 % of the middle's kerma.
func TestValidateEdge(t *testing.T) {
	v := validation.New("Scatter beside the edge of a field over the kerma in its middle, point source at 60 cm: demand 0.5 % of the middle", 3)
	seed := uint64(700)
	for _, medium := range []beam.Material{beam.Water, transport.PhantomSoft} {
		for _, side := range []float64{50, 100, 200} {
			for _, q := range []beam.Quality{{Voltage: 60, Aluminium: 3}, {Voltage: 80, Aluminium: 3, Copper: 0.3}, {Voltage: 120, Aluminium: 3, Copper: 0.9}} {
				seed++
				if !validation.Full() && (side != 100 || q.Voltage != 80) {
					continue
				}
				edgeOf(t, v, slab(t, 600, layer{medium, 200}), medium, q, side, seed)
			}
		}
	}
	v.Done(t)
}

// TestValidateSkinBesideTheField compares the map's dose of skin beside the field with the transport through body and
// table: 2 and 4 cm headward of its edge, where no primary beam is. Like that of the middle, the demand holds for the body of
// soft tissue alone; with organs, and at an angle, where the flat kernel knows no up and down, differences are listed.
func TestValidateSkinBesideTheField(t *testing.T) {
	v := validation.New("Skin dose 2 and 4 cm beside the field, soft tissue alone, over that in the middle: the map against transport, demand 1 % of the middle", 2)
	adult, err := body.New(body.Size{AgeYears: quantity.Some(40.0), Height: quantity.Some[quantity.Millimetre](1786), Weight: quantity.Some[quantity.Kilogram](73)}, 0.25)
	require.NoError(t, err)
	for i, s := range setUps() {
		if !validation.Full() && i > 0 {
			break
		}
		entrance, middle := s.byMap(t, adult)
		for _, out := range []float64{20, 40} {
			patch, dose := s.beside(t, adult, entrance, out)
			mc := s.byTransport(t, adult, patch, true)
			mc.Mean -= s.unscattered(t, patch)
			v.Add(validation.Row{
				What: fmt.Sprintf("%s, %g mm beside", s.name, out), Ours: dose / middle, Reference: mc.Mean / middle,
				Demand: 0.01 * middle / mc.Mean, Error: mc.Error / middle,
			})
		}
	}
	v.Done(t)
}

// shot is the set-up's beam on the map.
func (s setUp) shot(t *testing.T) exposure.Shot {
	t.Helper()
	toward, across, along := s.axes()
	shot := exposure.Shot{
		Kerma: 1, RefDistance: toIsocentre - 150, Focus: r3.Sub(s.centre, r3.Scale(toIsocentre, toward)), Toward: toward, Across: across, Along: along,
		HalfWidth: s.field / 2 / toIsocentre, HalfHeight: s.field / 2 / toIsocentre, Quality: s.quality,
	}
	if s.table {
		shot.Table, _ = underBack(t)
	}
	return shot
}

// beside gives the patch so far headward of the field's edge, in the plane perpendicular to the beam, and its dose.
func (s setUp) beside(t *testing.T, b *body.Body, entrance body.Patch, out float64) (body.Patch, float64) {
	t.Helper()
	shot := s.shot(t)
	m, err := skindose.Irradiate([]exposure.Shot{shot}, b, beam.SoftTissue)
	require.NoError(t, err)
	best, least := -1, math.Inf(1)
	for i, p := range b.Patches {
		ray := r3.Sub(p.Centre, shot.Focus)
		depth := r3.Dot(ray, shot.Toward)
		if p.Part != entrance.Part || depth <= 0 || r3.Dot(ray, p.Normal) >= 0 {
			continue
		}
		off := math.Hypot(r3.Dot(ray, shot.Along)-shot.HalfHeight*depth-out, r3.Dot(ray, shot.Across))
		if off < least {
			best, least = i, off
		}
	}
	require.Less(t, least, 5.0, "the skin goes on there")
	return b.Patches[best], float64(m.Dose[best])
}

// unscattered is the dose that byTransport adds for the primary beam.
func (s setUp) unscattered(t *testing.T, patch body.Patch) float64 {
	t.Helper()
	shot := s.shot(t)
	tube, err := beam.New(s.quality)
	require.NoError(t, err)
	ray := r3.Sub(patch.Centre, shot.Focus)
	through, behind := 1.0, tube
	if s.table {
		slant := r3.Norm(ray) / math.Abs(r3.Dot(ray, shot.Table.Down))
		thick := make([]beam.Layer, len(carbonAndFoam))
		for i, l := range carbonAndFoam {
			thick[i] = beam.Layer{Material: l.Material, Mass: l.Mass * quantity.GramPerSquareCentimetre(slant)}
		}
		through, behind = tube.Transmission(carbonAndFoam, slant), tube.Behind(thick)
	}
	ref := toIsocentre - 150
	return ref * ref / r3.Norm2(ray) * through * behind.TissueFactor(beam.SoftTissue)
}
