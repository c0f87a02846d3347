package plausible

import (
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

func eventTechnique(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	for _, kv := range e.Technique.Voltages {
		if kv < leastVoltage || kv > mostVoltage {
			e.Suspicion |= procedure.SuspectVoltage
			notes.Add("voltage-range", procedure.Suspect, at.Of("KVP"), "tube voltage outside 40 to 150 kV")
			break
		}
	}
	currentAndTime(e, notes, at)
	pulsesAndTime(e, notes, at)
	filters(e, notes, at)
}

// currentAndTime compares tube current times exposure time with pulses times the mean product per pulse, both in mA s.
func currentAndTime(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	t := &e.Technique
	current, okCurrent := mean(t.Currents)
	perPulse, okPulse := mean(t.Exposures)
	seconds, okTime := t.ExposureTime.Get()
	pulses, okPulses := t.Pulses.Get()
	if !okCurrent || !okPulse || !okTime || !okPulses {
		return
	}
	if differs(current*float64(seconds), pulses*perPulse, techniqueTolerance) {
		notes.Add("current-time", procedure.Reduced, at.Of("Exposure"),
			"tube current times exposure time and pulses times exposure per pulse differ by more than 10 %")
	}
}

// pulsesAndTime compares pulses times width with the exposure time, and rate times duration with the pulses.
func pulsesAndTime(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	t := &e.Technique
	pulses, okPulses := t.Pulses.Get()
	if !okPulses {
		return
	}
	width, okWidth := mean(t.PulseWidths)
	if seconds, ok := t.ExposureTime.Get(); ok && okWidth && differs(pulses*width, float64(seconds), techniqueTolerance) {
		notes.Add("pulse-time", procedure.Reduced, at.Of("Exposure Time"), "pulses times pulse width and exposure time differ by more than 10 %")
	}
	rate, okRate := t.PulseRate.Get()
	duration, okDuration := t.Duration.Get()
	// The last pulse ends the duration without a pause behind it, so one pulse more or less is no difference.
	if okRate && okDuration && math.Abs(float64(rate)*float64(duration)-pulses) > 1+techniqueTolerance*pulses {
		notes.Add("pulse-rate", procedure.Reduced, at.Of("Pulse Rate"), "pulse rate times irradiation duration and number of pulses differ by more than 10 %")
	}
}

func filters(e *procedure.Event, notes *notebook.Notebook, at notebook.Place) {
	for i := range e.Filters {
		f := &e.Filters[i]
		switch {
		case f.Type == procedure.FilterStrip || f.Type == procedure.FilterWedge || f.Type == procedure.FilterButterfly:
			notes.Add("filter-shading", procedure.Note, at.Of("X-Ray Filters"), "a filter that shades part of the field; it is no part of the spectrum")
		case f.Type == procedure.FilterNone:
		case f.Max.Present() && f.Max.Or(0) == 0:
			notes.Add("filter-zero", procedure.Note, at.Of("X-Ray Filters"), "a filter of thickness 0; read as no added filter of that material")
		case !f.Min.Present() && !f.Max.Present():
			notes.Add("filter-thickness", procedure.Reduced, at.Of("X-Ray Filters"), "a filter without a thickness")
		}
	}
}

func mean[T ~float64](values []T) (float64, bool) {
	if len(values) == 0 {
		return 0, false
	}
	sum := 0.0
	for _, v := range values {
		sum += float64(v)
	}
	return sum / float64(len(values)), true
}
