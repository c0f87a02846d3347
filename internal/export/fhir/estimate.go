package fhir

import (
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode"

	"afterbeam/internal/physics/organ"
	"afterbeam/internal/quantity"
)

// Caution goes with every estimate.
const Caution = "Estimate with a range from the dose report, not a measurement. It informs people and decides nothing: below a level injury is " +
	"possible. The medical physicist, licensed practice and local rules come first."

// notBoth is said where the same dose is told by two methods.
const notBoth = "Told by two methods, by coefficients and for the procedure's own beams: neither corrects the other, and they are never added."

// Estimates writes the estimates of a case. What could not be estimated is there without a value and with the reason; organ
// doses that were not computed yet are left out.
func Estimates(c Case) []*Observation { return writer{Case: c}.estimates() }

// Observations writes the summary, where the profile can be met, and the estimates.
func Observations(c Case) []*Observation {
	w := writer{Case: c}
	if s, err := w.summary(); err == nil {
		return append([]*Observation{s}, w.estimates()...)
	}
	return w.estimates()
}

func (w writer) estimates() []*Observation {
	all := []*Observation{w.peak(), w.effective()}
	if w.Organs != nil || w.OrgansReason != "" {
		all = append(all, w.organs())
	}
	if w.Organs != nil {
		all = append(all, w.ownBeams())
	}
	return all
}

// estimate begins an estimate.
func (w writer) estimate(part, version string, made time.Time) *Observation {
	o := &Observation{
		Header:     w.header("Observation", part, version, made),
		Identifier: []Identifier{w.identified(part)},
		PartOf:     w.study(), Status: w.status(w.Reissued), Code: codeOf(part), Subject: w.subject(), Focus: w.study(),
		EffectiveDateTime: w.start(), Issued: instant(made),
	}
	if len(w.Unmet()) == 0 {
		o.DerivedFrom = []Reference{w.to("Observation", PartSummary)}
	} else {
		o.DerivedFrom = w.study()
	}
	return o
}

// method says how an estimate was made.
func (w writer) method(name, version string) *Concept {
	if name == "" {
		return nil
	}
	m := own("method-"+slug(name), name)
	m.Text = name + ", version " + version + ", by afterbeam " + clean(w.Program)
	return &m
}

// span is the range of an estimate as a component.
func span(code, of, low, high, unit string) Component {
	return Component{
		Code:       own(code, of+", from low to high: two standard deviations each way"),
		ValueRange: &Range{Low: quantityOf(Decimal(low), unit, unit), High: quantityOf(Decimal(high), unit, unit)},
	}
}

func notes(all ...string) []Annotation {
	var list []Annotation
	for _, text := range all {
		if text = clean(text); text != "" {
			list = append(list, Annotation{text})
		}
	}
	return list
}

// without leaves the value out and says why.
func (o *Observation) without(reason string) {
	if reason = clean(reason); reason == "" {
		reason = "not known"
	}
	o.DataAbsentReason = absent("unknown", reason)
}

func (w writer) peak() *Observation {
	e := w.Assessment.SkinDose
	o := w.estimate(PartPeak, strconv.Itoa(w.Version), w.MadeAt)
	value, ok := e.Value.Get()
	if !ok {
		o.without(e.Reason)
		o.Note = notes(Caution)
		return o
	}
	o.Method = w.method(string(e.Method), e.Version)
	v, low, high, unit := quantity.ShowSkin(value, e.Low.Or(value), e.High.Or(value), w.Assessment.Levels.Edges().PSD...)
	o.ValueQuantity = quantityOf(Decimal(v), unit, unit)
	o.Component = []Component{span("range-of-peak-skin-dose", "Range of the estimated peak skin dose", low, high, unit)}
	bound := ""
	if e.LowerBound {
		bound = "A part of what was delivered is in no value and no total: the dose may lie above the range."
	}
	o.Note = notes(Caution, bound, e.Reason, listed("Assumed", e.Assumptions))
	return o
}

// effectiveCode is the effective dose by a method.
func effectiveCode(part, text string) Concept {
	c := own(part, text)
	c.Coding = append([]Coding{{System: systemDCM, Code: "113839", Display: "Effective Dose"}}, c.Coding...)
	return c
}

func (w writer) effective() *Observation {
	e := w.Assessment.Effective
	o := w.estimate(PartEffective, strconv.Itoa(w.Version), w.MadeAt)
	value, ok := e.Value.Get()
	if !ok {
		o.without(e.Reason)
		o.Note = notes(Caution, e.Caution)
		return o
	}
	o.Method = w.method(e.Method, e.Version)
	o.ValueQuantity = quantityOf(Decimal(quantity.ShowEffective(value)), unitMSv, unitMSv)
	o.Component = []Component{span("range-of-effective-dose", "Range of the estimated effective dose",
		quantity.ShowEffective(e.Low.Or(value)), quantity.ShowEffective(e.High.Or(value)), unitMSv)}
	both := ""
	if w.Organs != nil {
		both = notBoth
	}
	o.Note = notes(Caution, e.Caution, both, e.Reason, listed("Assumed", e.Assumptions))
	return o
}

// listed joins a list to a sentence.
func listed(what string, all []string) string {
	if len(all) == 0 {
		return ""
	}
	return what + ": " + strings.Join(all, "; ") + "."
}

// organVersion tells organ doses apart that were computed of one version of a case.
func (w writer) organVersion() string {
	if w.OrgansAt.IsZero() {
		return strconv.Itoa(w.Version)
	}
	return fmt.Sprintf("%d-%d", w.Version, w.OrgansAt.Unix())
}

func (w writer) organs() *Observation {
	o := w.estimate(PartOrgans, w.organVersion(), w.OrgansAt)
	if w.Organs == nil {
		o.without(w.OrgansReason)
		o.Note = notes(Caution, organ.Caution)
		return o
	}
	o.Method = w.method(w.Organs.Method, w.Organs.Version)
	for _, d := range w.Organs.Organs {
		o.Component = append(o.Component, organComponents(d)...)
	}
	o.Note = notes(Caution, w.Organs.Caution, organ.UterusCaution, organ.LensCaution, listed("Assumed", w.Organs.Assumptions))
	return o
}

// organComponents tell an organ's dose and, where there is one, its range. A far organ has an upper bound alone.
func organComponents(d organ.Dose) []Component {
	mGy := func(g quantity.Gray) string { return quantity.Figures(float64(g/quantity.MilliGray), 2) }
	code, text := "organ-dose-"+slug(d.Organ), "Mean absorbed dose of an organ: "+d.Organ
	if below, ok := d.Below.Get(); ok {
		q := quantityOf(Decimal(mGy(below)), unitMGy, unitMGy)
		q.Comparator = "<"
		return []Component{{Code: own(code, text), ValueQuantity: q}}
	}
	value, ok := d.Value.Get()
	if !ok {
		return []Component{{Code: own(code, text), DataAbsentReason: absent("unknown", "not computed")}}
	}
	return []Component{
		{Code: own(code, text), ValueQuantity: quantityOf(Decimal(mGy(value)), unitMGy, unitMGy)},
		span("range-of-"+code, "Range of the dose of "+d.Organ, mGy(d.Low.Or(value)), mGy(d.High.Or(value)), unitMGy),
	}
}

func (w writer) ownBeams() *Observation {
	e := w.Organs.Effective
	o := w.estimate(PartOwnBeams, w.organVersion(), w.OrgansAt)
	o.Method = w.method(w.Organs.Method, w.Organs.Version)
	o.ValueQuantity = quantityOf(Decimal(quantity.ShowEffective(e.Value)), unitMSv, unitMSv)
	o.Component = []Component{span("range-of-effective-dose", "Range of the effective dose", quantity.ShowEffective(e.Low), quantity.ShowEffective(e.High), unitMSv)}
	o.Note = notes(Caution, w.Organs.Caution, notBoth, "Tissue weights of "+e.Weights.String()+".", listed("Assumed", w.Organs.Assumptions))
	return o
}

// slug makes a code of a name: small letters, digits and hyphens.
func slug(name string) string {
	return strings.Join(strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r > unicode.MaxASCII || !unicode.IsLetter(r) && !unicode.IsDigit(r) }), "-")
}
