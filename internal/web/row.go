package web

import (
	"strings"

	"afterbeam/internal/httpapi"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
)

// caseRow is a case as lists show it.
type caseRow struct {
	httpapi.Procedure
	ClassTitle string
	// Kerma, KAP, Time, Peak and Effective are printed, "" where there is no number; PeakRange and EffectiveRange beside them.
	Kerma, KAP, Time, Peak, PeakRange, Effective, EffectiveRange string
	// Partial tells that kerma and KAP lack a plane.
	Partial bool
}

func rowOf(p httpapi.Procedure, e edges) caseRow {
	r := caseRow{Procedure: p, ClassTitle: classTitle(p.Class), Partial: !p.Dose.Complete}
	if v := p.Dose.KermaGy; v != nil {
		r.Kerma = quantity.ShowKerma(quantity.Gray(*v), e.kerma...)
	}
	if v := p.Dose.KapGyCm2; v != nil {
		r.KAP = quantity.ShowKAP(quantity.GraySquareMetre(*v)*quantity.GraySquareCentimetre, e.kap...)
	}
	if v := p.Dose.FluoroscopyMin; v != nil {
		r.Time = quantity.ShowMinutes(quantity.Second(*v) * quantity.Minute)
	}
	r.Peak, r.PeakRange = peakOf(p.PeakSkinDose, e)
	r.Effective, r.EffectiveRange = effectiveOf(p.EffectiveDose)
	return r
}

// effectiveOf prints an effective dose and its range.
func effectiveOf(d httpapi.Estimated) (value, between string) {
	if d.Value == nil {
		return "", ""
	}
	show := func(v *float64) string {
		if v == nil {
			return "?"
		}
		return quantity.ShowEffective(quantity.Sievert(*v) * quantity.MilliSievert)
	}
	return show(d.Value) + " mSv", show(d.Low) + " – " + show(d.High)
}

// peakOf prints an estimated skin dose and its range.
func peakOf(d httpapi.Estimated, e edges) (value, between string) {
	if d.Value == nil {
		return "", ""
	}
	low, high := *d.Value, *d.Value
	if d.Low != nil && d.High != nil {
		low, high = *d.Low, *d.High
	}
	text, from, to, unit := quantity.ShowSkin(quantity.Gray(*d.Value), quantity.Gray(low), quantity.Gray(high), e.psd...)
	if d.Low == nil || d.High == nil {
		return text + " " + unit, ""
	}
	return text + " " + unit, from + " – " + to
}

// classTitle is the class in words.
func classTitle(id string) string {
	if strings.TrimSpace(id) == "" {
		return ""
	}
	return lexicon.ClassOf(id).Title
}
