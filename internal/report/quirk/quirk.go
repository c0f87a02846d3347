// Package quirk holds the repairs of reports whose equipment writes something in a way of its own. Each repair has a
// file named by its symptom, never by a maker, and one row in All; each repair it makes is a Finding.
//
// A reader needs three things: Quirk is one repair, All lists them in the order in which they are applied, and a new one
// is a file with a function of Quirk.Repair's shape and a row here.
package quirk

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

// Quirk is one repair.
type Quirk struct {
	// Symptom names what is seen in the report; it is the rule of the Findings.
	Symptom string
	// Repair mends the report in place and writes a Finding for each thing it changed.
	Repair func(*procedure.Report, *notebook.Notebook)
}

// All lists the repairs in the order in which they are applied.
func All() []Quirk {
	return []Quirk{
		{Symptom: singlePlaneBesideA, Repair: repairSinglePlane},
		{Symptom: angleFullCircle, Repair: repairFullCircle},
		{Symptom: zeroEndAngle, Repair: repairZeroEndAngle},
		{Symptom: zeroTablePosition, Repair: repairZeroTable},
		{Symptom: filterThicknessSwapped, Repair: repairSwappedFilter},
		{Symptom: zeroDoseWhileOn, Repair: repairZeroDose},
		{Symptom: zeroTotal, Repair: repairZeroTotal},
	}
}
