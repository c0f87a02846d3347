package web

import (
	"slices"

	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
)

// windowRow is the sums over one window as people read them.
type windowRow struct {
	Days     int // 0 for all time
	From, To string
	State    string
	Of       int // procedures
	Sums     []figure
	// Mapped is the peak of the maps laid on one body, Upper the peaks added.
	Mapped, Upper   figure
	Reason, Added   string // how the two came about, in the interface's words
	Flagged         string
	EffectiveMethod string
}

// figure is a printed number with how many procedures are in it; "" is a number that is not there.
type figure struct {
	Text, Range string
	From        int
	// AtLeast tells that a part is missing.
	AtLeast bool
}

func (v *view) windowOf(w httpapi.Window, e edges) windowRow {
	lacks := func(name httpapi.WindowAtLeast) bool { return slices.Contains(w.AtLeast, name) }
	row := windowRow{
		To: v.day(w.To), State: string(w.State), Of: w.Procedures, Reason: w.PeakSkinMappedMethod, Added: w.PeakSkinMethod, Flagged: string(w.PeakSkinFlagged),
		EffectiveMethod: w.EffectiveMethod,
	}
	if w.Days != nil {
		row.Days = *w.Days
	}
	if w.From != nil {
		row.From = v.day(*w.From)
	}
	kerma, kap, minutes := figure{From: w.KermaFrom, AtLeast: lacks("kerma_gy")}, figure{From: w.KapFrom, AtLeast: lacks("kap_gy_cm2")}, figure{From: w.FluoroscopyFrom, AtLeast: lacks("fluoroscopy_min")}
	if x := w.KermaGy; x != nil {
		kerma.Text = quantity.ShowKerma(quantity.Gray(*x), e.kerma...)
	}
	if x := w.KapGyCm2; x != nil {
		kap.Text = quantity.ShowKAP(quantity.GraySquareMetre(*x)*quantity.GraySquareCentimetre, e.kap...)
	}
	if x := w.FluoroscopyMin; x != nil {
		minutes.Text = quantity.ShowMinutes(quantity.Second(*x) * quantity.Minute)
	}
	effective := figure{From: w.EffectiveFrom, AtLeast: lacks("effective_msv")}
	effective.Text, effective.Range = effectiveOf(httpapi.Estimated{Value: w.EffectiveMsv, Low: w.EffectiveLowMsv, High: w.EffectiveHighMsv})
	row.Sums = []figure{kerma, kap, minutes, effective}
	row.Mapped.From = w.PeakSkinMappedFrom
	row.Mapped.Text, row.Mapped.Range = peakOf(httpapi.Estimated{Value: w.PeakSkinMappedGy, Low: w.PeakSkinMappedLowGy, High: w.PeakSkinMappedHighGy}, e)
	row.Upper = figure{From: w.PeakSkinFrom, AtLeast: lacks("peak_skin_upper_gy")}
	row.Upper.Text, _ = peakOf(httpapi.Estimated{Value: w.PeakSkinUpperGy}, e)
	if high := w.PeakSkinUpperHighGy; high != nil && row.Upper.Text != "" {
		row.Upper.Range, _ = peakOf(httpapi.Estimated{Value: high}, e)
	}
	return row
}

// skinTogether is what all procedures left on one body.
type skinTogether struct {
	Peak, Range, Method string
	Region, Side, Level string
	From, Of            int
	Shares              []share
}

// share is what one procedure gave to the peak. Case is nil where it is in a room that the person does not see.
type share struct {
	Case          *caseRow
	Dose, Percent string
}

func (v *view) skinOf(w httpapi.Window, all []httpapi.Procedure, e edges) skinTogether {
	s := skinTogether{From: w.PeakSkinMappedFrom, Of: w.Procedures, Method: w.PeakSkinMappedMethod}
	s.Peak, s.Range = peakOf(httpapi.Estimated{Value: w.PeakSkinMappedGy, Low: w.PeakSkinMappedLowGy, High: w.PeakSkinMappedHighGy}, e)
	if p := w.PeakSkinMappedPlace; p != nil {
		s.Region, s.Side, s.Level = p.Region, p.Side, p.Level
	}
	for _, one := range w.PeakSkinShares {
		row := share{Percent: v.lang.Number(100*one.Share, 0)}
		row.Dose, _ = peakOf(httpapi.Estimated{Value: &one.DoseGy}, e)
		i := slices.IndexFunc(all, func(p httpapi.Procedure) bool { return one.ProcedureId != nil && p.Id == *one.ProcedureId })
		if i >= 0 {
			c := rowOf(all[i], e)
			row.Case = &c
		}
		s.Shares = append(s.Shares, row)
	}
	return s
}
