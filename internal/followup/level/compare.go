package level

import (
	"fmt"
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// nominalField is the field at the skin that published levels of KAP assume.
// Source: Stecker et al 2009 J Vasc Interv Radiol 20:S263, footnote; known from memory.
const nominalField = 100 * quantity.SquareCentimetre

func compare(row Row, in Input, plainKAP bool) Result {
	r := Result{Row: row, Level: row.Value}
	switch row.Quantity {
	case PSD:
		r.peak(in)
	case Kerma:
		r.reported(number64(in.Dose.Kerma), number64(in.Dose.LeastKerma), in.KermaFactor, in.Dose.Suspicion.Has(procedure.SuspectKerma))
	case KAP:
		scaled := r.scale(in, plainKAP)
		r.reported(number64(in.Dose.KAP), number64(in.Dose.LeastKAP), in.KAPFactor, in.Dose.Suspicion.Has(procedure.SuspectKAP))
		r.Text += scaled
	case FluoroTime:
		r.reported(number64(in.Dose.FluoroTime), number64(in.Dose.LeastTime), quantity.None[float64](), false)
	case QuantityNone:
	}
	r.steps()
	return r
}

// peak compares the estimated peak skin dose. Only its range makes a level near.
func (r *Result) peak(in Input) {
	r.Basis = "estimated"
	psd, ok := in.PSD.Get()
	if !ok {
		r.State = Unknown
		r.say("no estimate of the peak skin dose: " + orUnknown(in.PSDReason))
		return
	}
	r.Value = quantity.Some(float64(psd.Value))
	r.Displayed = r.Value
	r.Method = psd.Method
	value := PSD.Print(float64(psd.Value), r.Level)
	switch {
	case float64(psd.Value) >= r.Level:
		r.State = Reached
		r.say(fmt.Sprintf("%s, method %s", value, psd.Method))
	case float64(psd.High) >= r.Level:
		r.State = Near
		r.say(fmt.Sprintf("%s, method %s; the range reaches up to %s", value, psd.Method, PSD.Print(float64(psd.High), r.Level)))
	case psd.LowerBound:
		r.State = Unknown
		r.say(value + " is a lower bound: an unknown part of what was delivered is left out")
	default:
		r.State = Below
		r.say(fmt.Sprintf("%s, method %s; the range reaches up to %s", value, psd.Method, PSD.Print(float64(psd.High), r.Level)))
	}
}

// scale sets the level of KAP for the field at the skin and says so.
func (r *Result) scale(in Input, plain bool) string {
	area, ok := in.FieldAtSkin.Get()
	switch {
	case plain:
		return "; not scaled for the field, as the site has it"
	case !ok:
		return "; plain level, since the field at the skin is not known"
	}
	r.Level = r.Row.Value * float64(area/nominalField)
	return fmt.Sprintf("; level scaled for a field of %s cm2 at the skin", quantity.Fixed(area.Cm2(), 0))
}

// reported compares a reported quantity as displayed and times a signed factor; the higher decides. What is known of an
// incomplete or disbelieved quantity can reach a level, and is otherwise unknown.
func (r *Result) reported(whole, least, factor quantity.Opt[float64], suspect bool) {
	r.Basis = "reported"
	displayed, ok := least.Get()
	if !ok {
		r.State = Unknown
		r.say("not in the report")
		return
	}
	r.Displayed, r.Value = least, least
	value := displayed
	text := r.Row.Quantity.Print(displayed, r.Level)
	if f, ok := factor.Get(); ok {
		calibrated := displayed * f
		text = fmt.Sprintf("%s displayed, %s times the signed factor %s", text, r.Row.Quantity.Print(calibrated, r.Level), quantity.Fixed(f, 3))
		if calibrated > displayed {
			value, r.Basis = calibrated, "reported times a signed factor"
			r.Value = quantity.Some(calibrated)
		}
	}
	switch {
	case value >= r.Level:
		r.State = Reached
	case suspect:
		r.State = Unknown
		text += ", not believed"
	case !whole.Present():
		r.State = Unknown
		text += " at least: a part is missing"
	default:
		r.State = Below
	}
	r.say(text)
}

// rule says whom a level with a rule is for.
func (r *Result) rule(doubt string) {
	if text := r.Row.Rule.String(); text != "" {
		r.Text += "; a level for procedures " + text
	}
	if doubt != "" {
		r.Text += "; " + doubt
	}
}

func (r *Result) say(text string) {
	r.Text = fmt.Sprintf("%s %s, level %s", r.Row.Quantity, text, r.Row.Quantity.Print(r.Level, r.Level))
}

// maxSteps ends the list of steps: no exposure of a patient passes as many, a wrong unit in a report or file may.
const maxSteps = 1000

// steps lists the repetitions of a stepped level that the value passed: first, first + step and so on.
func (r *Result) steps() {
	v, ok := r.Value.Get()
	if !ok || r.Row.Step <= 0 || v < r.Level {
		return
	}
	step := r.Row.Step * r.Level / r.Row.Value
	// A step counts when value >= level + n step, computed without adding up rounding.
	n := int(min(math.Floor((v-r.Level)/step+1e-12), maxSteps-1))
	for i := range n + 1 {
		r.Passed = append(r.Passed, r.Level+float64(i)*step)
	}
}

// number64 gives a value as a plain number in its canonical unit.
func number64[T ~float64](o quantity.Opt[T]) quantity.Opt[float64] {
	v, ok := o.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(float64(v))
}

func orUnknown(reason string) string {
	if reason == "" {
		return "the reason is not known"
	}
	return reason
}
