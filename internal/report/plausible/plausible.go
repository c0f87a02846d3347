// Package plausible looks at a report with the eyes of physics: it marks what cannot be (a Suspicion: no estimate is
// made of it, and no flag is taken away), and writes a Finding for what is missing or odd.
//
// A reader needs three things: Check does it all for one report; the bounds stand in this file; each check is a small
// function in the file of its subject (dose, technique, geometry, totals, identity, missing).
package plausible

import (
	"math"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/notebook"
)

// Bounds of what is possible (outside: suspect) and usual (outside: a Finding). Source: common practice of interventional
// fluoroscopy and the geometry of its equipment, no source.
const (
	// Field area at the reference point, KAP over air kerma.
	leastField, mostField       = 1 * quantity.SquareCentimetre, 1000 * quantity.SquareCentimetre
	smallField, largeField      = 10 * quantity.SquareCentimetre, 500 * quantity.SquareCentimetre
	fieldTolerance              = 0.20 // of the field by KAP over kerma against the collimated field
	fieldFactor                 = 2.0
	mostEventKerma, mostKerma   = quantity.Gray(20), quantity.Gray(100)
	mostEventKAP, mostKAP       = quantity.GraySquareMetre(1), quantity.GraySquareMetre(5)
	highFluoroRate              = 3.0 / 60  // Gy/s
	mostRate                    = 60.0 / 60 // Gy/s
	leastVoltage, mostVoltage   = quantity.Kilovolt(40), quantity.Kilovolt(150)
	leastDetector, mostDetector = quantity.Millimetre(700), quantity.Millimetre(1300)
	leastCentre, mostCentre     = quantity.Millimetre(500), quantity.Millimetre(900)
	nearestAny, farthestAny     = quantity.Millimetre(200), quantity.Millimetre(2500)
	techniqueTolerance          = 0.10 // between numbers that should multiply to one another
	totalTolerance              = 0.01 // totals are rounded
	totalFactor                 = 2.0  // a total below half of its events is not believed
)

// Check adds Suspicions to the report's events and totals and writes the Findings.
func Check(r *procedure.Report, notes *notebook.Notebook) {
	for i := range r.Events {
		e := &r.Events[i]
		at := notebook.EventPlace(i, e)
		eventDose(e, notes, at)
		eventTechnique(e, notes, at)
		eventGeometry(e, notes, at)
		eventMissing(r, e, notes, at)
	}
	for i := range r.Planes {
		t := &r.Planes[i]
		totalDose(t, notes, notebook.TotalPlace(t))
		totalAgainstEvents(r, t, notes, notebook.TotalPlace(t))
	}
	identity(r, notes)
	reportMissing(r, notes)
}

// differs tells whether two numbers are more than a share of the larger apart.
func differs(a, b, share float64) bool {
	return math.Abs(a-b) > share*math.Max(math.Abs(a), math.Abs(b))
}

// factor gives how many times the larger is of the smaller; both are above 0.
func factor(a, b float64) float64 { return math.Max(a/b, b/a) }
