package outlook_test

import (
	"bytes"
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// staged gives the first stage of the demonstration's repair on a coarse body.
func staged(t *testing.T) assessment.NextStage {
	t.Helper()
	var reports []procedure.Report
	for _, c := range demo.Cases() {
		if c.File == "hybrid1-branched-repair-stage1.dcm" {
			reports = append(reports, c.Report)
		}
	}
	m := assessment.Default()
	m.MaxPatch = 10
	var all []assessment.Earlier
	for _, p := range procedure.Merge(reports) {
		all = append(all, assessment.Earlier{Procedure: p})
	}
	n, err := m.NextStage(all)
	require.NoError(t, err)
	return n
}

func planned(primary, secondary quantity.Degree, kerma quantity.Gray) skindose.Planned {
	return skindose.Planned{Direction: skindose.Direction{Primary: primary, Secondary: secondary}, Kerma: kerma}
}

func TestOf(t *testing.T) {
	n := staged(t)
	ask := outlook.Ask{Beams: []skindose.Planned{planned(-30, 0, 1), planned(60, 10, 1)}, Grid: 1, Place: "heart", Field: 200}
	doc, err := outlook.Of(n, ask)
	require.NoError(t, err)
	require.Len(t, doc.Beams, 2)
	assert.GreaterOrEqual(t, doc.Beams[1].PeakGy, doc.Beams[0].PeakGy, "each beam comes after those before it")
	assert.Equal(t, n.Already.PeakDose(), doc.Earlier.PeakGy)
	assert.Len(t, doc.Grid.Outlooks, len(doc.Grid.Primary))
	assert.NotEmpty(t, doc.Assumptions)
	seen := map[string]bool{}
	for _, one := range doc.Assumptions {
		assert.False(t, seen[one], "said once: %s", one)
		seen[one] = true
	}
	narrow, err := outlook.Of(n, outlook.Ask{Beams: ask.Beams[:1], Place: "heart", Field: 60})
	require.NoError(t, err)
	assert.Less(t, narrow.Beams[0].AddsGy, doc.Beams[0].AddsGy, "a smaller field scatters less")
	nearer, err := outlook.Of(n, outlook.Ask{Beams: ask.Beams[:1], Place: "heart", Field: 200, TableDepth: quantity.Some[quantity.Millimetre](250)})
	require.NoError(t, err)
	higher, err := outlook.Of(n, outlook.Ask{Beams: ask.Beams[:1], Place: "heart", Field: 200, TableDepth: quantity.Some[quantity.Millimetre](50)})
	require.NoError(t, err)
	assert.Greater(t, nearer.Beams[0].AddsGy, higher.Beams[0].AddsGy, "a lower table brings the back nearer to the tube under it")
	far, err := outlook.Of(n, outlook.Ask{Beams: ask.Beams[:1], Place: "heart", Field: 200, Detector: 1300})
	require.NoError(t, err)
	near, err := outlook.Of(n, outlook.Ask{Beams: ask.Beams[:1], Place: "heart", Field: 200, Detector: 900})
	require.NoError(t, err)
	assert.Less(t, far.Beams[0].AddsGy, near.Beams[0].AddsGy, "the same field at a detector farther off is smaller on the skin and scatters less")
	drawn := doc.Picture(" (synthetic)")
	assert.Equal(t, "1.00 Gy more from each direction (synthetic)", drawn.Title)
	dose, ok := drawn.Dose[4][2].Get()
	require.True(t, ok)
	assert.Equal(t, doc.Grid.Outlooks[4][2].AfterGy, dose)
	assert.Empty(t, narrow.Picture("").Dose, "no grid")
	var text, again bytes.Buffer
	require.NoError(t, doc.Text(&text))
	assert.Contains(t, text.String(), outlook.Caution)
	assert.Contains(t, text.String(), "RAO 30 / cranial 0")
	same, err := outlook.Of(n, ask)
	require.NoError(t, err)
	require.NoError(t, same.Text(&again))
	assert.Equal(t, text.String(), again.String())
	encoded, err := json.Marshal(doc)
	require.NoError(t, err)
	var back outlook.Document
	require.NoError(t, json.Unmarshal(encoded, &back))
	assert.Equal(t, doc, back)
}

func TestAsk(t *testing.T) {
	one := []skindose.Planned{planned(0, 0, 1)}
	for name, ask := range map[string]outlook.Ask{
		"nothing":             {},
		"too many beams":      {Beams: make([]skindose.Planned, outlook.MostBeams+1)},
		"no kerma":            {Beams: []skindose.Planned{planned(0, 0, 0)}},
		"no number":           {Beams: []skindose.Planned{planned(quantity.Degree(math.NaN()), 0, 1)}},
		"beyond a turn":       {Beams: []skindose.Planned{planned(181, 0, 1)}},
		"a grid of too much":  {Grid: 101},
		"a field of no width": {Beams: one, Field: -1},
		"a detector afar":     {Beams: one, Detector: 9000},
		"a table above":       {Beams: one, TableDepth: quantity.Some[quantity.Millimetre](-1)},
		"a place elsewhere":   {Beams: one, Place: "elbow"},
	} {
		require.ErrorIs(t, ask.Check(), outlook.ErrAsk, name)
		assert.NotContains(t, ask.Check().Error(), "elbow", "what was asked is not repeated")
	}
	require.NoError(t, outlook.Ask{Beams: one}.Check())
	_, err := outlook.Of(assessment.NextStage{}, outlook.Ask{})
	require.ErrorIs(t, err, outlook.ErrAsk)
}

func TestPlaces(t *testing.T) {
	n := staged(t)
	for _, place := range body.Places() {
		_, known := n.Body.Site(place)
		assert.True(t, known, place)
	}
}
