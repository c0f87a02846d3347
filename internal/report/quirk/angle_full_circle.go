package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

const angleFullCircle = "angle-full-circle"

// repairFullCircle turns angles counted from 0 to 360 into those of PS3.3 C.8.7.5: primary -180 to 180, secondary -90 to
// 90. What lies outside both ranges stays for the checks. An arc between turned angles runs through 0, the usual way of
// a C-arm.
func repairFullCircle(r *procedure.Report, notes *notebook.Notebook) {
	for i := range r.Events {
		e := &r.Events[i]
		m := &e.Mechanics
		for _, a := range []struct {
			name  string
			at    *quantity.Opt[quantity.Degree]
			above quantity.Degree
		}{
			{"Positioner Primary Angle", &m.Primary, 180},
			{"Positioner Primary End Angle", &m.PrimaryEnd, 180},
			{"Positioner Secondary Angle", &m.Secondary, 270},
			{"Positioner Secondary End Angle", &m.SecondaryEnd, 270},
		} {
			v, ok := a.at.Get()
			if !ok || v > 360 || v < a.above || (a.above == 180 && v == 180) {
				continue
			}
			*a.at = quantity.Some(v - 360)
			notes.Add(angleFullCircle, procedure.Repaired, notebook.EventPlace(i, e).Of(a.name),
				"an angle counted from 0 to 360 found; turned into -180 to 180, an arc then runs through 0")
		}
	}
}
