package outlook

import (
	"errors"
	"fmt"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// ErrAsk marks a plan that is asked for in a way that cannot be answered; the text says what is wanted and repeats nothing
// of what was asked.
var ErrAsk = errors.New("plan not usable")

// Bounds of what may be asked. Those of the kerma and of the field keep slips of the hand out; that of the beams bounds the
// work.
const (
	MostBeams                = 50
	LeastKerma quantity.Gray = 0.001
	MostKerma  quantity.Gray = 100

	LeastField quantity.Millimetre = 20
	MostField  quantity.Millimetre = 600

	LeastDetector quantity.Millimetre = 600
	MostDetector  quantity.Millimetre = 1600

	MostTableDepth quantity.Millimetre = 400
)

// Ask is what a plan is asked for.
type Ask struct {
	// Beams are those of the procedure to come, in the order in which they are expected.
	Beams []skindose.Planned
	// Grid is the reference air kerma for which a grid of directions is wanted, 0 for none.
	Grid quantity.Gray
	// Place is the place along the body at the isocentre, "" for that of the newest procedure.
	Place string
	// Field is the side of a square field at the detector, 0 for the field of the newest procedure.
	Field quantity.Millimetre
	// Detector is the distance from source to detector, 0 for that of the newest procedure.
	Detector quantity.Millimetre
	// TableDepth is how far the table top is below the isocentre, absent for the table of the newest procedure.
	TableDepth quantity.Opt[quantity.Millimetre]
}

// Check tells what of a question is missing or out of range, by kind ErrAsk.
func (a Ask) Check() error {
	switch {
	case len(a.Beams) == 0 && a.Grid == 0:
		return fmt.Errorf("%w: wanted beams or a grid, got neither", ErrAsk)
	case len(a.Beams) > MostBeams:
		return fmt.Errorf("%w: wanted %d beams at most, got %d", ErrAsk, MostBeams, len(a.Beams))
	case a.Grid != 0 && !fits(a.Grid, LeastKerma, MostKerma):
		return fmt.Errorf("%w: wanted a grid of %v to %v Gy", ErrAsk, float64(LeastKerma), float64(MostKerma))
	case a.Field != 0 && !fits(a.Field, LeastField, MostField):
		return fmt.Errorf("%w: wanted a field of %v to %v mm", ErrAsk, float64(LeastField), float64(MostField))
	case a.Detector != 0 && !fits(a.Detector, LeastDetector, MostDetector):
		return fmt.Errorf("%w: wanted a distance from source to detector of %v to %v mm", ErrAsk, float64(LeastDetector), float64(MostDetector))
	case !fits(a.TableDepth.Or(0), 0, MostTableDepth):
		return fmt.Errorf("%w: wanted a table top 0 to %v mm below the isocentre", ErrAsk, float64(MostTableDepth))
	case a.Place != "" && !body.IsPlace(a.Place):
		return fmt.Errorf("%w: no place along the body; wanted one of %s", ErrAsk, strings.Join(body.Places(), ", "))
	}
	return a.checkBeams()
}

func (a Ask) checkBeams() error {
	for i, b := range a.Beams {
		if !fits(b.Primary, -180, 180) || !fits(b.Secondary, -90, 90) || !fits(b.Kerma, LeastKerma, MostKerma) {
			return fmt.Errorf("%w: beam %d: wanted a primary angle within 180 and a secondary within 90 degrees and %v to %v Gy", ErrAsk,
				i+1, float64(LeastKerma), float64(MostKerma))
		}
	}
	return nil
}

// fits is false for what is no number.
func fits[T ~float64](v, low, high T) bool { return v >= low && v <= high }

// directions are those of a grid: what a C-arm reaches around a patient on a table.
func directions() (primary, secondary []quantity.Degree) {
	for a := quantity.Degree(-90); a <= 90; a += 15 {
		primary = append(primary, a)
	}
	for b := quantity.Degree(30); b >= -30; b -= 15 {
		secondary = append(secondary, b)
	}
	return primary, secondary
}

// asked gives the plan with what was asked for in place of the newest procedure's.
func (a Ask) asked(p skindose.Plan) skindose.Plan {
	if a.Place != "" {
		p.Site = a.Place
	}
	if a.Field > 0 {
		side := quantity.Some(a.Field)
		p.Pattern.Field.Area, p.Pattern.Field.Width, p.Pattern.Field.Height = quantity.None[quantity.SquareMetre](), side, side
	}
	m := &p.Pattern.Mechanics
	if a.Detector > 0 {
		m.SourceToDetector = quantity.Some(a.Detector)
	}
	if a.TableDepth.Present() {
		// Against the isocentre, downward positive (PS3.16, 128766 ff); a distance along the newest procedure's beam holds no more.
		m.TableY, m.TableYEnd = a.TableDepth, quantity.None[quantity.Millimetre]()
		m.SourceToTable = quantity.None[quantity.Millimetre]()
	}
	return p
}

// Of answers a question about the next stage. Its errors are of kind ErrAsk, or skindose.ErrPlan for a beam that cannot be
// placed on the body.
func Of(n assessment.NextStage, a Ask) (Document, error) {
	if err := a.Check(); err != nil {
		return Document{}, err
	}
	plan := a.asked(n.Plan)
	doc := Document{Caution: Caution, Earlier: earlier(n), Beams: []Beam{}, Notes: append([]string{}, n.Notes...)}
	followed, err := plan.Follow(a.Beams)
	if err != nil {
		return Document{}, err
	}
	for _, o := range followed {
		doc.Beams = append(doc.Beams, beamOf(o))
		doc.assume(o.Assumptions)
	}
	if a.Grid == 0 {
		return doc, nil
	}
	g := &Grid{KermaGy: a.Grid}
	g.Primary, g.Secondary = directions()
	all, err := plan.Grid(g.Primary, g.Secondary, a.Grid)
	if err != nil {
		return Document{}, err
	}
	for _, column := range all {
		beams := make([]*Beam, len(column))
		for i, o := range column {
			if o != nil {
				one := beamOf(*o)
				beams[i] = &one
				doc.assume(o.Assumptions)
			}
		}
		g.Outlooks = append(g.Outlooks, beams)
	}
	doc.Grid = g
	return doc, nil
}

func earlier(n assessment.NextStage) Earlier {
	e := Earlier{
		Procedures: len(n.Assessments), Mapped: n.Mapped, Unmapped: n.Unmapped, ElsewhereGy: n.Elsewhere, Unknown: n.Unknown,
		PeakGy: n.Already.PeakDose(),
	}
	if n.Already.Peak >= 0 {
		e.Place = skindose.PlaceOf(n.Already.Body, n.Already.Peak)
	}
	return e
}

func beamOf(o skindose.Outlook) Beam {
	return Beam{
		Direction: o.Direction, KermaGy: o.Kerma, AddsGy: o.Adds, AddsPlace: o.Place, BeforeGy: o.Before, AfterGy: o.After,
		AfterPlace: o.AfterPlace, PeakGy: o.Peak,
	}
}
