package plausible

import (
	"time"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// identity looks for repeated event UIDs, repeated totals and the order in time. Nothing is left out: joining equal
// events is the matter of the procedure.
func identity(r *procedure.Report, notes *notebook.Notebook) {
	type key struct {
		uid   string
		plane procedure.Plane
	}
	uids, keys := map[string]int{}, map[key]int{}
	var last time.Time
	for i := range r.Events {
		e := &r.Events[i]
		at := notebook.EventPlace(i, e)
		if e.UID != "" {
			switch {
			case keys[key{e.UID, e.Plane}] > 0:
				notes.Add("event-uid-repeated", procedure.Reduced, at.Of("Irradiation Event UID"), "the UID and plane occur again in this report; all are kept")
			case uids[e.UID] > 0:
				notes.Add("event-uid-planes", procedure.Note, at.Of("Irradiation Event UID"), "one UID for the events of two planes; both are kept")
			}
			uids[e.UID]++
			keys[key{e.UID, e.Plane}]++
		}
		if !e.Start.IsZero() {
			if e.Start.Time.Before(last) {
				notes.Add("event-order", procedure.Note, at.Of("DateTime Started"), "the events are not in the order of time")
			}
			last = e.Start.Time
		}
	}
	totals := map[procedure.Plane]int{}
	for i := range r.Planes {
		t := &r.Planes[i]
		if totals[t.Plane]++; totals[t.Plane] == 2 {
			notes.Add("total-repeated", procedure.Reduced, notebook.TotalPlace(t), "more than one accumulated dose for the plane; all are kept")
		}
	}
}
