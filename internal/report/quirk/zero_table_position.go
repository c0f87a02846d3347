package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

const zeroTablePosition = "zero-table-position"

// repairZeroTable takes table positions that are 0 on every event as absent: a table whose three numbers never leave
// zero is one that reports none. End positions that are 0 throughout while the table is elsewhere are absent too.
func repairZeroTable(r *procedure.Report, notes *notebook.Notebook) {
	dropZeroTable(r, notes, "Table Position", func(m *procedure.Mechanics) [3]*quantity.Opt[quantity.Millimetre] {
		return [3]*quantity.Opt[quantity.Millimetre]{&m.TableLongitudinal, &m.TableLateral, &m.TableHeight}
	})
	dropZeroTable(r, notes, "Table End Position", func(m *procedure.Mechanics) [3]*quantity.Opt[quantity.Millimetre] {
		return [3]*quantity.Opt[quantity.Millimetre]{&m.TableLongitudinalEnd, &m.TableLateralEnd, &m.TableHeightEnd}
	})
}

func dropZeroTable(r *procedure.Report, notes *notebook.Notebook, item string, at func(*procedure.Mechanics) [3]*quantity.Opt[quantity.Millimetre]) {
	for i := range r.Events {
		for _, position := range at(&r.Events[i].Mechanics) {
			if !zeroOrAbsent(*position) {
				return
			}
		}
	}
	for i := range r.Events {
		e := &r.Events[i]
		for _, position := range at(&e.Mechanics) {
			if !position.Present() {
				continue
			}
			*position = quantity.None[quantity.Millimetre]()
			notes.Add(zeroTablePosition, procedure.Reduced, notebook.EventPlace(i, e).Of(item), "0 on every event; taken as absent")
		}
	}
}
