package main

import (
	"context"
	"fmt"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/ingest"
	"afterbeam/internal/store"
)

// sums adds up a patient's stored cases.
type sums struct {
	method assessment.Method
	kept   interface {
		SkinSums(ctx context.Context, keys []string) (map[string][]byte, error)
		LevelsInForce(ctx context.Context) (level.Set, bool, error)
	}
}

// Sums gives the windows that end on a local day, and all time. What the procedures left on one body was worked out when
// they were assessed; where it was not for just these versions, it is unknown.
func (s sums) Sums(ctx context.Context, cases []store.Case, asOf string) ([]httpapi.WindowSum, error) {
	all, err := s.windows(ctx, cases, asOf)
	ids := map[string]string{}
	for _, c := range cases {
		ids[c.Digest] = c.ID
	}
	var out []httpapi.WindowSum
	for _, sum := range all {
		out = append(out, windowSum(sum, mappedSkin(sum, ids)))
	}
	return out, err
}

// windows gives the sums over the windows that end on a local day, the shortest first, and over all time.
func (s sums) windows(ctx context.Context, cases []store.Case, asOf string) ([]assessment.Sum, error) {
	method := s.method
	approved, is, err := s.kept.LevelsInForce(ctx)
	if err != nil {
		return nil, err
	}
	if is {
		method.Levels = approved
	}
	delivered := make([]assessment.Delivered, 0, len(cases))
	for _, c := range cases {
		delivered = append(delivered, ingest.Delivered(c))
	}
	lengths := append(assessment.Windows(), 0)
	var wanted []string
	for _, days := range lengths {
		if digests := assessment.Keys(delivered, days, asOf); len(digests) > 0 {
			wanted = append(wanted, ingest.SkinKey(digests))
		}
	}
	kept, err := s.kept.SkinSums(ctx, wanted)
	if err != nil {
		return nil, err
	}
	var broken error
	known := func(digests []string) (assessment.Laid, bool) {
		body, ok := kept[ingest.SkinKey(digests)]
		if !ok {
			return assessment.Laid{}, false
		}
		laid, err := ingest.ReadSkin(body)
		if err != nil {
			broken = err
		}
		return laid, err == nil
	}
	var out []assessment.Sum
	for _, days := range lengths {
		out = append(out, method.SumLaid(delivered, days, asOf, known))
	}
	return out, broken
}

// mappedSkin gives what the procedures of a window left on one body, with the ids of their cases.
func mappedSkin(s assessment.Sum, ids map[string]string) httpapi.MappedSkin {
	m := httpapi.MappedSkin{Method: "not worked out for the procedures of this window", Flagged: "none"}
	switch {
	case s.ByLaid:
		m.Flagged = "mapped"
	case s.SkinDose.Value.Present():
		m.Flagged = "upper bound"
	}
	if s.Procedures == 0 {
		m.Method = "no procedure"
	}
	laid, ok := s.Laid.Get()
	if !ok {
		return m
	}
	m.Value, m.Low, m.High, m.From, m.Method, m.Place = laid.Value, laid.Low, laid.High, laid.Mapped, laid.Words, laid.Place
	for _, share := range laid.Shares {
		m.Shares = append(m.Shares, httpapi.CaseShare{CaseID: ids[share.Key], Dose: share.Dose, Share: share.Share})
	}
	return m
}

func windowSum(s assessment.Sum, skin httpapi.MappedSkin) httpapi.WindowSum {
	return httpapi.WindowSum{
		Days: s.Days, From: s.From, To: s.To, Procedures: s.Procedures, Kerma: s.Kerma.Value, KermaFrom: s.Kerma.From,
		KAP: s.KAP.Value, KAPFrom: s.KAP.From, FluoroTime: s.FluoroTime.Value, FluoroTimeFrom: s.FluoroTime.From,
		Effective: s.Effective.Value, EffectiveLow: s.EffectiveLow.Value, EffectiveHigh: s.EffectiveHigh.Value, EffectiveFrom: s.Effective.From,
		PeakSkin: s.SkinDose.Value, PeakSkinHigh: s.SkinDose.High, PeakSkinFrom: s.Procedures - s.SkinDose.Unknown,
		PeakSkinMethod: s.SkinDose.Words(), Skin: skin, EffectiveMethod: s.EffectiveWords(), AtLeast: atLeast(s),
		State: s.Levels.State.String(), Flags: ingest.Flags(fmt.Sprintf("%d procedures", s.Procedures), s.Levels),
	}
}

// atLeast names the sums that lack a part.
func atLeast(s assessment.Sum) []httpapi.Quantity {
	var all []httpapi.Quantity
	for _, one := range []struct {
		name  httpapi.Quantity
		lacks bool
	}{
		{httpapi.SumOfKerma, s.KermaLacks},
		{httpapi.SumOfKAP, s.KAPLacks},
		{httpapi.SumOfTime, s.TimeLacks},
		{httpapi.SumOfEffective, s.Effective.From < s.Procedures},
		{httpapi.SumOfPeaks, s.SkinDose.LowerBound},
	} {
		if one.lacks {
			all = append(all, one.name)
		}
	}
	return all
}
