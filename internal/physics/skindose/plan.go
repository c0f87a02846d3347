package skindose

import (
	"errors"
	"fmt"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrPlan marks a planned beam that cannot be placed on the body; the text says why.
var ErrPlan = errors.New("planned beam not usable")

// Direction is where a planned beam comes from, as equipment counts it: primary angle LAO positive, secondary cranial
// positive.
type Direction struct {
	Primary   quantity.Degree `json:"primary_deg"`
	Secondary quantity.Degree `json:"secondary_deg"`
}

// Plan looks ahead: what beams of a procedure to come would add to skin that has received dose already. It tells what
// would be received where, with all the assumptions of an estimate. It says nothing about what may be done.
type Plan struct {
	// Body is the patient's; Already is the dose of earlier procedures on that body, nil for none. Either may lack the arms
	// that the other has alongside.
	Body    *body.Body
	Already *Map
	// Pattern is what every planned beam has in common: field, distances, technique, filters, table.
	Pattern procedure.Event
	Profile procedure.DeviceProfile
	Facts   procedure.Facts
	// Site is the place along the body at the isocentre.
	Site string
	// Tissue is the medium of the dose; "" is ICRU-44 soft tissue.
	Tissue beam.Material
}

// Planned is one beam of a procedure to come with the reference air kerma that is expected of it.
type Planned struct {
	Direction
	Kerma quantity.Gray `json:"kerma_gy"`
}

// Outlook is what a planned beam would do.
type Outlook struct {
	Planned
	// Adds is the highest dose that the beam itself gives, at Place.
	Adds  quantity.Gray `json:"adds_gy"`
	Place Place         `json:"place"`
	// Before and After are the highest doses of the skin in the beam, from the earlier procedures and with the beam.
	Before quantity.Gray `json:"before_gy"`
	After  quantity.Gray `json:"after_gy"`
	// AfterPlace is where After is.
	AfterPlace Place `json:"after_place"`
	// Peak is the highest dose of the whole skin with the beam.
	Peak quantity.Gray `json:"peak_gy"`
	// Assumptions are those of placing the beam.
	Assumptions []string `json:"assumptions"`
}

// besideBeam is the part of a beam's highest dose below which skin lies beside it and not in it. Judgement: scatter alone
// gives at most 0.2 at an edge, the corners of a field get 0.4 and more.
const besideBeam = 0.25

// Look gives what one beam would do to the skin as it is.
func (p Plan) Look(b Planned) (Outlook, error) {
	m, said, err := p.irradiate(b)
	if err != nil {
		return Outlook{}, err
	}
	o := Outlook{Planned: b, Adds: m.PeakDose(), Place: PlaceOf(p.Body, m.Peak), Assumptions: said}
	if p.Already != nil {
		o.Peak = p.Already.PeakDose()
	}
	at := -1
	for i, adds := range m.Dose {
		before := p.before(i)
		o.Peak = max(o.Peak, before+adds)
		if adds <= besideBeam*o.Adds {
			continue
		}
		o.Before = max(o.Before, before)
		if after := before + adds; after > o.After {
			o.After, at = after, i
		}
	}
	o.AfterPlace = PlaceOf(p.Body, at)
	return o, nil
}

func (p Plan) before(patch int) quantity.Gray {
	if p.Already == nil {
		return 0
	}
	return p.Already.at(patch)
}

// irradiate gives the map of one planned beam alone, by the way of every estimate.
func (p Plan) irradiate(b Planned) (*Map, []string, error) {
	if p.Already != nil && !sameSkin(p.Already.Body, p.Body) {
		return nil, nil, fmt.Errorf("%w: the earlier dose is on another body", ErrBodies)
	}
	e := p.Pattern
	e.RefKerma = quantity.Some(b.Kerma)
	e.KAP = quantity.None[quantity.GraySquareMetre]()
	e.Mechanics.Primary, e.Mechanics.Secondary = quantity.Some(b.Primary), quantity.Some(b.Secondary)
	e.Mechanics.PrimaryEnd, e.Mechanics.SecondaryEnd = quantity.None[quantity.Degree](), quantity.None[quantity.Degree]()
	course, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{e}}, p.Profile, p.Facts, p.Body, p.Site, nil)
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrPlan, err)
	}
	if len(course.Shots) == 0 {
		return nil, nil, fmt.Errorf("%w: %s", ErrPlan, noShots(course.Unplaced))
	}
	tissue := p.Tissue
	if tissue == "" {
		tissue = beam.SoftTissue
	}
	m, err := Irradiate(course.Shots, p.Body, tissue)
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrPlan, err)
	}
	if m.Peak < 0 {
		return nil, nil, fmt.Errorf("%w: it hits no skin of the body", ErrPlan)
	}
	return m, course.Assumptions, nil
}

// Follow gives what each beam of a list would do after those before it, in the order of the list.
func (p Plan) Follow(beams []Planned) ([]Outlook, error) {
	all := make([]Outlook, 0, len(beams))
	for _, b := range beams {
		o, err := p.Look(b)
		if err != nil {
			return nil, err
		}
		all = append(all, o)
		m, _, err := p.irradiate(b)
		if err != nil {
			return nil, err
		}
		if p.Already == nil {
			p.Already = m
			continue
		}
		if p.Already, err = Accumulate(p.Already, m); err != nil {
			return nil, err
		}
	}
	return all, nil
}

// Grid gives what a beam of the same kerma would do from each of the directions, by primary and within it by secondary
// angle. A direction from which no skin is hit has no outlook: nil.
func (p Plan) Grid(primary, secondary []quantity.Degree, kerma quantity.Gray) ([][]*Outlook, error) {
	rows := make([][]*Outlook, 0, len(primary))
	for _, a := range primary {
		row := make([]*Outlook, 0, len(secondary))
		for _, b := range secondary {
			o, err := p.Look(Planned{Direction{a, b}, kerma})
			switch {
			case err == nil:
				row = append(row, &o)
			case errors.Is(err, ErrPlan):
				row = append(row, nil)
			default:
				return nil, err
			}
		}
		rows = append(rows, row)
	}
	return rows, nil
}
