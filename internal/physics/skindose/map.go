package skindose

import (
	"cmp"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

// Map is the skin dose on a body, patch by patch.
type Map struct {
	Body *body.Body
	// Dose has one value for each patch of the body.
	Dose []quantity.Gray
	// Peak is the patch with the highest dose, the first of equals, or -1 when no patch has any.
	Peak int
	// Contributions are the events that gave the peak patch its dose, the largest first.
	Contributions []Contribution
	// Fields are the fields at the skin of the events that hit the body, by event.
	Fields []Field
}

// Contribution is what one event gave to the peak patch.
type Contribution struct {
	// Event is the index in the procedure's events.
	Event int           `json:"event"`
	Dose  quantity.Gray `json:"dose"`
	// Share is the part of the peak dose, 0 to 1.
	Share float64 `json:"share"`
}

// Field is the field of one event at the skin.
type Field struct {
	Event int
	// Area is measured perpendicular to the beam at the distance of the patch nearest to its axis, the mean by kerma
	// for an event of several shots.
	Area quantity.SquareMetre
	// Kerma is the reference air kerma of the shots that hit the body.
	Kerma quantity.Gray
}

// PeakDose gives the dose of the peak patch, 0 when no patch has any.
func (m *Map) PeakDose() quantity.Gray {
	if m.Peak < 0 {
		return 0
	}
	return m.Dose[m.Peak]
}

// AreaAbove gives the skin area whose dose is at least the given one.
func (m *Map) AreaAbove(dose quantity.Gray) quantity.SquareMetre {
	var area float64
	for i, d := range m.Dose {
		if d >= dose {
			area += m.Body.Patches[i].Area
		}
	}
	return quantity.SquareMetre(area) * quantity.SquareCentimetre
}

// PeakOf gives the patch with the highest dose, the first of equals, or -1 when no patch has any.
func PeakOf(dose []quantity.Gray) int {
	peak := -1
	best := quantity.Gray(0)
	for i, d := range dose {
		if d > best {
			peak, best = i, d
		}
	}
	return peak
}

// byEvent adds contributions of the same event, gives each its share and puts the largest first.
func byEvent(parts []Contribution) []Contribution {
	slices.SortStableFunc(parts, func(a, b Contribution) int { return cmp.Compare(a.Event, b.Event) })
	var out []Contribution
	var sum quantity.Gray
	for _, p := range parts {
		sum += p.Dose
		if n := len(out); n > 0 && out[n-1].Event == p.Event {
			out[n-1].Dose += p.Dose
			continue
		}
		out = append(out, p)
	}
	for i := range out {
		out[i].Share = float64(out[i].Dose / sum)
	}
	slices.SortStableFunc(out, func(a, b Contribution) int { return cmp.Compare(b.Dose, a.Dose) })
	return out
}
