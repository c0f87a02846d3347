package skindose

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// What stands for several beams in samples; judgement, the effects are below the range's own noise.
const (
	// Of an arc so many beams are left at most: neighbours join.
	mostOfArc = 36
	// Of more beams than this those of nearly one view join: within 2 degrees and 5 kV, with fields whose sides differ by
	// less than an eighth and whose foci and tables lie closer than 20 mm. The place of a field moves far more from sample to sample.
	manyBeams   = 40
	sameCosine  = 0.99939
	sameSide    = 1.0 / 8
	sameFocus   = 20.0
	sameVoltage = 5.0
)

// joinedArcs joins neighbouring beams of long arcs: the middle one stands for all, with their kerma.
func joinedArcs(ordered []exposure.Shot) []exposure.Shot {
	byEvent := slices.Clone(ordered)
	slices.SortStableFunc(byEvent, func(a, b exposure.Shot) int {
		return cmp.Or(cmp.Compare(a.Event, b.Event), cmp.Compare(a.OnArc, b.OnArc))
	})
	var out []exposure.Shot
	for first := 0; first < len(byEvent); {
		end := first
		for end < len(byEvent) && byEvent[end].Event == byEvent[first].Event {
			end++
		}
		by := 1
		if byEvent[first].OnArc != byEvent[end-1].OnArc {
			by = (end - first + mostOfArc - 1) / mostOfArc
		}
		for at := first; at < end; at += by {
			some := byEvent[at:min(at+by, end)]
			one := some[len(some)/2]
			one.Kerma = 0
			for i := range some {
				one.Kerma += some[i].Kerma
			}
			out = append(out, one)
		}
		first = end
	}
	slices.SortStableFunc(out, compareShots)
	return out
}

// joinedViews joins the beams of nearly one view: the one with the most kerma stands for all, with their kerma at its
// reference point. Samples are compared with the same beams unmoved, so that what the joining changes cancels.
func joinedViews(ordered []exposure.Shot) []exposure.Shot {
	if len(ordered) <= manyBeams {
		return ordered
	}
	byKerma := slices.Clone(ordered)
	slices.SortStableFunc(byKerma, func(a, b exposure.Shot) int { return cmp.Compare(b.Kerma, a.Kerma) })
	var out []exposure.Shot
	for i := range byKerma {
		one := &byKerma[i]
		k := slices.IndexFunc(out, func(kept exposure.Shot) bool { return oneView(&kept, one) })
		if k < 0 {
			out = append(out, *one)
			continue
		}
		out[k].Kerma += one.Kerma * quantity.Gray(one.RefDistance*one.RefDistance/(out[k].RefDistance*out[k].RefDistance))
	}
	slices.SortStableFunc(out, compareShots)
	return out
}

// oneView tells whether two beams are nearly one. Beams of an arc and those that may have been others are none.
func oneView(a, b *exposure.Shot) bool {
	near := func(x, y float64) bool { return math.Abs(x-y) <= sameSide*max(x, y) }
	return sameBeam(a.Quality, b.Quality) && a.OnArc == 0 && b.OnArc == 0 && a.Else == nil && b.Else == nil && a.Anchored == b.Anchored &&
		r3.Dot(a.Toward, b.Toward) >= sameCosine && r3.Norm(r3.Sub(a.Focus, b.Focus)) <= sameFocus &&
		near(a.HalfWidth, b.HalfWidth) && near(a.HalfHeight, b.HalfHeight) && sameTable(a.Table, b.Table)
}

func sameBeam(a, b beam.Quality) bool {
	return a.Copper == b.Copper && a.Aluminium == b.Aluminium && math.Abs(float64(a.Voltage-b.Voltage)) <= sameVoltage
}

// sameTable tells whether two beams meet nearly one table: of the same layers and turned alike, not far from each other.
func sameTable(a, b *exposure.Table) bool {
	if a == nil || b == nil {
		return a == b
	}
	return a.Down == b.Down && slices.Equal(a.Layers, b.Layers) && r3.Norm(r3.Sub(a.Centre, b.Centre)) <= sameFocus
}
