package skindose

import (
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// finePatch is the largest piece of skin in cm2 that the surroundings of the peak are looked at with.
const finePatch = 0.25

// coarsePatch is what a map may have at most for that: a coarser one is not meant to be exact.
const coarsePatch = 4.0

// finePeak gives the highest dose on pieces of at most a quarter of a square centimetre of the peak's patch and of those
// around it, so that a peak between the middles of patches shows. It costs nothing elsewhere. A map of coarse patches has none.
func (b *bench) finePeak(shots []exposure.Shot, m *Map) (quantity.Opt[quantity.Gray], error) {
	none := quantity.None[quantity.Gray]()
	if m.Peak < 0 || m.Body.Patches[m.Peak].Area > coarsePatch {
		return none, nil
	}
	keep := make([]bool, len(m.Dose))
	peak := m.Body.Patches[m.Peak]
	const rows = 2 // of patches around the peak's
	reach := 10 * rows * 10 * rows * peak.Area
	for i := range keep {
		keep[i] = r3.Norm2(r3.Sub(m.Body.Patches[i].Centre, peak.Centre)) <= reach
	}
	pieces := m.Body.Excerpt(keep).Split(finePatch)
	dose := make([]quantity.Gray, len(pieces.Patches))
	if _, err := b.onto(dose, shots, pieces); err != nil {
		return none, err
	}
	best := m.PeakDose()
	for _, d := range dose {
		best = max(best, d)
	}
	return quantity.Some(best), nil
}
