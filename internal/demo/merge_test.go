package demo_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/procedure"
)

func reports() []procedure.Report {
	var list []procedure.Report
	for _, c := range demo.Cases() {
		list = append(list, c.Report)
	}
	return list
}

func TestMergeGivesOneCompleteProcedureACase(t *testing.T) {
	list := reports()
	got := procedure.Merge(list)
	require.Len(t, got, len(list))
	byStudy := map[string]procedure.Procedure{}
	for _, p := range got {
		byStudy[p.StudyUID] = p
	}
	for _, r := range list {
		p, ok := byStudy[r.StudyUID]
		require.True(t, ok)
		assert.Equal(t, procedure.Complete, p.State)
		assert.Len(t, p.Events, len(r.Events))
		assert.Empty(t, p.Superseded)
		assert.Len(t, p.Totals, len(r.Planes))
		assert.Equal(t, r.Purpose, p.Purpose)
		assert.Empty(t, p.Linked)
		for i := range r.Planes {
			assert.Equal(t, r.Planes[i].RefKerma, p.Totals[i].RefKerma)
			assert.Equal(t, r.Planes[i].KAP, p.Totals[i].KAP)
		}
		worst := procedure.Note
		if len(r.Events) == 0 {
			worst = procedure.Reduced // totals alone are a weaker result, and the finding says so
		}
		for _, f := range p.Findings {
			assert.LessOrEqual(t, f.Severity, worst, "%s: %+v", r.Study.Description, f)
		}
	}
	one, two := byStudy[report(t, stageOne).StudyUID], byStudy[report(t, stageTwo).StudyUID]
	assert.NotEqual(t, one.StudyUID, two.StudyUID)
	assert.Equal(t, one.Patient.ID, two.Patient.ID)
}

func TestMergeOfEveryReportTwiceChangesNothing(t *testing.T) {
	once := procedure.Merge(reports())
	twice := procedure.Merge(append(reports(), reports()...))
	require.Len(t, twice, len(once))
	for i := range once {
		assert.Equal(t, once[i].Events, twice[i].Events)
		assert.Equal(t, once[i].Totals, twice[i].Totals)
	}
}
