package httpapi_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// TestEveryListRefusesACursorThatItNeverGave asks every list of the contract. An empty page would look like the last one.
func TestEveryListRefusesACursorThatItNeverGave(t *testing.T) {
	r := newRig(t, nil)
	r.procedure(own)
	recomputation, err := r.db.Recompute(context.Background(), actor, store.Recomputation{Reason: "a test"})
	require.NoError(t, err)
	spec, err := httpapi.GetSpec()
	require.NoError(t, err)
	unknown := map[string]string{"string": strings.Repeat("a", 24), "integer": "1000000"}
	asked := 0
	for path, item := range spec.Paths.Map() {
		if item.Get == nil {
			continue
		}
		p := item.Get.Parameters.GetByInAndName(openapi3.ParameterInQuery, "after")
		if p == nil {
			continue
		}
		asked++
		role := access.Physicist
		if strings.HasPrefix(path, "/v1/audit") {
			role = access.Auditor
		}
		token, _ := r.account(role, nil)
		path = strings.Replace(path, "{id}", recomputation.ID, 1)
		path += "?"
		if item.Get.Parameters.GetByInAndName(openapi3.ParameterInQuery, "to") != nil {
			path += "from=2026-09-01&to=2026-09-30&"
		}
		assert.Equal(t, 200, r.ask("GET", path, token, "").status, path)
		a := r.ask("GET", path+"after="+unknown[p.Schema.Value.Type.Slice()[0]], token, "")
		assert.Equal(t, 400, a.status, path)
		assert.Contains(t, string(a.body), "cursor", path)
	}
	assert.Greater(t, asked, 8)

	// Who follows the audit record asks behind its end.
	token, _ := r.account(access.Auditor, nil)
	var page httpapi.AuditPage
	r.ask("GET", "/v1/audit?limit=500", token, "").into(t, &page)
	last := page.Records[len(page.Records)-1].Sequence
	assert.Equal(t, 200, r.ask("GET", fmt.Sprintf("/v1/audit?after=%d", last), token, "").status)
}
