package demo

import (
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// flaw is something that is missing or wrong in the record of a case of the year.
type flaw uint8

const (
	whole flaw = iota
	withoutKAP
	withoutTime
	withoutSize
	totalsAlone
	slippedUnit
	halvedTotal
	withoutOperator
	neverSent
)

// flawOf says what is wrong with the case of a number. The numbers are invented; most records are whole.
func flawOf(number int) flaw {
	switch {
	case number%41 == 17:
		return neverSent
	case number%97 == 31:
		return withoutKAP
	case number%211 == 60:
		return withoutTime
	case number%127 == 44:
		return totalsAlone
	case number%181 == 23:
		return slippedUnit
	case number%233 == 110:
		return halvedTotal
	case number%89 == 8:
		return withoutOperator
	case number%12 == 5:
		return withoutSize
	}
	return whole
}

// spoil takes from a report what its flaw says.
func (f flaw) spoil(r *procedure.Report) {
	switch f {
	case withoutKAP:
		for i := range r.Planes {
			p := &r.Planes[i]
			p.KAP, p.FluoroKAP, p.AcquisitionKAP = quantity.None[quantity.GraySquareMetre](), quantity.None[quantity.GraySquareMetre](), quantity.None[quantity.GraySquareMetre]()
		}
		for i := range r.Events {
			r.Events[i].KAP = quantity.None[quantity.GraySquareMetre]()
		}
	case withoutTime:
		for i := range r.Planes {
			r.Planes[i].FluoroTime = quantity.None[quantity.Second]()
		}
		for i := range r.Events {
			r.Events[i].Technique.Duration = quantity.None[quantity.Second]()
		}
	case withoutSize:
		r.Patient.Height, r.Patient.Weight = quantity.None[quantity.Millimetre](), quantity.None[quantity.Kilogram]()
	case totalsAlone:
		r.Events = nil
		r.Sources = []procedure.Code{dcm("113866", "Copied From Image Attributes")}
	case slippedUnit:
		if len(r.Events) > 0 {
			e := firstOf(r, procedure.Stationary)
			e.KAP = times(e.KAP, 1e4)
		}
	case halvedTotal:
		r.Planes[0].RefKerma = times(r.Planes[0].RefKerma, 0.5)
	case withoutOperator:
		r.Persons = nil
	case whole, neverSent:
	}
}

// checked gives the day on which the display of a device was last checked before a day, with the factor that was found; zero
// where nobody has said. Rhythm 3 is overdue since September 2026, and the mobile C-arm tells nothing. Invented.
func checkedDisplay(station string, day time.Time) (on time.Time, factor float64) {
	all := map[string][]struct {
		day    string
		factor float64
	}{
		"HYBRID1": {{"2025-06-09", 0.95}, {"2026-06-08", 0.94}},
		"CATH2":   {{"2025-02-17", 1.02}, {"2026-02-16", 1.03}},
		"RHYTHM3": {{"2025-09-08", 1.0}},
		"NEURO4":  {{"2025-05-12", 0.98}, {"2026-05-11", 0.97}},
	}
	for _, c := range all[station] {
		if at, err := time.Parse(time.DateOnly, c.day); err == nil && at.Before(day) {
			on, factor = at.Add(9*time.Hour), c.factor
		}
	}
	return on, factor
}

// calibrate writes into a report of the year when the display was checked.
func calibrate(r *procedure.Report, day time.Time) {
	on, factor := checkedDisplay(r.Device.Station, day)
	for i := range r.Planes {
		r.Planes[i].Calibrations = nil
		if on.IsZero() {
			continue
		}
		c := calibration()
		c.When, c.Factor = timed(on.In(clocks(on))), quantity.Some(factor)
		r.Planes[i].Calibrations = []procedure.Calibration{c}
	}
}
