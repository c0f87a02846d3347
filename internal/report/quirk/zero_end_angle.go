package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

const zeroEndAngle = "zero-end-angle"

// repairZeroEndAngle drops end angles of 0/0 from events that do not rotate and whose angles are not 0/0: equipment
// fills the rows although TID 10003C wants them for rotational runs only. An arc from the angle to 0 would be wrong.
func repairZeroEndAngle(r *procedure.Report, notes *notebook.Notebook) {
	for i := range r.Events {
		e := &r.Events[i]
		m := &e.Mechanics
		static := e.Type == procedure.Fluoroscopy || e.Type == procedure.Stationary || e.Type == procedure.Stepping
		if !static || !zeroOrAbsent(m.PrimaryEnd) || !zeroOrAbsent(m.SecondaryEnd) ||
			!(m.PrimaryEnd.Present() || m.SecondaryEnd.Present()) ||
			(m.Primary.Or(0) == 0 && m.Secondary.Or(0) == 0) {
			continue
		}
		m.PrimaryEnd, m.SecondaryEnd = quantity.None[quantity.Degree](), quantity.None[quantity.Degree]()
		notes.Add(zeroEndAngle, procedure.Repaired, notebook.EventPlace(i, e).Of("Positioner Primary End Angle"),
			"end angles of 0 on an event that does not rotate; taken as absent")
	}
}

func zeroOrAbsent[T ~float64](o quantity.Opt[T]) bool { return o.Or(0) == 0 }
