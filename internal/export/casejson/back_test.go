package casejson_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure"
)

// What is kept of each case of the demonstration gives back the assessment: written once more it is the same case.
func TestAssessmentsComeBack(t *testing.T) {
	m := assessment.Default()
	m.Profiles, m.RangePoints = demo.Profiles(), 8
	var reports []procedure.Report
	for _, c := range demo.Cases() {
		reports = append(reports, c.Report)
	}
	all := procedure.Merge(reports)
	require.Greater(t, len(all), 5)
	for _, p := range all {
		a := m.Assess(p, procedure.Facts{})
		written, err := casejson.Marshal(a)
		require.NoError(t, err)
		var c casejson.Case
		require.NoError(t, json.Unmarshal(written, &c))
		body, err := archive.Procedure(archive.Case{Procedure: a.Procedure, Facts: a.Facts})
		require.NoError(t, err)
		kept, err := archive.ReadProcedure(body)
		require.NoError(t, err)
		k := casejson.Kept{Procedure: kept.Procedure, Facts: kept.Facts}
		if a.SkinDose.Map != nil {
			drawn, err := archive.Map(a, m.MaxPatch)
			require.NoError(t, err)
			picture, err := archive.ReadMap(drawn)
			require.NoError(t, err)
			k.Map = picture.Map
		}
		back, err := c.Assessment(k, m.Levels)
		require.NoError(t, err)
		again, err := casejson.Marshal(back)
		require.NoError(t, err)
		assert.JSONEq(t, string(written), string(again))
		assert.Equal(t, a.Levels.Edges(), back.Levels.Edges())
		assert.Equal(t, a.SkinDose.Peak, back.SkinDose.Peak)
	}
}

func TestOtherWordsAreNoCase(t *testing.T) {
	for name, c := range map[string]casejson.Case{
		"knowledge": {SkinDose: casejson.SkinDose{Knowledge: "thorough"}},
		"state":     {SkinDose: casejson.SkinDose{Knowledge: "typical"}, Levels: casejson.Levels{State: "fine"}},
		"event":     {SkinDose: casejson.SkinDose{Knowledge: "typical", Contributions: []casejson.Contribution{{Event: "none"}}}},
		"weights":   {SkinDose: casejson.SkinDose{Knowledge: "typical"}, Effective: casejson.Effective{Parts: []casejson.Share{{Weights: "own"}}}},
		"severity":  {SkinDose: casejson.SkinDose{Knowledge: "typical"}, Findings: []casejson.Finding{{Severity: "odd"}}},
	} {
		_, err := c.Assessment(casejson.Kept{}, assessment.Default().Levels)
		assert.Error(t, err, name)
	}
}
