package level

import (
	"fmt"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Estimated is an estimated peak skin dose with the high end of its range (k=2).
type Estimated struct {
	Value, High quantity.Gray
	Method      string
	// LowerBound tells that the dose may lie above High: it can reach a level and never lies below one.
	LowerBound bool
}

// Input is what a procedure, or a window of procedures, delivered. Values are unrounded.
type Input struct {
	// PSD is absent when there is no estimate; PSDReason then says why.
	PSD       quantity.Opt[Estimated]
	PSDReason string
	// Dose is the sum of the planes.
	Dose procedure.CaseDose
	// Planes are shown beside the sum; they change no state.
	Planes []procedure.PlaneDose
	// KermaFactor and KAPFactor are signed calibration factors, measured over displayed, in date. The higher of the value
	// as displayed and times the factor decides.
	KermaFactor, KAPFactor quantity.Opt[float64]
	// FieldAtSkin scales the levels of KAP, which assume 100 cm2.
	FieldAtSkin quantity.Opt[quantity.SquareMetre]
	// QualityControl is an exposure of a test object.
	QualityControl bool
	// Who decides which rows with a rule are compared.
	Who Who
}

// Result is one level compared.
type Result struct {
	Row   Row
	State State
	// Value decided, in canonical units; absent when nothing is known. Displayed is the value before a signed factor.
	Value, Displayed quantity.Opt[float64]
	// Level is the row's value, scaled for the field where that applies.
	Level float64
	// Basis says what Value is: reported, reported times a signed factor, or estimated.
	Basis string
	// Method is how an estimated value came about, "" for a reported one.
	Method string
	// Passed lists the steps of a stepped level that the value reached, in canonical units, at most a thousand.
	Passed []float64
	// Text says all of it for people, with units.
	Text string
}

// Margin gives value minus level in canonical units, absent when the value is.
func (r Result) Margin() quantity.Opt[float64] {
	v, ok := r.Value.Get()
	if !ok {
		return quantity.None[float64]()
	}
	return quantity.Some(v - r.Level)
}

// Evaluation is all levels of a set compared with one case.
type Evaluation struct {
	State   State
	Results []Result
	// Reasons say why the state is unknown.
	Reasons []string
	// Notes say what was not compared and why, and the value of each plane of several.
	Notes []string
	// Band is the tissue-reaction band of the estimated peak skin dose; HighBand that of the high end of its range.
	Band, HighBand quantity.Opt[Band]
}

// Evaluate compares every level that is on. A case is Reached or Near when any level is. It is Unknown when none of peak
// skin dose, Ka,r and KAP can be compared, when a plane's share of Ka,r or KAP is missing, or when one of them is not
// believed; a single quantity that the report lacks makes its own rows Unknown and not the case.
func Evaluate(set Set, in Input) Evaluation {
	if in.QualityControl {
		return Evaluation{State: NoFlag, Notes: []string{"quality-control exposure: no patient flag"}}
	}
	in = in.usable()
	e := Evaluation{State: Below}
	if psd, ok := in.PSD.Get(); ok {
		e.Band, e.HighBand = quantity.Some(BandOf(psd.Value)), quantity.Some(BandOf(psd.High))
	}
	doseKnown := in.PSD.Present() || in.Dose.LeastKerma.Present() || in.Dose.LeastKAP.Present()
	compared := 0
	for i := range set.Rows {
		if set.Rows[i].counts() {
			compared++
		}
	}
	e.Results = make([]Result, 0, compared)
	for _, row := range set.Rows {
		if row.counts() {
			e.compare(row, in, set.PlainKAP, doseKnown)
		}
	}
	e.Reasons = in.unknowns()
	if e.State == Below && len(e.Reasons) > 0 {
		e.State = Unknown
	}
	e.unsettled()
	e.planes(in.Planes)
	return e
}

// compare compares one row that is on, unless its rule or a known dose leaves it out.
func (e *Evaluation) compare(row Row, in Input, plainKAP, doseKnown bool) {
	ok, doubt := row.Rule.holds(in.Who)
	switch {
	case !ok && doubt != "":
		e.note(fmt.Sprintf("%s, %s: not compared, %s", row.Title, row.Rule, doubt))
		return
	case !ok:
		return
	case row.Quantity == FluoroTime && doseKnown:
		e.note(timeNote(row, in.Dose))
		return
	}
	r := compare(row, in, plainKAP)
	r.rule(doubt)
	e.Results = append(e.Results, r)
	if r.State == Reached || r.State == Near {
		e.State = min(e.State, r.State)
	}
}

// unsettled tells of a reported quantity at its level beside an estimate below its own: the estimate takes no flag away.
func (e *Evaluation) unsettled() {
	estimateBelow, reportedReached := false, false
	for _, r := range e.Results {
		switch {
		case r.Row.Quantity == PSD && r.State == Reached:
			return
		case r.Row.Quantity == PSD:
			estimateBelow = estimateBelow || r.Value.Present()
		case r.State == Reached:
			reportedReached = true
		}
	}
	if estimateBelow && reportedReached {
		e.note("a reported quantity is at its level while the estimated peak skin dose is below: the flag stays until a physicist settles it with a reason")
	}
}

func (e *Evaluation) note(text string) {
	if text != "" {
		e.Notes = append(e.Notes, text)
	}
}

// timeNote tells fluoroscopy time as information where a dose quantity exists.
func timeNote(row Row, d procedure.CaseDose) string {
	t, ok := d.LeastTime.Get()
	if !ok || float64(t) < row.Value {
		return ""
	}
	return fmt.Sprintf("fluoroscopy time %s is over the %s of %s; it counts only where no dose quantity exists",
		FluoroTime.Print(float64(t), row.Value), FluoroTime.Print(row.Value, row.Value), row.Title)
}

func (e *Evaluation) planes(planes []procedure.PlaneDose) {
	if len(planes) < 2 {
		return
	}
	for _, p := range planes {
		kerma, kap := "no Ka,r", "no KAP"
		if v, ok := p.Kerma().Get(); ok {
			kerma = "Ka,r " + Kerma.Print(float64(v), 0)
		}
		if v, ok := p.KAP().Get(); ok {
			kap = "KAP " + KAP.Print(float64(v), 0)
		}
		e.note(fmt.Sprintf("%s: %s, %s", p.Plane, kerma, kap))
	}
	e.note("levels are compared with the sum of the planes, the cautious value; only the map adds planes as skin dose")
}

// unknowns gives the reasons for which a case that reaches nothing is not below.
func (in Input) unknowns() []string {
	var why []string
	d := in.Dose
	if !in.PSD.Present() && !d.Kerma.Present() && !d.KAP.Present() {
		why = append(why, "neither peak skin dose nor Ka,r nor KAP is known")
	}
	if d.LeastKerma.Present() && !d.Kerma.Present() {
		why = append(why, fmt.Sprintf("Ka,r is missing or incomplete for %v", d.KermaMissing))
	}
	if d.LeastKAP.Present() && !d.KAP.Present() {
		why = append(why, fmt.Sprintf("KAP is missing or incomplete for %v", d.KAPMissing))
	}
	if d.Suspicion.Has(procedure.SuspectKerma) {
		why = append(why, "the reported Ka,r is not believed")
	}
	if d.Suspicion.Has(procedure.SuspectKAP) {
		why = append(why, "the reported KAP is not believed")
	}
	if psd, ok := in.PSD.Get(); ok && psd.LowerBound && !d.Kerma.Present() && !d.KAP.Present() {
		why = append(why, "the estimated peak skin dose leaves out an unknown part of what was delivered")
	}
	return why
}
