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
		run := exposed{shot: s, optics: o, body: skin, skull: b.skull}
		if dose, _, hit := run.at(m.Peak); hit {
			parts = append(parts, Contribution{Event: s.Event, Dose: dose})
		}
	}
	m.Contributions = byEvent(parts)
	return m, nil
}

// onto adds the doses of shots to those of a body's patches and tells where each shot entered the skin.
func (b *bench) onto(dose []quantity.Gray, shots []exposure.Shot, skin *body.Body) ([]entry, error) {
	entries := make([]entry, 0, len(shots))
	for i := range shots {
		s := &shots[i]
		if err := checkShot(s); err != nil {
			return nil, err
		}
		o, err := b.of(s)
		if err != nil {
			return nil, err
		}
		run := exposed{shot: s, optics: o, body: skin, skull: b.skull}
		if e, hit := run.onto(dose); hit {
			entries = append(entries, e)
		}
	}
	return entries, nil
}

// exposed is one shot on one body.
type exposed struct {
	shot   *exposure.Shot
	optics *optics
	body   *body.Body
	// table is what the logarithm of the table's transmission is off at a slant of 1.
	table float64
	skull bool
	// core is the shot whose field scatters, at its middle, where the field has been grown to see what it may reach; nil
	// where the field is the shot's own.
	core *exposure.Shot
}

// entry is where a shot enters the skin.
type entry struct {
	event int
	kerma quantity.Gray
	area  float64 // mm2, of the field perpendicular to the beam at the depth of the skin nearest to the axis
}

// onto adds the shot's dose to every patch it hits.
func (x *exposed) onto(dose []quantity.Gray) (e entry, hit bool) {
	field := sidesOf(x.shot)
	nearest, depth := math.Inf(1), 0.0
	for g := range x.body.Groups {
		group := &x.body.Groups[g]
		if field.misses(x.shot, group) {
			continue
		}
		for i := group.First; i < group.End; i++ {
			d, at, ok := x.at(i)
			if !ok {
				continue
			}
			dose[i] += d
			if at.off < nearest {
				nearest, depth = at.off, at.depth
			}
		}
	}
	area := 4 * x.shot.HalfWidth * x.shot.HalfHeight * depth * depth
	return entry{x.shot.Event, x.shot.Kerma, area}, !math.IsInf(nearest, 1)
}

// place of a patch in a field: depth along the axis in mm and square of the tangent off the axis.
type place struct{ depth, off float64 }

// at gives the dose of the shot in one patch, and whether it is hit: it lies in the field, faces the focus and is not
// shadowed by another part of the body.
func (x *exposed) at(patch int) (quantity.Gray, place, bool) {
	s, p := x.shot, &x.body.Patches[patch]
	ray := r3.Sub(p.Centre, s.Focus)
	depth := r3.Dot(ray, s.Toward)
	if depth <= 0 || r3.Dot(ray, p.Normal) >= 0 {
		return 0, place{}, false
	}
	across, along := r3.Dot(ray, s.Across), r3.Dot(ray, s.Along)
	halfWidth, halfHeight := s.HalfWidth*depth, s.HalfHeight*depth
	if math.Abs(across) > halfWidth || math.Abs(along) > halfHeight || x.body.Shadowed(patch, s.Focus) {
		return 0, place{}, false
	}
	slant, crosses := s.Table.Crossing(s.Focus, p.Centre)
	off := (across*across + along*along) / (depth * depth)
	if x.core != nil {
		halfWidth, halfHeight, across, along = x.core.HalfWidth*depth, x.core.HalfHeight*depth, 0, 0
	}
	line := x.optics.beamline(x.skull && p.Part == body.Head && p.Normal.Z > -0.5, slant, crosses, halfWidth+across, halfWidth-across, halfHeight+along, halfHeight-along)
	if crosses && x.table != 0 {
		line.Transmission *= math.Exp(x.table * min(slant, mostSlant))
	}
	kerma := float64(s.Kerma) * float64(s.RefDistance) * float64(s.RefDistance) / r3.Norm2(ray)
	return quantity.Gray(kerma * line.Product()), place{depth, off}, true
}

// mostSlant is the slant up to which doubt of the table grows with the way through it (judgement).
const mostSlant = 2

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
