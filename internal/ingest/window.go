package ingest

import (
	"bytes"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// Delivered gives what a stored case delivered, for sums over a patient's cases. Its map is not read: the peaks of several
// cases add as an upper bound.
func Delivered(c store.Case) assessment.Delivered {
	d := assessment.Delivered{
		Key: c.Digest, LocalDate: c.LocalDate, QualityControl: c.Quality,
		Dose: procedure.CaseDose{LeastKerma: c.Kerma, LeastKAP: c.KAP, LeastTime: c.FluoroTime},
		PSD: skindose.Estimate{
			Method: skindose.Method(c.PSDMethod), Value: c.PSD, Low: c.PSDLow, High: c.PSDHigh, LowerBound: c.Gaps.Has(store.LowerBound),
			FieldAtSkin: c.FieldAtSkin,
		},
		Effective: c.Effective, EffectiveLow: c.EffectiveLow, EffectiveHigh: c.EffectiveHigh, EffectiveMethod: c.EffectiveMethod,
		KermaFactor: c.KermaFactor, KAPFactor: c.KAPFactor, Who: level.Who{Class: c.Class},
	}
	whole(&d.Dose.Kerma, c.Kerma, c.Gaps, store.GapKerma)
	whole(&d.Dose.KAP, c.KAP, c.Gaps, store.GapKAP)
	whole(&d.Dose.FluoroTime, c.FluoroTime, c.Gaps, store.GapTime)
	if c.Gaps.Has(store.SuspectKerma) {
		d.Dose.Suspicion |= procedure.SuspectKerma
	}
	if c.Gaps.Has(store.SuspectKAP) {
		d.Dose.Suspicion |= procedure.SuspectKAP
	}
	return d
}

func whole[T any](to *quantity.Opt[T], v quantity.Opt[T], gaps, gap store.Gaps) {
	if !gaps.Has(gap) {
		*to = v
	}
}

// gapsOf says what of an assessment is known in part or not believed.
func gapsOf(a assessment.Assessment) store.Gaps {
	var g store.Gaps
	mark := func(is bool, gap store.Gaps) {
		if is {
			g |= gap
		}
	}
	mark(!a.Dose.Kerma.Present(), store.GapKerma)
	mark(!a.Dose.KAP.Present(), store.GapKAP)
	mark(!a.Dose.FluoroTime.Present(), store.GapTime)
	mark(a.Dose.Suspicion.Has(procedure.SuspectKerma), store.SuspectKerma)
	mark(a.Dose.Suspicion.Has(procedure.SuspectKAP), store.SuspectKAP)
	mark(a.SkinDose.LowerBound, store.LowerBound)
	return g
}

// addWindow compares the sum over the patient's cases in the window that ends on the case's day, and lets it decide the
// state of the case where it is worse. It also says which other cases the sums rest on, and whose sums rest on this case.
// It gives what the patient's cases delivered, this one among them, and the sum where one was compared.
func (p *Pipeline) addWindow(v *store.Version, a assessment.Assessment, before store.Version, others []store.Case, skin *bench, levels level.Set) ([]assessment.Delivered, quantity.Opt[assessment.Sum]) {
	var compared quantity.Opt[assessment.Sum]
	v.Window.Seen = make(map[string]int, len(others))
	slices.SortFunc(others, byCase)
	own := a.Delivered()
	own.Key = ownKey
	all := []assessment.Delivered{own}
	for _, o := range others {
		v.Window.Seen[o.ID] = o.Version
		all = append(all, Delivered(o))
	}
	if was := before.Case; was.ID == "" || doseChanged(was, v.Case) || !bytes.Equal(before.Body, v.Body) || !bytes.Equal(before.Map, v.Map) {
		v.Window.Touched = []store.Span{days(v.Case.LocalDate, 0, windowDays-1)}
		if was.ID != "" && was.LocalDate != v.Case.LocalDate {
			v.Window.Touched = append(v.Window.Touched, days(was.LocalDate, 0, windowDays-1))
		}
	}
	if v.Case.Quality {
		return nil, compared
	}
	v.Window.Days = days("", 0, 0)
	if v.Case.LocalDate == "" {
		return all, compared
	}
	sum := assessment.Method{Levels: levels}.SumLaid(all, windowDays, v.Case.LocalDate, skin.lay)
	compared = quantity.Some(sum)
	if sum.Procedures < 2 {
		return all, compared
	}
	v.Flags = append(v.Flags, Flags(fmt.Sprintf("%d procedures in %d days", sum.Procedures, windowDays), sum.Levels)...)
	v.Case.FlagState = min(a.Levels.State, sum.Levels.State).String()
	return all, compared
}

// days gives the span from one number of days after a local day to another; all time without a day, since a case without
// one counts in every window.
func days(day string, from, to int) store.Span {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return store.Span{To: "9999-12-31"}
	}
	return store.Span{From: at.AddDate(0, 0, from).Format(time.DateOnly), To: at.AddDate(0, 0, to).Format(time.DateOnly)}
}
