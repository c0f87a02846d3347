package main

import (
	"strings"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func figures(v float64, n int, edges ...float64) string { return quantity.Figures(v, n, edges...) }

func gray(v quantity.Gray, edges ...float64) string { return quantity.ShowKerma(v, edges...) }

func kap(v quantity.GraySquareMetre, edges ...float64) string { return quantity.ShowKAP(v, edges...) }

func minutes(v quantity.Second) string { return quantity.ShowMinutes(v) }

// spread prints an estimated skin dose and its range.
func spread(value, low, high quantity.Gray, atLeast bool, edges ...float64) string {
	v, from, to, unit := quantity.ShowSkin(value, low, high, edges...)
	words := "estimated "
	if atLeast {
		words = "estimated, at least "
	}
	return words + v + " " + unit + ", range " + from + " to " + to + " " + unit + " (k=2)"
}

// reported prints what the equipment says, with a dash and the reason for what it does not say.
func reported(d procedure.CaseDose, e level.Edges) string {
	words := []string{
		least("Ka,r", d.Kerma, d.LeastKerma, d.KermaMissing, func(v quantity.Gray) string { return gray(v, e.Kerma...) }) + doubt(d.LeastKerma.Present() && d.Suspicion.Has(procedure.SuspectKerma)),
		least("KAP", d.KAP, d.LeastKAP, d.KAPMissing, func(v quantity.GraySquareMetre) string { return kap(v, e.KAP...) }) + doubt(d.LeastKAP.Present() && d.Suspicion.Has(procedure.SuspectKAP)),
		least("fluoroscopy", d.FluoroTime, d.LeastTime, d.TimeMissing, minutes),
	}
	return strings.Join(words, "   ")
}

func doubt(suspect bool) string {
	if suspect {
		return " (NOT BELIEVED, see findings)"
	}
	return ""
}

// least prints a value, what is known of it where a plane is missing, or a dash with the reason.
func least[T ~float64](name string, whole, known quantity.Opt[T], missing []string, print func(T) string) string {
	if v, ok := whole.Get(); ok {
		return name + " " + print(v)
	}
	lacks := "not reported"
	if len(missing) > 0 {
		lacks = "missing or incomplete for " + strings.Join(missing, " and ")
	}
	if v, ok := known.Get(); ok {
		return name + " at least " + print(v) + " (" + lacks + ")"
	}
	return name + " - (" + lacks + ")"
}

// areas prints how much skin received at least a dose.
func areas(m *skindose.Map) string {
	var words []string
	for _, gy := range []quantity.Gray{2, 3, 5, 10, 15} {
		if a := m.AreaAbove(gy); a > 0 {
			words = append(words, figures(a.Cm2(), 2)+" cm2 at "+quantity.Fixed(float64(gy), 0)+" Gy and above")
		}
	}
	return strings.Join(words, ", ")
}
