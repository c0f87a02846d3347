package web

import (
	"strings"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/quantity"
)

// caseNumber is one number of a case with all that it rests on.
type caseNumber struct {
	// Key names it: psd, kerma, kap, time, effective.
	Key string
	// Value is printed with its unit, "" when there is none for the reason Missing.
	Value, Range, Missing string
	// Source says in words where it comes from.
	Source string
	// Notes are what was assumed and Sources the publications, in English; Planes what each plane gave.
	Notes, Sources []string
	// Parts is what makes the range as wide as it is.
	Parts []casejson.Part
}

func (v *view) caseNumbers(d *caseData) ([]caseNumber, error) {
	dose := d.Case.Dose
	edges, err := v.edges()
	reported := func(key string, value, least quantity.Opt[float64], missing []string, print func(float64) string) caseNumber {
		n := caseNumber{Key: key, Source: v.lang.Text("case.reported"), Notes: dose.NotBelieved}
		reason := v.lang.Text("case.not_reported")
		if len(missing) > 0 {
			reason = v.lang.Text("case.missing_for", "planes", strings.Join(missing, ", "))
		}
		if g, ok := value.Get(); ok {
			n.Value = v.measure(print(g))
		} else if g, ok := least.Get(); ok {
			n.Value, n.Range = v.lang.Text("case.at_least", "value", v.measure(print(g))), reason
		} else {
			n.Missing = reason
		}
		return n
	}
	return []caseNumber{
		v.skinNumber(d.Case.SkinDose, edges),
		reported("kerma", dose.KermaGy, dose.KermaLeastGy, dose.KermaMissing, func(g float64) string { return quantity.ShowKerma(quantity.Gray(g), edges.kerma...) }),
		reported("kap", dose.KAPGycm2, dose.KAPLeastGycm2, dose.KAPMissing, func(g float64) string {
			return quantity.ShowKAP(quantity.GraySquareMetre(g)*quantity.GraySquareCentimetre, edges.kap...)
		}),
		reported("time", dose.FluoroscopyMin, dose.FluoroscopyLeastMin, dose.FluoroscopyMissing, func(m float64) string { return quantity.ShowMinutes(quantity.Second(m) * quantity.Minute) }),
		v.effectiveNumber(d.Case.Effective),
	}, err
}

// skinNumber is the estimated peak skin dose.
func (v *view) skinNumber(s casejson.SkinDose, edges edges) caseNumber {
	n := caseNumber{Key: "psd", Source: v.lang.Text("case.method", "method", v.lang.Text("case.methods."+s.Method), "version", s.Version), Notes: s.Assumptions, Sources: s.Sources, Parts: s.Parts}
	value, ok := s.ValueGy.Get()
	if !ok {
		n.Missing = s.Reason
		return n
	}
	text, low, high, unit := quantity.ShowSkin(quantity.Gray(value), quantity.Gray(s.LowGy.Or(value)), quantity.Gray(s.HighGy.Or(value)), edges.psd...)
	n.Value = v.measure(text + " " + unit)
	if s.LowerBound {
		n.Value = v.lang.Text("case.at_least", "value", n.Value)
	}
	if s.LowGy.Present() && s.HighGy.Present() {
		n.Range = v.lang.Text("case.range", "low", v.measure(low), "high", v.measure(high+" "+unit))
	}
	if s.Reason != "" {
		n.Notes = append([]string{s.Reason}, n.Notes...)
	}
	return n
}

// effectiveNumber is the effective dose by published coefficients.
func (v *view) effectiveNumber(e casejson.Effective) caseNumber {
	n := caseNumber{Key: "effective", Source: v.lang.Text("case.by_coefficients", "version", e.Version), Notes: e.Assumptions, Sources: e.Sources}
	value, ok := e.ValueMSv.Get()
	if !ok {
		n.Missing = e.Reason
		return n
	}
	print := func(mSv float64) string { return quantity.ShowEffective(quantity.Sievert(mSv) * quantity.MilliSievert) }
	n.Value = v.measure(print(value) + " mSv")
	low, okLow := e.LowMSv.Get()
	high, okHigh := e.HighMSv.Get()
	if okLow && okHigh {
		n.Range = v.lang.Text("case.range", "low", v.measure(print(low)), "high", v.measure(print(high)+" mSv"))
	}
	return n
}

// measure writes a printed number with its unit as the reader's language does, and the unit as on paper.
func (v *view) measure(printed string) string {
	return strings.ReplaceAll(strings.ReplaceAll(v.lang.Figure(printed), " Gy cm2", " Gy·cm²"), " ", "\u00a0")
}
