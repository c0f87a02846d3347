package httpapi_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/physics/skindose"
)

func TestBeamPlan(t *testing.T) {
	r := newRig(t, nil)
	mine := r.procedure(own)
	r.procedure(other)
	operator, _ := r.account(access.Operator, []string{own})
	path := "/v1/patients/" + mine.PatientID + "/beam-plans"
	before := r.head()
	var got httpapi.BeamPlan
	r.ask("POST", path, operator, `{"beams":[{"primary_deg":-30,"secondary_deg":5,"kerma_gy":0.8},{"primary_deg":90,"secondary_deg":0,"minutes":4,"rate_gy_per_min":0.05}],
		"grid":{"kerma_gy":2},"place":"heart"}`).into(t, &got)
	assert.Equal(t, 2, got.Earlier.Procedures, "the skin received what was given in any room")
	require.Len(t, got.Beams, 2)
	assert.Equal(t, 0.8, got.Beams[0].KermaGy)
	assert.InDelta(t, 0.2, got.Beams[1].KermaGy, 1e-15) // one product
	require.NotNil(t, got.Grid)
	assert.Nil(t, got.Grid.Outlooks[0][0], "a direction without skin")
	assert.Equal(t, 2.0, got.Grid.Outlooks[0][1].KermaGy)
	assert.Contains(t, got.Caution, "no permission and no limit")
	assert.Equal(t, []string{"plan.view " + mine.PatientID}, r.actions(before))
}

func TestMapOfAPatient(t *testing.T) {
	r := newRig(t, nil)
	mine := r.procedure(own)
	r.procedure(other)
	operator, _ := r.account(access.Operator, []string{own})
	path := "/v1/patients/" + mine.PatientID + "/map"
	before := r.head()
	a := r.ask("GET", path+"?format=png", operator, "")
	require.Equal(t, 200, a.status)
	assert.Equal(t, "image/png", a.header.Get("Content-Type"))
	assert.Equal(t, "2", string(a.body), "the skin received what was given in any room")
	assert.Equal(t, []string{"map.view " + mine.PatientID}, r.actions(before))
	r.cfg.Plans = plans{fmt.Errorf("%w: for a reason", assessment.ErrNoMap)}
	r.rebuild(r.db)
	assert.Equal(t, 409, r.ask("GET", path, operator, "").status)
}

func TestBeamPlanIsRefused(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	token := r.physicist()
	path := "/v1/patients/" + c.PatientID + "/beam-plans"
	beam := func(rest string) string { return `{"beams":[{"primary_deg":0,"secondary_deg":0` + rest + `}]}` }
	before := r.head()
	for name, body := range map[string]string{
		"nothing asked":      `{}`,
		"no kerma":           beam(``),
		"kerma twice":        beam(`,"kerma_gy":1,"minutes":1,"rate_gy_per_min":1`),
		"minutes alone":      beam(`,"minutes":1`),
		"a rate too many":    beam(`,"kerma_gy":1,"rate_gy_per_min":1`),
		"too much in all":    beam(`,"minutes":600,"rate_gy_per_min":10`),
		"too much":           beam(`,"kerma_gy":1e9`),
		"a place elsewhere":  `{"grid":{"kerma_gy":1},"place":"elbow"}`,
		"a detector afar":    `{"grid":{"kerma_gy":1},"detector_mm":9000}`,
		"a table above":      `{"grid":{"kerma_gy":1},"table_depth_mm":-10}`,
		"a field too narrow": `{"grid":{"kerma_gy":1},"field_mm":1}`,
		"too many beams":     `{"beams":[` + strings.Repeat(`{"primary_deg":0,"secondary_deg":0,"kerma_gy":1},`, 50) + `{"primary_deg":0,"secondary_deg":0,"kerma_gy":1}]}`,
	} {
		assert.Equal(t, 400, r.ask("POST", path, token, body).status, name)
	}
	assert.Equal(t, 404, r.ask("POST", "/v1/patients/aaaaaaaaaaaaaaaaaaaaaaaa/beam-plans", token, beam(`,"kerma_gy":1`)).status)
	for status, err := range map[int]error{409: assessment.ErrNoMap, 422: skindose.ErrPlan} {
		r.cfg.Plans = plans{fmt.Errorf("%w: for a reason", err)}
		r.rebuild(r.db)
		assert.Equal(t, status, r.ask("POST", path, token, beam(`,"kerma_gy":1`)).status)
	}
	assert.NotContains(t, r.actions(before), "plan.view "+c.PatientID, "nothing was shown")
}
