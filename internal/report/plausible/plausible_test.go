package plausible_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
	"afterbeam/internal/report/plausible"
)

func checked(r *procedure.Report) []string {
	var notes notebook.Notebook
	plausible.Check(r, &notes)
	var out []string
	for _, f := range notes.Findings() {
		out = append(out, f.Severity.String()+" "+f.Rule)
	}
	return out
}

// doses is a report of one plane whose events have the given kermas, in Gy, and whose total is total.
func doses(total float64, kermas ...float64) *procedure.Report {
	r := &procedure.Report{Planes: []procedure.PlaneTotal{{Plane: procedure.PlaneSingle, RefKerma: quantity.Some(quantity.Gray(total))}}}
	for _, k := range kermas {
		r.Events = append(r.Events, procedure.Event{Plane: procedure.PlaneSingle, Type: procedure.Fluoroscopy, RefKerma: quantity.Some(quantity.Gray(k))})
	}
	return r
}

func TestTotalsAgainstEvents(t *testing.T) {
	tests := map[string]struct {
		report  *procedure.Report
		want    string // "" is no Finding of total-sum
		suspect bool
	}{
		"equal":                             {doses(3, 1, 2), "", false},
		"one per cent off":                  {doses(3.03, 1, 2), "", false},
		"events rounded to 0.1":             {doses(0.25, 0.1, 0.1, 0.1), "", false},
		"five per cent missing":             {doses(3.17, 1.01, 2.01), "reduced total-sum", false},
		"events above the total":            {doses(2.02, 1.01, 1.51), "reduced total-sum", false},
		"events above twice the total":      {doses(1.01, 1.01, 1.51), "suspect total-sum", true},
		"total a thousand times the events": {doses(2520, 1.01, 1.51), "suspect total-sum", true},
		"most radiation not listed":         {doses(25.3, 1.01, 1.51), "reduced total-sum", false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			rules := checked(tt.report)
			if tt.want == "" {
				assert.NotContains(t, rules, "reduced total-sum")
				assert.NotContains(t, rules, "suspect total-sum")
			} else {
				assert.Contains(t, rules, tt.want)
			}
			assert.Equal(t, tt.suspect, tt.report.Planes[0].Suspicion.Has(procedure.SuspectKerma))
		})
	}
}

// Check gives opinions: it changes no number, whatever the numbers are.
func TestCheckChangesNoNumber(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) float64 { return rapid.Float64Range(-1e6, 1e6).Draw(t, name) }
		total, first, second := draw("total"), draw("first"), draw("second")
		kap, sid, srp, area := draw("kap"), draw("sid"), draw("srp"), draw("area")
		build := func() *procedure.Report {
			r := doses(total, first, second)
			e := &r.Events[0]
			e.KAP = quantity.Some(quantity.GraySquareMetre(kap))
			e.Mechanics.SourceToDetector = quantity.Some(quantity.Millimetre(sid))
			e.Mechanics.SourceToReference = quantity.Some(quantity.Millimetre(srp))
			e.Field.Area = quantity.Some(quantity.SquareMetre(area))
			return r
		}
		got := build()
		checked(got)
		got.Events[0].Suspicion, got.Events[1].Suspicion, got.Planes[0].Suspicion = 0, 0, 0
		assert.Equal(t, build(), got)
	})
}
