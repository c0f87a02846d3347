package httpapi_test

import (
	"context"
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/acceptance"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

func readings(procedure, text string) string {
	return fmt.Sprintf(`{"reason":"before the site relies on it","readings":[{"procedure_id":%q,"quantity":"kar","text":%q,"unit":"Gy"}]}`, procedure, text)
}

func acceptancePath(rest, body string) func(*rig, string) (string, string, []string) {
	return func(r *rig, _ string) (string, string, []string) {
		a, err := r.db.KeepAcceptance(context.Background(), actor, store.Acceptance{Reason: "one case", Rows: []acceptance.Row{{Case: "x", State: acceptance.Agrees}}})
		require.NoError(r.t, err)
		return "/v1/acceptances/" + a.ID + rest, body, nil
	}
}

// acceptanceMatrix is the part of the matrix about comparing consoles with the service.
func acceptanceMatrix() map[string]expectation {
	return map[string]expectation{
		"GET /v1/acceptances": {roles: "p", scope: wholeSite, ask: at("/v1/acceptances"), ok: 200},
		"POST /v1/acceptances": {roles: "p", scope: wholeSite, ask: func(r *rig, room string) (string, string, []string) {
			return "/v1/acceptances", readings(r.procedure(room).ID, "5.5"), nil
		}, ok: 201},
		"GET /v1/acceptances/:id":       {roles: "p", scope: wholeSite, ask: acceptancePath("", ""), ok: 200},
		"POST /v1/acceptances/:id/sign": {roles: "p", scope: wholeSite, ask: acceptancePath("/sign", reason), ok: 200},
	}
}

func TestAConsoleIsComparedAndSigned(t *testing.T) {
	r := newRig(t, nil)
	c := r.stranger(own) // Ka,r 5.5 Gy
	author, second := r.physicist(), r.physicist()
	for name, body := range map[string]string{
		"no number": readings(c.ID, "many"), "no such procedure": readings("aaaaaaaaaaaaaaaaaaaaaaaa", "5.5"),
		"no reading": `{"reason":"nothing","readings":[]}`,
	} {
		assert.Contains(t, []int{400, 404}, r.ask("POST", "/v1/acceptances", author, body).status, name)
	}
	var made httpapi.Acceptance
	a := r.ask("POST", "/v1/acceptances", author, readings(c.ID, "5.50"))
	require.Equal(t, 201, a.status, string(a.body))
	a.into(t, &made)
	require.Len(t, made.Rows, 1)
	assert.Equal(t, httpapi.AcceptanceRowState("agrees"), made.Rows[0].State)
	assert.InDelta(t, 5.5, *made.Rows[0].Served, 1e-12, "the number as kept")
	assert.True(t, made.AllAgree)
	assert.Nil(t, made.SignedBy)
	assert.Equal(t, 409, r.ask("POST", "/v1/acceptances/"+made.Id+"/sign", author, reason).status, "one's own")
	var signed httpapi.Acceptance
	r.ask("POST", "/v1/acceptances/"+made.Id+"/sign", second, reason).into(t, &signed)
	assert.NotNil(t, signed.SignedBy)
	assert.Equal(t, 409, r.ask("POST", "/v1/acceptances/"+made.Id+"/sign", second, reason).status, "twice")
	r.ask("POST", "/v1/acceptances", author, readings(c.ID, "5.7")).into(t, &made)
	assert.False(t, made.AllAgree)
	var list httpapi.AcceptanceList
	r.ask("GET", "/v1/acceptances", author, "").into(t, &list)
	assert.Len(t, list.Acceptances, 2)
}
