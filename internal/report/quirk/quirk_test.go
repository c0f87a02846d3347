package quirk_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
	"afterbeam/internal/report/quirk"
)

func some[T any](v T) quantity.Opt[T] { return quantity.Some(v) }

// Every repair has the file that its symptom names.
func TestEachRepairHasItsFile(t *testing.T) {
	seen := map[string]bool{}
	for _, q := range quirk.All() {
		assert.False(t, seen[q.Symptom], q.Symptom)
		seen[q.Symptom] = true
		_, err := os.Stat(strings.ReplaceAll(q.Symptom, "-", "_") + ".go")
		assert.NoError(t, err)
	}
}

// repaired applies all repairs and gives the rules of the Findings.
func repaired(r *procedure.Report) []string {
	var notes notebook.Notebook
	for _, q := range quirk.All() {
		q.Repair(r, &notes)
	}
	var rules []string
	for _, f := range notes.Findings() {
		rules = append(rules, f.Rule)
	}
	return rules
}

func TestRepairsLeaveAReportInOrderAlone(t *testing.T) {
	event := func(plane procedure.Plane) procedure.Event {
		return procedure.Event{
			Plane: plane, Type: procedure.Rotational, RefKerma: some(quantity.Gray(0.1)), KAP: some(quantity.GraySquareMetre(0.001)),
			Filters: []procedure.Filter{{Min: some(quantity.Millimetre(0.1)), Max: some(quantity.Millimetre(0.1))}},
			Mechanics: procedure.Mechanics{
				Primary: some(quantity.Degree(180)), Secondary: some(quantity.Degree(-90)), PrimaryEnd: some(quantity.Degree(0)),
				TableHeight: some(quantity.Millimetre(0)), TableLateral: some(quantity.Millimetre(0)), TableLongitudinal: some(quantity.Millimetre(1)),
			},
		}
	}
	build := func() *procedure.Report {
		return &procedure.Report{
			Events: []procedure.Event{event(procedure.PlaneA), event(procedure.PlaneB)},
			Planes: []procedure.PlaneTotal{{Plane: procedure.PlaneA, RefKerma: some(quantity.Gray(0.1)), FluoroKerma: some(quantity.Gray(0))}},
		}
	}
	r := build()
	assert.Empty(t, repaired(r))
	assert.Equal(t, build(), r)
}

func TestRepairsAreMadeOnce(t *testing.T) {
	r := &procedure.Report{
		Events: []procedure.Event{{
			Plane: procedure.PlaneA, Type: procedure.Fluoroscopy, RefKerma: some(quantity.Gray(0)), KAP: some(quantity.GraySquareMetre(0.001)),
			Filters: []procedure.Filter{{Min: some(quantity.Millimetre(0.9)), Max: some(quantity.Millimetre(0.1))}},
			Mechanics: procedure.Mechanics{
				Primary: some(quantity.Degree(359)), PrimaryEnd: some(quantity.Degree(0)),
				TableHeight: some(quantity.Millimetre(0)),
			},
		}, {Plane: procedure.PlaneSingle, RefKerma: some(quantity.Gray(0.1))}},
		Planes: []procedure.PlaneTotal{{Plane: procedure.PlaneSingle, RefKerma: some(quantity.Gray(0))}, {Plane: procedure.PlaneA}},
	}
	assert.Equal(t, []string{
		"single-plane-beside-a", "single-plane-beside-a", "angle-full-circle", "zero-end-angle", "zero-table-position",
		"filter-thickness-swapped", "zero-dose-while-on", "zero-total",
	}, repaired(r))
	assert.Empty(t, repaired(r), "what is mended is in order")
	assert.Equal(t, procedure.PlaneB, r.Events[1].Plane)
	assert.Equal(t, some(quantity.Degree(-1)), r.Events[0].Mechanics.Primary)
	assert.False(t, r.Events[0].RefKerma.Present())
	assert.False(t, r.Planes[0].RefKerma.Present())
}
