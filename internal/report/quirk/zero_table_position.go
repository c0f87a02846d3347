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
	absent := quantity.None[quantity.Millimetre]()
	startZero, endZero := true, true
	for i := range r.Events {
		m := &r.Events[i].Mechanics
		startZero = startZero && zeroOrAbsent(m.TableLongitudinal) && zeroOrAbsent(m.TableLateral) && zeroOrAbsent(m.TableHeight)
		endZero = endZero && zeroOrAbsent(m.TableLongitudinalEnd) && zeroOrAbsent(m.TableLateralEnd) && zeroOrAbsent(m.TableHeightEnd)
	}
	for i := range r.Events {
		e := &r.Events[i]
		m := &e.Mechanics
		place := notebook.EventPlace(i, e)
		if startZero && (m.TableLongitudinal.Present() || m.TableLateral.Present() || m.TableHeight.Present()) {
			m.TableLongitudinal, m.TableLateral, m.TableHeight = absent, absent, absent
			notes.Add(zeroTablePosition, procedure.Reduced, place.Of("Table Position"),
				"table positions of 0 on every event; taken as absent")
		}
		if endZero && (m.TableLongitudinalEnd.Present() || m.TableLateralEnd.Present() || m.TableHeightEnd.Present()) {
			m.TableLongitudinalEnd, m.TableLateralEnd, m.TableHeightEnd = absent, absent, absent
			notes.Add(zeroTablePosition, procedure.Reduced, place.Of("Table End Position"),
				"table end positions of 0 on every event; taken as absent")
		}
	}
}
