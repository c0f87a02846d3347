package demo

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// OddCase is a case with one thing wrong, for tests of what a reader says about it.
type OddCase struct {
	Case
	// Want names the rules of the findings above a note that reading its file gives, in order of the alphabet.
	Want []string
}

// Odd gives cases that each go wrong in one way: copies of the diagnostic angiography under identifiers of their own.
func Odd() []OddCase {
	faults := []struct {
		name  string
		title string
		spoil func(*procedure.Report)
		want  []string
	}{
		{"area-unit-slip", "KAP of one event ten thousand times too large", func(r *procedure.Report) {
			e := firstOf(r, procedure.Stationary)
			e.KAP = times(e.KAP, 1e4)
		}, []string{"kap-kerma-ratio", "total-sum"}},
		{"total-too-small", "total air kerma below the sum of the events", func(r *procedure.Report) {
			p := &r.Planes[0]
			p.RefKerma = times(p.RefKerma, 0.5)
		}, []string{"total-parts", "total-sum"}},
		{"rotation-without-end", "rotational event without end angles", func(r *procedure.Report) {
			firstOf(r, procedure.Stationary).Type = procedure.Rotational
		}, []string{"end-angle-missing"}},
		{"angle-beyond", "secondary angle of 130 degrees", func(r *procedure.Report) {
			firstOf(r, procedure.Fluoroscopy).Mechanics.Secondary = quantity.Some(quantity.Degree(130))
		}, []string{"angle-range"}},
		{"angle-full-circle", "primary angle counted from 0 to 360 degrees", func(r *procedure.Report) {
			m := &firstOf(r, procedure.Fluoroscopy).Mechanics
			m.Primary = quantity.Some(m.Primary.Or(0) + 360)
		}, []string{"angle-full-circle"}},
		{"current-slip", "tube current ten times too large", func(r *procedure.Report) {
			t := &firstOf(r, procedure.Stationary).Technique
			t.Currents = []quantity.Milliampere{10 * t.Currents[0]}
			t.MeanCurrent = quantity.Some(t.Currents[0])
		}, []string{"current-time"}},
		{"voltage-in-volts", "tube voltage a thousand times too large", func(r *procedure.Report) {
			t := &firstOf(r, procedure.Stationary).Technique
			t.Voltages = []quantity.Kilovolt{1000 * t.Voltages[0]}
		}, []string{"voltage-range"}},
		{"event-twice", "one event identifier on two events", func(r *procedure.Report) {
			r.Events[1].UID = r.Events[0].UID
		}, []string{"event-uid-repeated"}},
	}
	var list []OddCase
	for _, f := range faults {
		r := angiography().named("odd-" + f.name + ".dcm").report(oddStream)
		f.spoil(&r)
		list = append(list, OddCase{Case{File: "odd-" + f.name + ".dcm", Title: f.title + " (synthetic)", Report: r}, f.want})
	}
	return list
}

// oddStream is the chance of the spoiled cases, apart from those of the scenario.
const oddStream = 1000

// named gives the scene another file and with it other identifiers.
func (s scene) named(file string) scene {
	s.file = file
	return s
}

func firstOf(r *procedure.Report, kind procedure.EventType) *procedure.Event {
	for i := range r.Events {
		if r.Events[i].Type == kind {
			return &r.Events[i]
		}
	}
	return &r.Events[0]
}

func times[T ~float64](o quantity.Opt[T], factor float64) quantity.Opt[T] {
	v, ok := o.Get()
	if !ok {
		return o
	}
	return quantity.Some(T(float64(v) * factor))
}
