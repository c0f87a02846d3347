package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

const singlePlaneBesideA = "single-plane-beside-a"

// repairSinglePlane reads Single Plane as Plane B where the report has Plane A but nothing of Plane B: single plane
// equipment has no Plane A, so the other one is meant.
func repairSinglePlane(r *procedure.Report, notes *notebook.Notebook) {
	seen := map[procedure.Plane]bool{}
	for i := range r.Events {
		seen[r.Events[i].Plane] = true
	}
	totals := map[procedure.Plane]bool{}
	for _, t := range r.Planes {
		totals[t.Plane] = true
	}
	const text = "Single Plane found in a report of Plane A; read as Plane B"
	if seen[procedure.PlaneA] && seen[procedure.PlaneSingle] && !seen[procedure.PlaneB] {
		for i := range r.Events {
			if e := &r.Events[i]; e.Plane == procedure.PlaneSingle {
				e.Plane = procedure.PlaneB
				notes.Add(singlePlaneBesideA, procedure.Repaired, notebook.EventPlace(i, e).Of("Acquisition Plane"), text)
			}
		}
	}
	if totals[procedure.PlaneA] && totals[procedure.PlaneSingle] && !totals[procedure.PlaneB] {
		for i := range r.Planes {
			if t := &r.Planes[i]; t.Plane == procedure.PlaneSingle {
				t.Plane = procedure.PlaneB
				notes.Add(singlePlaneBesideA, procedure.Repaired, notebook.TotalPlace(t).Of("Acquisition Plane"), text)
			}
		}
	}
}
