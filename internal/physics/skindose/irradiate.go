package skindose

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// ErrShot marks a shot that cannot be: a number that is none, a negative kerma, a distance or field that is not positive.
var ErrShot = errors.New("impossible shot")

// Irradiate gives the skin dose of shots on a body, eq. (6.1) summed over shots. Shots are summed in an order of their
// own, so that the order in which they are handed in changes no bit. It returns ErrShot, or beam's ErrQuality and
// ErrMaterial.
func Irradiate(shots []exposure.Shot, b *body.Body, tissue beam.Material) (*Map, error) {
	bench, err := newBench(tissue)
	if err != nil {
		return nil, err
	}
	return bench.irradiate(shots, b)
}

// irradiate is Irradiate with the optics of the bench.
func (b *bench) irradiate(shots []exposure.Shot, skin *body.Body) (*Map, error) {
	ordered := slices.Clone(shots)
	slices.SortStableFunc(ordered, compareShots)
	m := &Map{Body: skin, Dose: make([]quantity.Gray, len(skin.Patches))}
	entries, err := b.onto(m.Dose, ordered, skin)
	if err != nil {
		return nil, err
	}
	m.Fields = fieldsOf(entries)
	m.Peak = PeakOf(m.Dose)
	if m.Peak < 0 {
		return m, nil
	}
	parts := make([]Contribution, 0, len(ordered))
	for i := range ordered {
		s := &ordered[i]
		o, err := b.of(s)
		if err != nil {
			return nil, err
		}
		run := exposed{body: skin, skull: b.skull}
		run.aim(s, o)
		if dose, _, where := run.at(m.Peak); where != missed {
			parts = append(parts, Contribution{Event: s.Event, Dose: dose})
		}
	}
	m.Contributions = byEvent(parts)
	return m, nil
}

// entry is where a shot enters the skin.
type entry struct {
	event int
	kerma quantity.Gray
	area  float64 // mm2, of the field perpendicular to the beam at the depth of the skin nearest to the axis
}

// fieldsOf joins the entries of each event, weighted by kerma.
func fieldsOf(entries []entry) []Field {
	slices.SortStableFunc(entries, func(a, b entry) int { return cmp.Compare(a.event, b.event) })
	var fields []Field
	for first := 0; first < len(entries); {
		end, kerma, sum := first, 0.0, 0.0
		for ; end < len(entries) && entries[end].event == entries[first].event; end++ {
			kerma += float64(entries[end].kerma)
			sum += float64(entries[end].kerma) * entries[end].area
		}
		if kerma > 0 {
			const perSquareMetre = 1e6 // mm2
			fields = append(fields, Field{
				Event: entries[first].event, Area: quantity.SquareMetre(sum / kerma / perSquareMetre), Kerma: quantity.Gray(kerma),
			})
		}
		first = end
	}
	return fields
}

func checkShot(s *exposure.Shot) error {
	for _, v := range []float64{
		float64(s.Kerma), float64(s.RefDistance), s.HalfWidth, s.HalfHeight, s.Focus.X, s.Focus.Y, s.Focus.Z,
		s.Toward.X, s.Toward.Y, s.Toward.Z, s.Across.X, s.Across.Y, s.Across.Z, s.Along.X, s.Along.Y, s.Along.Z,
	} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%w: event %d holds %v, want finite numbers", ErrShot, s.Event+1, v)
		}
	}
	if s.Kerma < 0 || s.RefDistance <= 0 || s.HalfWidth <= 0 || s.HalfHeight <= 0 {
		return fmt.Errorf("%w: event %d has kerma %v Gy, reference distance %v mm, half field %v by %v; want kerma 0 or more, the others positive",
			ErrShot, s.Event+1, float64(s.Kerma), float64(s.RefDistance), s.HalfWidth, s.HalfHeight)
	}
	return nil
}

// compareShots orders shots by all that their dose depends on and leaves the event for last.
func compareShots(a, b exposure.Shot) int {
	vec := func(a, b r3.Vec) int {
		return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y), cmp.Compare(a.Z, b.Z))
	}
	return cmp.Or(
		cmp.Compare(a.Kerma, b.Kerma), vec(a.Focus, b.Focus), vec(a.Toward, b.Toward), vec(a.Across, b.Across),
		cmp.Compare(a.HalfWidth, b.HalfWidth), cmp.Compare(a.HalfHeight, b.HalfHeight),
		cmp.Compare(a.RefDistance, b.RefDistance), cmp.Compare(a.Quality.Voltage, b.Quality.Voltage),
		cmp.Compare(a.Quality.Copper, b.Quality.Copper), cmp.Compare(a.Quality.Aluminium, b.Quality.Aluminium),
		compareTables(a.Table, b.Table), cmp.Compare(a.Event, b.Event))
}

func compareTables(a, b *exposure.Table) int {
	switch {
	case a == b:
		return 0
	case a == nil:
		return -1
	case b == nil:
		return 1
	}
	return cmp.Or(cmp.Compare(a.Centre.X, b.Centre.X), cmp.Compare(a.Centre.Y, b.Centre.Y), cmp.Compare(a.Centre.Z, b.Centre.Z))
}
