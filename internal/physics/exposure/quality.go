package exposure

import (
	"fmt"
	"strings"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// What is taken when the report or the profile does not say.
const (
	// Judgement: the middle of the range of fluoroscopy.
	defaultVoltage quantity.Kilovolt = 80
	// The range of the spectrum model. Source: Boone JM, Seibert JA 1997, An accurate method for computer-generating
	// tungsten anode x-ray spectra from 30 to 140 kV, Med Phys 24:1661; read.
	lowestVoltage, highestVoltage quantity.Kilovolt = 30, 140
	// Total filtration of a fluoroscope when nothing is known, and the inherent part of it when the report lists added
	// aluminium; judgement, near the legal least half-value layers.
	defaultAluminium  quantity.Millimetre = 3.0
	inherentAluminium quantity.Millimetre = 2.5
	// Thicker filters than these are not built; judgement.
	thickestAluminium quantity.Millimetre = 20
	thickestCopper    quantity.Millimetre = 3
)

// quality gives the beam before the table.
func (t *tracer) quality(e *procedure.Event) beam.Quality {
	aluminium, copper := t.filtration(e)
	return beam.Quality{Voltage: t.voltage(e), Aluminium: aluminium, Copper: copper}
}

// voltage is the mean of the reported values within what the spectrum model covers.
func (t *tracer) voltage(e *procedure.Event) quantity.Kilovolt {
	var sum quantity.Kilovolt
	n := 0
	for _, v := range e.Technique.Voltages {
		if v > 0 && v < 1000 {
			sum += v
			n++
		}
	}
	if n == 0 || e.Suspicion.Has(procedure.SuspectVoltage) {
		t.now.beam = false
		t.notes.say("tube voltage missing or not believed: 80 kV (judgement)")
		return defaultVoltage
	}
	if n > 1 {
		t.notes.say("several tube voltages in one event: their mean")
	}
	mean := sum / quantity.Kilovolt(n)
	if inside := min(max(mean, lowestVoltage), highestVoltage); inside != mean {
		t.find(e, "voltage-range", procedure.Reduced, "KVP", fmt.Sprintf(
			"%s kV is outside the spectrum model, 30 to 140 kV: %s kV is used", plain(float64(mean)), plain(float64(inside))))
		return inside
	}
	return mean
}

// filtration is total aluminium and copper. Flat filters count, and those of unknown shape; filters that shade a part
// of the beam do not.
func (t *tracer) filtration(e *procedure.Event) (aluminium, copper quantity.Millimetre) {
	seen := false
	for _, f := range e.Filters {
		switch f.Type {
		case procedure.FilterNone:
			seen = true
			continue
		case procedure.FilterStrip, procedure.FilterWedge, procedure.FilterButterfly:
			t.notes.say("strip, wedge and butterfly filters shade a part of the beam and are left out (upper bound)")
			continue
		case procedure.FilterUnknown, procedure.FilterFlat:
		}
		thickness, ok := t.thickness(e, f)
		if !ok {
			t.now.beam = false
			t.notes.say("a filter without a thickness that can be believed is left out of the spectrum (judgement)")
			continue
		}
		switch f.Metal {
		case procedure.Aluminium:
			aluminium, seen = aluminium+thickness, true
		case procedure.Copper:
			copper, seen = copper+thickness, true
		default:
			if thickness > 0 {
				t.now.beam = false
				t.find(e, "filter-metal", procedure.Reduced, "X-Ray Filters",
					"a filter of another metal than aluminium or copper is not in the spectrum model and is left out")
				t.notes.say("filters of other metals than aluminium and copper are left out of the spectrum")
			}
		}
	}
	if !seen {
		t.now.beam = false
	}
	return t.total(aluminium, seen), copper
}

// total is all aluminium in the beam: the inherent filtration, or what is taken for it, beside the reported filters.
func (t *tracer) total(aluminium quantity.Millimetre, seen bool) quantity.Millimetre {
	inherent, known := t.profile.InherentAluminium.Get()
	known = known && inherent >= 0 && inherent <= thickestAluminium
	switch {
	case known && !seen:
		t.notes.say("no added filter reported: the profile's inherent filtration alone")
		return inherent
	case known:
		return inherent + aluminium
	case aluminium > 0:
		t.now.inherent = false
		t.notes.say("inherent filtration unknown: 2.5 mm Al beside the reported filters (judgement)")
		return inherentAluminium + aluminium
	}
	t.now.inherent = false
	if seen {
		t.notes.say("total aluminium unknown: 3.0 mm Al beside the reported copper (judgement)")
	} else {
		t.notes.say("filtration missing: 3.0 mm Al and no copper (judgement)")
	}
	return defaultAluminium
}

// thickness is the middle of the reported thinnest and thickest, whichever order they came in.
func (t *tracer) thickness(e *procedure.Event, f procedure.Filter) (quantity.Millimetre, bool) {
	least, hasLeast := f.Min.Get()
	most, hasMost := f.Max.Get()
	switch {
	case !hasLeast && !hasMost:
		return 0, false
	case !hasLeast:
		least = most
	case !hasMost:
		most = least
	}
	if most < least {
		t.find(e, "filter-thickness-order", procedure.Note, "X-Ray Filters", "the largest thickness is below the smallest: their mean is used")
	}
	mean := (least + most) / 2
	limit := thickestAluminium
	if f.Metal == procedure.Copper {
		limit = thickestCopper
	}
	if !(mean >= 0 && mean <= limit) {
		t.find(e, "filter-thickness", procedure.Suspect, "X-Ray Filters", fmt.Sprintf(
			"a filter of %s mm is not believed (0 to %s mm expected) and is left out", plain(float64(mean)), plain(float64(limit))))
		return 0, false
	}
	return mean, true
}

// plain prints a number with at most two decimals.
func plain(v float64) string {
	return strings.TrimRight(strings.TrimRight(quantity.Fixed(v, 2), "0"), ".")
}
