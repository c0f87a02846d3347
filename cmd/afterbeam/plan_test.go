package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/httpapi"
)

// TestPlanAgreesWithTheService asks for the plan after the second stage of the staged repair, and for the dose so far, on the
// command line and over HTTP: the same document, the same numbers.
func TestPlanAgreesWithTheService(t *testing.T) {
	reports, profiles := scenarioFolder(t)
	var stages []string
	for i, c := range demo.Cases() {
		if c.Report.Patient.ID == demo.StagedPatient {
			stages = append(stages, reports[i])
		}
	}
	require.Len(t, stages, 2)
	var want outlook.Document
	args := []string{"plan", "--zone", "UTC", "--profile", profiles, "--json", "--beam=-30/10:0.8", "--beam=60/0:0.5", "--grid", "1", "--place", "heart"}
	require.NoError(t, json.Unmarshal(ran(t, append(args, stages...)...), &want))
	require.Equal(t, 2, want.Earlier.Mapped)

	var messages bytes.Buffer
	s, err := startDemo(t.Context(), t.TempDir(), profiles, false, &messages)
	require.NoError(t, err)
	defer func() { require.NoError(t, s.stop()) }()
	require.NoError(t, s.deliver(t.Context(), stages))
	var found httpapi.PatientList
	number := []byte(`{"number":"` + demo.StagedPatient + `"}`)
	require.NoError(t, s.call(t.Context(), access.Physicist, http.MethodPost, "/v1/patients/search", "application/json", number, &found))
	require.Len(t, found.Patients, 1)
	var got outlook.Document
	body := []byte(`{"beams":[{"primary_deg":-30,"secondary_deg":10,"kerma_gy":0.8},{"primary_deg":60,"secondary_deg":0,"minutes":10,"rate_gy_per_min":0.05}],
		"grid":{"kerma_gy":1},"place":"heart"}`)
	require.NoError(t, s.call(t.Context(), access.Physicist, http.MethodPost, "/v1/patients/"+found.Patients[0].Id+"/beam-plans", "application/json", body, &got))
	assert.Equal(t, want, got)

	var doc casejson.Document
	require.NoError(t, json.Unmarshal(ran(t, append([]string{"estimate", "--zone", "UTC", "--profile", profiles, "--json"}, stages...)...), &doc))
	require.Len(t, doc.Sums, 1)
	var dose httpapi.CumulativeDose
	require.NoError(t, s.call(t.Context(), access.Physicist, http.MethodGet, "/v1/patients/"+found.Patients[0].Id+"/dose", "", nil, &dose))
	w := dose.Windows[0]
	require.NotNil(t, w.PeakSkinMappedGy, w.PeakSkinMappedMethod)
	// The same sum of the same maps; the ranges are of the same estimates.
	for _, pair := range [][2]float64{
		{doc.Sums[0].PeakSkinGy.Or(0), *w.PeakSkinMappedGy}, {doc.Sums[0].PeakSkinLowGy.Or(0), *w.PeakSkinMappedLowGy}, {doc.Sums[0].PeakSkinHighGy.Or(0), *w.PeakSkinMappedHighGy},
	} {
		assert.InDelta(t, pair[0], pair[1], 1e-12)
	}
	assert.InDelta(t, float64(got.Earlier.PeakGy), *w.PeakSkinMappedGy, 1e-12, "the plan stands on the same skin")
	assert.Equal(t, got.Earlier.Place.Region, w.PeakSkinMappedPlace.Region)
	assert.LessOrEqual(t, *w.PeakSkinMappedGy, *w.PeakSkinUpperGy)
	assert.Equal(t, 2, w.PeakSkinMappedFrom)
	assert.Len(t, w.PeakSkinShares, 2)
	assert.Equal(t, httpapi.WindowPeakSkinFlaggedMapped, w.PeakSkinFlagged)
}
