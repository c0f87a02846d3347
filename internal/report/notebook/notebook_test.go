package notebook_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/notebook"
)

func TestFindingsOfOneKindAreJoined(t *testing.T) {
	var n notebook.Notebook
	for i := range 10 {
		e := procedure.Event{Plane: procedure.PlaneA}
		n.Add("rule", procedure.Reduced, notebook.EventPlace(i, &e).Of("Dose (RP)"), "text")
	}
	e := procedure.Event{Plane: procedure.PlaneB}
	n.Add("rule", procedure.Suspect, notebook.EventPlace(2, &e).Of("Dose (RP)"), "text")
	n.Addf("other", procedure.Note, notebook.TotalPlace(&procedure.PlaneTotal{Plane: procedure.PlaneB}), "%d parts", 3)
	n.Add("other", procedure.Note, notebook.Place{}, "of the report")
	n.Add("other", procedure.Note, notebook.Place{Item: "Patient's Size"}, "of the header")
	want := []procedure.Finding{
		{Rule: "rule", Severity: procedure.Reduced, Place: "irradiation events 1, 2, 3, 4, 5, 6, 7, 8 and 2 more / Dose (RP)", Text: "text"},
		{Rule: "rule", Severity: procedure.Suspect, Place: "irradiation event 3 (plane B) / Dose (RP)", Text: "text"},
		{Rule: "other", Severity: procedure.Note, Place: "accumulated dose (plane B)", Text: "3 parts"},
		{Rule: "other", Severity: procedure.Note, Place: "report", Text: "of the report"},
		{Rule: "other", Severity: procedure.Note, Place: "report / Patient's Size", Text: "of the header"},
	}
	assert.Equal(t, want, n.Findings())
}

func TestTotalsOfPlanesStayApart(t *testing.T) {
	var n notebook.Notebook
	for _, plane := range []procedure.Plane{procedure.PlaneA, procedure.PlaneB, procedure.PlaneA} {
		n.Add("rule", procedure.Note, notebook.TotalPlace(&procedure.PlaneTotal{Plane: plane}), "text")
	}
	assert.Len(t, n.Findings(), 2)
	assert.Nil(t, new(notebook.Notebook).Findings())
}
