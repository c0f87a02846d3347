package procedure

import (
	"time"

	"afterbeam/internal/quantity"
)

// State tells whether more reports of a procedure are to be expected.
type State uint8

// The states of a procedure.
const (
	Provisional State = iota
	Complete
	Amended
)

// String names the state.
func (s State) String() string {
	switch s {
	case Complete:
		return "complete"
	case Amended:
		return "amended"
	case Provisional:
	}
	return "provisional"
}

// Procedure is one case on one device: the reports of one study from that device, merged by irradiation event.
type Procedure struct {
	StudyUID  string
	DeviceKey string
	Device    Device
	Patient   Patient
	Study     Study
	Purpose   Purpose
	State     State
	Start     Moment

	// Class, Region and Complexity come from the lexicon or from Facts; Class is "unclassified" when nothing matched.
	Class, Region, Complexity string
	// ClassFrom says what decided: the description, protocol or code that matched, or the person's fact.
	ClassFrom string

	Events []Event
	// Superseded are the older values of events that a later report changed; they stay visible and count nowhere.
	Superseded []Event
	// Totals are the merged totals of each plane; a plane that only events or only totals show has a Finding, and
	// CaseDose names the planes whose dose is not known.
	Totals  []PlaneTotal
	Persons []Person
	// ReportUIDs lists the reports merged in, in canonical order.
	ReportUIDs []string
	// Linked names the devices of the other procedures of the same study.
	Linked   []string
	Findings []Finding
}

// AgeYears is the reported age, else that by birth date and start in years of 365.25 days; absent when neither is known.
func (p Procedure) AgeYears() quantity.Opt[float64] {
	if p.Patient.AgeYears.Present() {
		return p.Patient.AgeYears
	}
	born, errBorn := time.Parse(time.DateOnly, p.Patient.BirthDate)
	day, errDay := time.Parse(time.DateOnly, p.Start.LocalDate())
	if errBorn != nil || errDay != nil {
		return quantity.None[float64]()
	}
	const hoursPerYear = 24 * 365.25
	return quantity.Some(day.Sub(born).Hours() / hoursPerYear)
}

// PlaneDose is what one plane delivered, once from the totals and once from the events.
type PlaneDose struct {
	Plane Plane
	// TotalKerma and TotalKAP are as the report totals them, SumKerma and SumKAP the sums of the events that have a
	// value; KermaComplete and KAPComplete tell that there are events and every one of the plane had one.
	TotalKerma, SumKerma quantity.Opt[quantity.Gray]
	TotalKAP, SumKAP     quantity.Opt[quantity.GraySquareMetre]
	KermaComplete        bool
	KAPComplete          bool
	FluoroTime           quantity.Opt[quantity.Second]
	Suspicion            Suspicion
	// Partial marks totals that leave out a part of what the plane delivered.
	Partial Suspicion
}

// Kerma gives the larger of total and sum, the cautious value for levels (absent when neither is known).
func (d PlaneDose) Kerma() quantity.Opt[quantity.Gray] { return larger(d.TotalKerma, d.SumKerma) }

// KAP gives the larger of total and sum, the cautious value for levels (absent when neither is known).
func (d PlaneDose) KAP() quantity.Opt[quantity.GraySquareMetre] { return larger(d.TotalKAP, d.SumKAP) }

func larger[T ~float64](a, b quantity.Opt[T]) quantity.Opt[T] {
	x, okA := a.Get()
	y, okB := b.Get()
	switch {
	case okA && okB:
		return quantity.Some(max(x, y))
	case okA:
		return a
	}
	return b
}
