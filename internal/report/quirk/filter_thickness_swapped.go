package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

const filterThicknessSwapped = "filter-thickness-swapped"

// repairSwappedFilter exchanges a filter's thicknesses where the minimum is above the maximum.
func repairSwappedFilter(r *procedure.Report, notes *notebook.Notebook) {
	for i := range r.Events {
		e := &r.Events[i]
		for j := range e.Filters {
			f := &e.Filters[j]
			low, okLow := f.Min.Get()
			high, okHigh := f.Max.Get()
			switch {
			case !okLow || !okHigh || low <= high:
			case high == 0:
				// A maximum of 0 beside a thickness is one that was never filled.
				f.Max = f.Min
				notes.Add(filterThicknessSwapped, procedure.Repaired, notebook.EventPlace(i, e).Of("X-Ray Filter Thickness Maximum"),
					"thickness maximum 0 below the minimum; the minimum is taken for both")
			default:
				f.Min, f.Max = f.Max, f.Min
				notes.Add(filterThicknessSwapped, procedure.Repaired, notebook.EventPlace(i, e).Of("X-Ray Filter Thickness Minimum"),
					"thickness minimum above the maximum; exchanged")
			}
		}
	}
}
