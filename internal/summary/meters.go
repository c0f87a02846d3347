package summary

import (
	"cmp"
	"slices"
	"time"

	"afterbeam/internal/quantity"
)

// How a dose display stands.
const (
	meterInDate    = "in-date"
	meterExpired   = "expired"   // its factors no longer hold
	meterOld       = "old"       // its last check lies too far back
	meterChecked   = "checked"   // a check is on file, without factors
	meterUnchecked = "unchecked" // nothing is on file
)

// meters gives the display of each device that is known or had a case, by room and device.
func (w *work) meters() []MeterLine {
	cases, last := map[string]int{}, map[string]*Case{}
	for _, c := range w.now {
		cases[c.Device]++
		last[c.Device] = c
	}
	out := []MeterLine{}
	for _, m := range w.in.Meters {
		if !(Filter{Room: w.in.Filter.Room, Device: w.in.Filter.Device, Rooms: w.in.Filter.Rooms}).holds("", m.Room, m.Device) {
			continue
		}
		delete(last, m.Device)
		out = append(out, w.meter(m, cases[m.Device]))
	}
	for device, c := range last {
		out = append(out, w.meter(Meter{Room: c.Room, Device: device, DeviceName: c.DeviceName}, cases[device]))
	}
	slices.SortStableFunc(out, func(a, b MeterLine) int {
		return cmp.Or(cmp.Compare(a.Room, b.Room), cmp.Compare(a.Device, b.Device), cmp.Compare(a.From, b.From))
	})
	return out
}

func (w *work) meter(m Meter, cases int) MeterLine {
	l := MeterLine{
		Room: m.Room, Device: m.Device, Name: m.DeviceName, Cases: cases, KermaFactor: m.KermaFactor, KAPFactor: m.KAPFactor,
		KermaUncertainty: plain(m.KermaUncertainty), KAPUncertainty: plain(m.KAPUncertainty),
		CheckedOn: m.CheckedOn, From: m.From, Until: m.Until, Outside: outside(m.KermaFactor) || outside(m.KAPFactor),
	}
	if age, ok := daysBetween(m.CheckedOn, w.in.AsOf); ok {
		l.AgeDays = quantity.Some(age)
	}
	factors := m.KermaFactor.Present() || m.KAPFactor.Present()
	switch {
	case !factors && !m.Checked:
		l.Status = meterUnchecked
	case factors && m.Until != "" && m.Until < w.in.AsOf:
		l.Status = meterExpired
	case w.old(m.CheckedOn):
		l.Status = meterOld
	case factors:
		l.Status = meterInDate
	default:
		l.Status = meterChecked
	}
	return l
}

// old tells whether a check lies further back than a site lets it.
func (w *work) old(checked string) bool {
	on, err := time.Parse(time.DateOnly, checked)
	return err == nil && on.AddDate(0, w.settings.MeterMonths, 0).Format(time.DateOnly) < w.in.AsOf
}

// outside tells whether a display is off by more than it may be: a factor is measured over displayed.
func outside(factor quantity.Opt[float64]) bool {
	f, known := factor.Get()
	return known && (!(f > 0) || 1/f < 1-displayTolerance || 1/f > 1+displayTolerance)
}
