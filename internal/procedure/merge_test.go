package procedure_test

import (
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

const tiny = 1e-12 // sums of a few numbers near 1: some roundings

func at(minute int) procedure.Moment {
	return procedure.Moment{Time: time.Date(2026, 3, 2, 9, minute, 0, 0, time.UTC)}
}

func event(uid string, plane procedure.Plane, minute int, kerma float64) procedure.Event {
	return procedure.Event{
		UID: uid, Plane: plane, Start: at(minute), Type: procedure.Fluoroscopy,
		RefKerma:  quantity.Some(quantity.Gray(kerma)),
		KAP:       quantity.Some(quantity.GraySquareMetre(kerma * 0.01)),
		Technique: procedure.Technique{Duration: quantity.Some(quantity.Second(10))},
		Place:     fmt.Sprintf("event at minute %d", minute),
	}
}

func total(plane procedure.Plane, kerma float64) procedure.PlaneTotal {
	return procedure.PlaneTotal{
		Plane: plane, RefKerma: quantity.Some(quantity.Gray(kerma)),
		KAP: quantity.Some(quantity.GraySquareMetre(kerma * 0.01)),
	}
}

func report(uid string, minute int, scope procedure.Scope, events []procedure.Event, totals ...procedure.PlaneTotal) procedure.Report {
	return procedure.Report{
		SOPInstanceUID: uid, StudyUID: "1.2.3", Device: procedure.Device{UID: "1.9.1"}, Content: at(minute),
		DataSetDigest: "data set of " + uid, ContentDigest: "content of " + uid, Scope: scope,
		Events: events, Planes: totals,
	}
}

func list(events ...procedure.Event) []procedure.Event { return events }

func one(t require.TestingT, reports ...procedure.Report) procedure.Procedure {
	got := procedure.Merge(reports)
	require.Len(t, got, 1)
	return got[0]
}

func rules(p procedure.Procedure) []string {
	var names []string
	for _, f := range p.Findings {
		names = append(names, f.Rule)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

func kerma(t require.TestingT, o quantity.Opt[quantity.Gray]) float64 {
	v, ok := o.Get()
	require.True(t, ok, "kerma is present")
	return float64(v)
}

const (
	single = procedure.PlaneSingle
	planeA = procedure.PlaneA
	planeB = procedure.PlaneB
)

func TestEventIdentity(t *testing.T) {
	a, b := event("e.1", single, 1, 0.5), event("e.1", single, 1, 0.7)
	elsewhere := event("e.1", single, 20, 0.7)
	clock := event("e.1", single, 20, 0.5)
	nameless := event("", single, 3, 0.2)
	undated := nameless
	undated.Start, undated.Place = procedure.Moment{}, "irradiation event 1"
	undated2 := undated
	undated2.Place = "irradiation event 2"
	tests := map[string]struct {
		reports    []procedure.Report
		sum        float64
		events     int
		superseded int
		rule       string
	}{
		"same key and values in two reports count once": {
			[]procedure.Report{report("r.1", 10, 0, list(a)), report("r.2", 20, 0, list(a))}, 0.5, 1, 0, "",
		},
		"same key and values twice in one report count once": {
			[]procedure.Report{report("r.1", 10, 0, list(a, a))}, 0.5, 1, 0, "event-repeated",
		},
		"other values in a later report win": {
			[]procedure.Report{report("r.1", 10, 0, list(a)), report("r.2", 20, 0, list(b))}, 0.7, 1, 1, "event-amended",
		},
		"the later content time wins, not the larger value": {
			[]procedure.Report{report("r.1", 20, 0, list(a)), report("r.2", 10, 0, list(b))}, 0.5, 1, 1, "event-amended",
		},
		"other values inside one report both count": {
			[]procedure.Report{report("r.1", 10, 0, list(a, b))}, 1.2, 2, 0, "event-uid-shared",
		},
		"a UID shared inside one report is still counted once when re-sent": {
			[]procedure.Report{report("r.1", 10, 0, list(a, b)), report("r.2", 20, 0, list(a, b, elsewhere))}, 1.9, 3, 0, "event-uid-shared",
		},
		"a UID reused for another start and dose is another irradiation": {
			[]procedure.Report{report("r.1", 10, 0, list(a)), report("r.2", 30, 0, list(elsewhere))}, 1.2, 2, 0, "event-uid-shared",
		},
		"a corrected clock is the same irradiation": {
			[]procedure.Report{report("r.1", 10, 0, list(a)), report("r.2", 30, 0, list(clock))}, 0.5, 1, 1, "event-amended",
		},
		"one UID for both planes is two events": {
			[]procedure.Report{report("r.1", 10, 0, list(event("e.1", planeA, 1, 0.5), event("e.1", planeB, 1, 0.25)))}, 0.75, 2, 0, "",
		},
		"without UID each report counts its own": {
			[]procedure.Report{report("r.1", 10, 0, list(nameless)), report("r.2", 20, 0, list(nameless))}, 0.4, 2, 0, "event-uid-missing",
		},
		"without UID the same start and values in one report count once": {
			[]procedure.Report{report("r.1", 10, 0, list(nameless, nameless))}, 0.2, 1, 0, "event-repeated",
		},
		"without UID a re-send of the same accumulation counts once": {
			[]procedure.Report{
				report("r.1", 10, procedure.ScopeToThisPoint, list(nameless)),
				report("r.2", 20, procedure.ScopeStudy, list(nameless, event("", single, 5, 0.1))),
			}, 0.3, 2, 0, "events-without-uid-resent",
		},
		"without UID and time the place in the report tells events apart": {
			[]procedure.Report{report("r.1", 10, 0, list(undated, undated2))}, 0.4, 2, 0, "event-uid-missing",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := one(t, tt.reports...)
			assert.Len(t, p.Events, tt.events)
			assert.Len(t, p.Superseded, tt.superseded)
			sum := 0.0
			for _, d := range p.Planes() {
				sum += kerma(t, d.SumKerma)
				assert.True(t, d.KermaComplete)
			}
			assert.InDelta(t, tt.sum, sum, tiny)
			if tt.rule == "" {
				assert.Empty(t, p.Findings)
			} else {
				assert.Contains(t, rules(p), tt.rule)
			}
		})
	}
}

func TestTotalsOverReports(t *testing.T) {
	e1, e2, e3 := event("e.1", single, 1, 1), event("e.2", single, 2, 2), event("e.3", single, 3, 3)
	bare := e3
	bare.RefKerma = quantity.None[quantity.Gray]()
	step := func(r procedure.Report, uid string) procedure.Report {
		r.ScopeUID = uid
		return r
	}
	const study, point, ppstep = procedure.ScopeStudy, procedure.ScopeToThisPoint, procedure.ScopeStep
	tests := map[string]struct {
		reports []procedure.Report
		want    float64
		partial bool
		rule    string
	}{
		"interim reports repeat: the largest set's total": {
			[]procedure.Report{
				report("r.1", 10, point, list(e1), total(single, 1.1)),
				report("r.2", 20, point, list(e1, e2), total(single, 3.1)),
				report("r.3", 30, study, list(e1, e2, e3), total(single, 6.1)),
			}, 6.1, false, "",
		},
		"a re-sent study report with more events": {
			[]procedure.Report{
				report("r.1", 10, study, list(e1), total(single, 1)),
				report("r.2", 20, study, list(e1, e2), total(single, 3)),
			}, 3, false, "",
		},
		"runs with their own totals add": {
			[]procedure.Report{
				report("r.1", 10, ppstep, list(e1), total(single, 1.1)),
				report("r.2", 20, ppstep, list(e2), total(single, 2.1)),
				report("r.3", 30, ppstep, list(e3), total(single, 3.1)),
			}, 6.3, false, "",
		},
		"equal sets: the later total": {
			[]procedure.Report{
				report("r.1", 20, study, list(e1), total(single, 1)),
				report("r.2", 10, study, list(e1), total(single, 1.3)),
			}, 1, false, "total-amended",
		},
		"a larger set with a smaller total is told": {
			[]procedure.Report{
				report("r.1", 10, study, list(e1), total(single, 4)),
				report("r.2", 20, study, list(e1, e2), total(single, 3)),
			}, 3, false, "total-shrinks",
		},
		"overlapping sets: what is common counts once": {
			[]procedure.Report{
				report("r.1", 10, point, list(e1, e2), total(single, 3)),
				report("r.2", 20, point, list(e2, e3), total(single, 5)),
			}, 6, false, "reports-overlap",
		},
		"a run without total adds its events": {
			[]procedure.Report{
				report("r.1", 10, ppstep, list(e1), total(single, 1.1)),
				report("r.2", 20, ppstep, list(e2)),
			}, 3.1, false, "",
		},
		"a run without total and without values leaves the total partial": {
			[]procedure.Report{
				report("r.1", 10, ppstep, list(e1), total(single, 1.1)),
				report("r.2", 20, ppstep, list(bare)),
			}, 1.1, true, "",
		},
		"totals only, same step: the later": {
			[]procedure.Report{
				step(report("r.1", 10, point, nil, total(single, 1)), "s.1"),
				step(report("r.2", 20, ppstep, nil, total(single, 3)), "s.1"),
			}, 3, false, "total-without-events",
		},
		"totals only, two steps: added": {
			[]procedure.Report{
				step(report("r.1", 10, ppstep, nil, total(single, 1)), "s.1"),
				step(report("r.2", 20, ppstep, nil, total(single, 3)), "s.2"),
			}, 4, false, "total-without-events",
		},
		"totals only for the study hold its steps": {
			[]procedure.Report{
				step(report("r.1", 10, ppstep, nil, total(single, 1)), "s.1"),
				report("r.2", 20, study, nil, total(single, 3)),
			}, 3, false, "total-without-events",
		},
		"totals only beside events of the same study: the larger": {
			[]procedure.Report{
				report("r.1", 10, study, nil, total(single, 1.5)),
				report("r.2", 20, study, list(e1), total(single, 1)),
			}, 1.5, false, "total-without-events",
		},
		"totals only of another step beside events: added": {
			[]procedure.Report{
				step(report("r.1", 10, ppstep, nil, total(single, 1.5)), "s.1"),
				step(report("r.2", 20, ppstep, list(e1), total(single, 1)), "s.2"),
			}, 2.5, false, "total-without-events",
		},
		"two totals coded alike add": {
			[]procedure.Report{report("r.1", 10, study, list(e1, e2), total(single, 1), total(single, 2))}, 3, false, "plane-totalled-twice",
		},
		"one total given twice counts once": {
			[]procedure.Report{report("r.1", 10, study, list(e1), total(single, 1), total(single, 1))}, 1, false, "plane-totalled-twice",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := one(t, tt.reports...)
			require.Len(t, p.Totals, 1)
			assert.InDelta(t, tt.want, kerma(t, p.Totals[0].RefKerma), tiny)
			assert.Equal(t, tt.partial, p.Totals[0].Partial.Has(procedure.SuspectKerma))
			if tt.rule != "" {
				assert.Contains(t, rules(p), tt.rule)
			}
		})
	}
}

func TestReportIdentity(t *testing.T) {
	base := report("r.1", 10, procedure.ScopeStudy, list(event("e.1", single, 1, 1)), total(single, 1))
	header := base
	header.DataSetDigest, header.Patient.ID = "another header", "P2"
	copied := base
	copied.SOPInstanceUID, copied.DataSetDigest = "r.9", "the copy"
	other := report("r.1", 20, procedure.ScopeStudy, list(event("e.7", single, 7, 5)), total(single, 5))
	other.DataSetDigest, other.ContentDigest = "other", "other content"
	recoded := base
	recoded.BytesDigest, recoded.TransferSyntax = "other bytes", "1.2.840.10008.1.2.1"

	tests := map[string]struct {
		second procedure.Report
		rule   string
		uids   []string
	}{
		"equal data set is a duplicate":                  {recoded, "", []string{"r.1"}},
		"another header goes to review":                  {header, "header-differs", []string{"r.1"}},
		"same content under another SOP UID":             {copied, "content-repeated", []string{"r.1", "r.9"}},
		"other content under one SOP UID raises alarm":   {other, "sop-uid-reused", []string{"r.1"}},
		"nothing more than the report itself is no rule": {base, "", []string{"r.1"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := one(t, tt.second, base)
			assert.Equal(t, tt.uids, p.ReportUIDs)
			assert.InDelta(t, 1, kerma(t, p.CaseDose().Kerma), tiny)
			assert.Equal(t, procedure.Complete, p.State)
			if tt.rule == "" {
				assert.Empty(t, p.Findings)
				return
			}
			assert.Equal(t, []string{tt.rule}, rules(p))
		})
	}
}

func TestState(t *testing.T) {
	a, changed, b := event("e.1", single, 1, 1), event("e.1", single, 1, 2), event("e.2", single, 2, 1)
	const study, point = procedure.ScopeStudy, procedure.ScopeToThisPoint
	tests := map[string]struct {
		want    procedure.State
		reports []procedure.Report
	}{
		"an interim report":                {procedure.Provisional, []procedure.Report{report("r.1", 10, point, list(a))}},
		"a study report":                   {procedure.Complete, []procedure.Report{report("r.1", 10, study, list(a))}},
		"a step report":                    {procedure.Complete, []procedure.Report{report("r.1", 10, procedure.ScopeStep, list(a))}},
		"interim, then study":              {procedure.Complete, []procedure.Report{report("r.1", 10, point, list(a)), report("r.2", 20, study, list(a, b))}},
		"study, then the same again":       {procedure.Complete, []procedure.Report{report("r.1", 10, study, list(a)), report("r.2", 20, study, list(a))}},
		"study, then more events":          {procedure.Amended, []procedure.Report{report("r.1", 10, study, list(a)), report("r.2", 20, study, list(a, b))}},
		"study, then another total":        {procedure.Amended, []procedure.Report{report("r.1", 10, study, list(a), total(single, 1)), report("r.2", 20, study, list(a), total(single, 2))}},
		"study, then another value":        {procedure.Amended, []procedure.Report{report("r.1", 10, study, list(a)), report("r.2", 20, study, list(changed))}},
		"interim, then study that changed": {procedure.Amended, []procedure.Report{report("r.1", 10, point, list(a)), report("r.2", 20, study, list(changed))}},
		"interim reports that changed":     {procedure.Provisional, []procedure.Report{report("r.1", 10, point, list(a)), report("r.2", 20, point, list(changed))}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) { assert.Equal(t, tt.want, one(t, tt.reports...).State) })
	}
}

func TestTwoRoomsOfOneStudy(t *testing.T) {
	first := report("r.1", 10, procedure.ScopeStudy, list(event("e.1", single, 1, 1)))
	second := report("r.2", 20, procedure.ScopeStudy, list(event("e.1", single, 1, 1), event("e.2", single, 2, 1)))
	second.Device.UID = "1.9.2"
	got := procedure.Merge([]procedure.Report{second, first})
	require.Len(t, got, 2)
	assert.Equal(t, []string{"1.9.2"}, got[0].Linked)
	assert.Equal(t, []string{"1.9.1"}, got[1].Linked)
	assert.Contains(t, rules(got[0]), "event-on-two-devices")
	assert.Contains(t, rules(got[1]), "event-on-two-devices")
}

func TestReportsOfTwoProcedures(t *testing.T) {
	a := report("r.1", 10, procedure.ScopeStudy, list(event("e.1", single, 1, 1)))
	b := report("r.1", 10, procedure.ScopeStudy, list(event("e.2", single, 2, 2)))
	b.StudyUID, b.DataSetDigest, b.ContentDigest = "1.2.4", "b", "b"
	got := procedure.Merge([]procedure.Report{a, b})
	require.Len(t, got, 2, "no patient's dose is lost to a SOP UID used twice")
	assert.Contains(t, rules(got[0]), "report-in-two-procedures")
	assert.Contains(t, rules(got[1]), "report-in-two-procedures")

	a.StudyUID, b.StudyUID, b.SOPInstanceUID = "", "", "r.2"
	got = procedure.Merge([]procedure.Report{a, b})
	require.Len(t, got, 2, "reports without study UID stand alone")
	assert.Contains(t, rules(got[0]), "study-uid-missing")
	assert.Empty(t, procedure.Merge(nil))
}

func TestHeaderOfProcedure(t *testing.T) {
	early := report("r.1", 10, procedure.ScopeToThisPoint, list(event("e.1", single, 4, 1)))
	early.Patient = procedure.Patient{ID: "P1", Height: quantity.Some(quantity.Millimetre(1700))}
	early.Study = procedure.Study{Description: "branched repair", ProcedureCodes: []procedure.Code{{Value: "X1", Scheme: "99SITE"}}}
	early.Persons = []procedure.Person{{Name: "A"}}
	late := report("r.2", 20, procedure.ScopeStudy, list(event("e.1", single, 4, 1), event("e.2", single, 2, 1)))
	late.Patient = procedure.Patient{ID: "P1", Sex: "F"}
	late.Persons = []procedure.Person{{Name: "A"}, {Name: "B"}}
	late.Purpose = procedure.PurposeQualityControl
	p := one(t, late, early)
	assert.Equal(t, procedure.Patient{ID: "P1", Sex: "F", Height: quantity.Some(quantity.Millimetre(1700))}, p.Patient)
	assert.Equal(t, "branched repair", p.Study.Description)
	assert.Len(t, p.Persons, 2)
	assert.Equal(t, at(2), p.Start)
	assert.Equal(t, procedure.PurposePatient, p.Purpose, "one wrong code takes no patient's flag")
	assert.Contains(t, rules(p), "purpose-mixed")

	early.Patient.ID = "P2"
	assert.Contains(t, rules(one(t, late, early)), "patient-differs")
	early.Purpose = procedure.PurposeQualityControl
	assert.Equal(t, procedure.PurposeQualityControl, one(t, late, early).Purpose)
}

// drawReports makes reports of few keys, so that all kinds of repeats and conflicts occur.
func drawReports(t *rapid.T) []procedure.Report {
	planes := []procedure.Plane{procedure.PlaneUnknown, single, planeA, planeB, procedure.PlaneAll}
	events := rapid.Custom(func(t *rapid.T) procedure.Event {
		e := event(rapid.SampledFrom([]string{"", "e.1", "e.2", "e.3"}).Draw(t, "uid"), rapid.SampledFrom(planes).Draw(t, "plane"),
			rapid.IntRange(0, 3).Draw(t, "minute"), rapid.Float64Range(0, 2).Draw(t, "kerma"))
		if rapid.IntRange(0, 4).Draw(t, "bare") == 0 {
			e.RefKerma = quantity.None[quantity.Gray]()
		}
		if rapid.IntRange(0, 4).Draw(t, "undated") == 0 {
			e.Start = procedure.Moment{}
		}
		return e
	})
	pool := rapid.SliceOfN(events, 1, 6).Draw(t, "pool")
	reports := rapid.Custom(func(t *rapid.T) procedure.Report {
		n := rapid.IntRange(0, 5).Draw(t, "n")
		var own []procedure.Event
		for i := range n {
			e := rapid.SampledFrom(pool).Draw(t, "event")
			e.Place = fmt.Sprintf("irradiation event %d", i+1)
			own = append(own, e)
		}
		var totals []procedure.PlaneTotal
		for range rapid.IntRange(0, 3).Draw(t, "totals") {
			totals = append(totals, total(rapid.SampledFrom(planes).Draw(t, "total plane"), rapid.Float64Range(0, 9).Draw(t, "total")))
		}
		scope := procedure.Scope(rapid.IntRange(0, 5).Draw(t, "scope"))
		r := report(rapid.SampledFrom([]string{"r.1", "r.2", "r.3", "r.4"}).Draw(t, "sop"), rapid.IntRange(0, 2).Draw(t, "content"), scope, own, totals...)
		r.ScopeUID = rapid.SampledFrom([]string{"", "s.1"}).Draw(t, "scope uid")
		r.StudyUID = rapid.SampledFrom([]string{"1.2.3", "1.2.3", "1.2.4", ""}).Draw(t, "study")
		r.Device.UID = rapid.SampledFrom([]string{"1.9.1", "1.9.1", "1.9.2"}).Draw(t, "device")
		r.Patient.ID = rapid.SampledFrom([]string{"P1", "P1", "P2"}).Draw(t, "patient")
		digest := rapid.SampledFrom([]string{"", "c.1", "c.2", "c.3", "c.4", "c.5"})
		r.DataSetDigest, r.ContentDigest = "", digest.Draw(t, "content digest")
		return r
	})
	return rapid.SliceOfN(reports, 1, 6).Draw(t, "reports")
}

func asText(t *rapid.T, procedures []procedure.Procedure) string {
	text, err := json.MarshalIndent(procedures, "", " ")
	require.NoError(t, err)
	return string(text)
}

func TestMergeDoesNotDependOnOrderOrRepeats(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		reports := drawReports(t)
		before, err := json.Marshal(reports)
		require.NoError(t, err)
		want := asText(t, procedure.Merge(reports))
		shuffled := rapid.Permutation(reports).Draw(t, "order")
		require.Equal(t, want, asText(t, procedure.Merge(shuffled)), "another order")
		again := append(slices.Clone(shuffled), reports...)
		require.Equal(t, want, asText(t, procedure.Merge(again)), "sent again")
		after, err := json.Marshal(reports)
		require.NoError(t, err)
		require.Equal(t, string(before), string(after), "the reports given are not changed")
	})
}

func TestNoReportedValueIsLost(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var reports []procedure.Report
		sum := 0.0
		for i := range rapid.IntRange(1, 5).Draw(t, "runs") {
			// No two runs have the same dose: under a shared UID that is read as one run with a corrected clock.
			k := float64(i) + rapid.Float64Range(0, 0.9).Draw(t, "kerma")
			sum += k
			uid := rapid.SampledFrom([]string{"", fmt.Sprint("e.", i), "e.shared"}).Draw(t, "uid")
			reports = append(reports, report(fmt.Sprint("r.", i), i, procedure.ScopeStep, list(event(uid, single, i, k)), total(single, k)))
		}
		p := one(t, reports...)
		assert.InDelta(t, sum, kerma(t, p.CaseDose().Kerma), 1e-9) // sums of five numbers below 5
	})
}
