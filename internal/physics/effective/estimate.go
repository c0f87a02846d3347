package effective

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Version names the rules and the table that an Estimate was made by. It changes with either.
const Version = "effective/1"

// The methods, best first.
const (
	MethodEvents        = "events"            // every event by its own region and filter
	MethodMixed         = "events and totals" // the rest of a plane's total by the region of the procedure
	MethodTotals        = "totals"            // no event has a value
	MethodRegionUnknown = "region unknown"    // some or all by the range of the whole trunk
	MethodNone          = "none"              // no estimate; Reason says why
)

// Caution is the sentence to print beside every effective dose.
const Caution = "Effective dose belongs to a reference person, averaged over sex and age: it is an estimate with a range, " +
	"not this patient's dose or risk, and is not added up over a life. It says nothing about skin. " +
	"The medical physicist, licensed practice and local rules decide."

const (
	// adultFrom is the age from which the adult rows hold.
	adultFrom = 16.0
	// leastCovered is the share of kerma-area product that must have a coefficient for an estimate to be given: with a
	// fifth missing the number would no longer stand for the procedure. Judgement.
	leastCovered = 0.8
	// displayTolerance is the error that the display of kerma-area product may have without a signed factor, as a share
	// of the true value. Source: IEC 60601-2-43, dosimetric indications within 35 %; known from memory.
	displayTolerance = 0.35
)

// Input is what an effective dose is estimated from.
type Input struct {
	Procedure procedure.Procedure
	Facts     procedure.Facts
	// Region is the dose region of the procedure's class, one of Regions; anything else counts as unknown.
	Region string
	// EventRegion gives an event's own dose region where its target region tells one; nil when there is none to ask.
	EventRegion func(procedure.Event) (string, bool)
	// KAPFactor is a signed calibration factor that is in date on the day of the procedure.
	KAPFactor quantity.Opt[procedure.Factor]
}

// Estimate is an effective dose with its range and all that it rests on.
type Estimate struct {
	Version string `json:"version"`
	// Value, Low and High are absent with MethodNone.
	Value  quantity.Opt[quantity.Sievert] `json:"value_sv"`
	Low    quantity.Opt[quantity.Sievert] `json:"low_sv"`
	High   quantity.Opt[quantity.Sievert] `json:"high_sv"`
	Method string                         `json:"method"`
	// Reason says why there is no estimate, or what it leaves out; "" when it covers everything.
	Reason string `json:"reason,omitempty"`
	// Covered is the share of kerma-area product that has a coefficient; absent when that share cannot be known.
	Covered     quantity.Opt[quantity.Percent] `json:"covered_percent,omitzero"`
	Parts       []Part                         `json:"parts,omitempty"`
	Assumptions []string                       `json:"assumptions,omitempty"`
	Sources     []string                       `json:"sources,omitempty"`
	Caution     string                         `json:"caution"`
}

// Part is the kerma-area product that one coefficient was applied to. Value is the sum of KAP times Coefficient.
type Part struct {
	Region string `json:"region"`
	// Filter says which added filtration the coefficient is for.
	Filter string `json:"filter"`
	// FromTotals tells that it is the rest of a total, not a sum of events.
	FromTotals bool `json:"from_totals,omitempty"`
	// KAP is as displayed, times the signed factor where there is one.
	KAP         quantity.GraySquareMetre `json:"kap_gym2"`
	Coefficient Coefficient              `json:"coefficient"`
	Low         Coefficient              `json:"low"`
	High        Coefficient              `json:"high"`
	Weights     WeightSet                `json:"weights"`
	Known       string                   `json:"known"`
	Source      string                   `json:"source"`
}

// Dose estimates the effective dose of a procedure: the sum over events of kerma-area product times coefficient, eq.
// (8.1). It never fails; what stands in the way is the Reason of an Estimate without a value.
func Dose(in Input) Estimate {
	e := Estimate{Version: Version, Method: MethodNone, Caution: Caution}
	if in.Procedure.Purpose == procedure.PurposeQualityControl {
		e.Reason = "the report is about a test object, not a patient"
		return e
	}
	l := enter(in)
	e.Assumptions = l.notes
	if l.refusal != "" {
		e.Reason = l.refusal
		return e
	}
	who := personOf(in)
	factor, meter := calibration(in.KAPFactor, &e)
	lost := append([]loss(nil), l.lost...)
	for _, s := range l.shares {
		line, why := who.row(s)
		if why != "" {
			lost = append(lost, loss{kap: s.kap, why: why})
			continue
		}
		e.Parts = append(e.Parts, Part{
			Region: line.Region, Filter: filterText(s, line), FromTotals: s.fromTotals,
			KAP: s.kap * quantity.GraySquareMetre(factor), Coefficient: line.Value, Low: line.Low, High: line.High,
			Weights: line.Weights, Known: line.Known, Source: line.Source,
		})
		e.explain(s, line)
	}
	e.Assumptions = append(e.Assumptions, who.notes...)
	e.add(factor, meter, lost)
	return e
}

// explain lists the source of a line and what choosing it assumed, each once.
func (e *Estimate) explain(s share, line Row) {
	source := line.Region + ": " + line.Source + " (" + line.Known + ", " + line.Weights.String() + ")"
	if !slices.Contains(e.Sources, source) {
		e.Sources = append(e.Sources, source)
	}
	if s.region == regionUnknown {
		e.assume("dose region unknown: counted by a wide range from the extremes of the trunk; head or leg would be lower")
	}
	if line.Known == "judgement" && line.Note != "" {
		e.assume(line.Region + ": " + line.Note)
	}
	if line.Age.Present() {
		e.assume(line.Region + ": a child's coefficient by age, whatever the filter; it has ICRP 60 weights, those of ICRP 103 would give about 10 to 30 % more")
	}
}

func (e *Estimate) assume(text string) {
	if !slices.Contains(e.Assumptions, text) {
		e.Assumptions = append(e.Assumptions, text)
	}
}

// add sums the parts and sets value, range, method and what is left out.
func (e *Estimate) add(factor float64, meter band, lost []loss) {
	var used, missing quantity.GraySquareMetre
	var value, low, high quantity.Sievert
	widest := Coefficient(0)
	for _, p := range e.Parts {
		used += p.KAP
		value += p.Coefficient.Of(p.KAP)
		low += p.Low.Of(p.KAP)
		high += p.High.Of(p.KAP)
		widest = max(widest, p.High)
	}
	var reasons []string
	for _, l := range lost {
		missing += l.kap * quantity.GraySquareMetre(factor)
		if !slices.Contains(reasons, l.why) {
			reasons = append(reasons, l.why)
		}
	}
	covered := 1.0
	if missing > 0 {
		covered = float64(used / (used + missing))
	}
	e.Covered = quantity.Some(quantity.Percent(100 * covered))
	if missing > 0 || len(e.Parts) == 0 {
		e.Reason = fmt.Sprintf("%s %% of the kerma-area product has a coefficient: %s", percent(covered), strings.Join(reasons, "; "))
	}
	if covered < leastCovered || len(e.Parts) == 0 {
		e.Reason += fmt.Sprintf("; no estimate below %s %%", percent(leastCovered))
		return
	}
	e.Method = method(e.Parts)
	high += widest.Of(missing)
	e.Value = quantity.Some(value)
	e.Low, e.High = quantity.Some(meter.below(value, low)), quantity.Some(meter.above(value, high))
}

// percent prints a share that is not the whole without ever rounding it to the whole.
func percent(share float64) string {
	return quantity.Below(100*share, 0, 100*leastCovered, 100)
}

func method(parts []Part) string {
	isTotal := func(p Part) bool { return p.FromTotals }
	isEvent := func(p Part) bool { return !p.FromTotals }
	switch {
	case slices.ContainsFunc(parts, func(p Part) bool { return p.Region == regionUnknown }):
		return MethodRegionUnknown
	case !slices.ContainsFunc(parts, isTotal):
		return MethodEvents
	case slices.ContainsFunc(parts, isEvent):
		return MethodMixed
	}
	return MethodTotals
}

// band is how far the true kerma-area product may lie from the one used, as logarithms of the ratio, both positive.
type band struct{ down, up float64 }

// below and above join the spread of the coefficients, which all parts share, with the meter's in log-quadrature, eq.
// (8.4): the two have nothing to do with each other, and both act as factors.
func (b band) below(value, low quantity.Sievert) quantity.Sievert {
	if low <= 0 {
		return 0
	}
	return value * quantity.Sievert(math.Exp(-math.Hypot(math.Log(float64(value/low)), b.down)))
}

func (b band) above(value, high quantity.Sievert) quantity.Sievert {
	if value <= 0 {
		return high
	}
	return value * quantity.Sievert(math.Exp(math.Hypot(math.Log(float64(high/value)), b.up)))
}

// calibration gives the factor on the displayed kerma-area product and the meter's band.
func calibration(signed quantity.Opt[procedure.Factor], e *Estimate) (float64, band) {
	unchecked := band{down: math.Log(1 + displayTolerance), up: -math.Log(1 - displayTolerance)}
	f, ok := signed.Get()
	switch {
	case !ok:
		e.assume("no signed factor for the kerma-area product: taken as displayed, within 35 %")
		return 1, unchecked
	case !f.Believable():
		e.assume("the signed factor for the kerma-area product is not believed (want 0.1 to 10 with an uncertainty of 0 to 100 %): not applied; taken as displayed, within 35 %")
		return 1, unchecked
	case f.IncludesTable:
		// The published coefficients are per displayed product in front of the table: its attenuation is in them.
		e.assume("the signed factor for the kerma-area product was measured behind the table, which the coefficients already allow for: not applied; taken as displayed, within 35 %")
		return 1, unchecked
	}
	e.assume(fmt.Sprintf("kerma-area product times the signed factor %s, known to %s %%",
		quantity.Significant(f.Value, 3), quantity.Significant(float64(f.Uncertainty), 2)))
	two := 2 * math.Log1p(float64(f.Uncertainty)/100)
	return f.Value, band{down: two, up: two}
}
