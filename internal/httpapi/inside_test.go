package httpapi_test

import (
	"context"
	"iter"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

func TestMemoryOfCallersIsBounded(t *testing.T) {
	held, values := httpapi.Remembered("a", "b", "a", "c", "a", "b")
	assert.Equal(t, 2, held)
	assert.Equal(t, []int{0, 1, 0, 3, 0, 5}, values, "b was seen longest ago when c came")
}

// hasty is a store in which somebody else adds facts between the look at the tag and the change.
type hasty struct{ *store.DB }

func (h hasty) Tag(ctx context.Context, id string) (string, error) {
	tag, err := h.DB.Tag(ctx, id)
	if err != nil {
		return tag, err
	}
	return tag, h.AddFacts(ctx, actor, id, tag, []store.Fact{{Name: "height_cm", Value: "160", Source: "s", Reason: "r"}})
}

func TestTheSlowerOfTwoChangesIsRefused(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure(own)
	token := r.physicist()
	r.rebuild(hasty{r.db})
	a := r.ask("PATCH", "/v1/procedures/"+c.ID+"/facts", token, `{"height_cm":171,"source":"chart","reason":"not in the report"}`, "If-Match", `"1-0"`)
	assert.Equal(t, 412, a.status)
	facts, err := r.db.Facts(context.Background(), c.ID)
	require.NoError(t, err)
	assert.Len(t, facts, 1)
}

// forged is a store with one audit record changed.
type forged struct{ *store.DB }

func (f forged) AuditRecords(ctx context.Context) iter.Seq2[audit.Record, error] {
	return func(yield func(audit.Record, error) bool) {
		for r, err := range f.DB.AuditRecords(ctx) {
			if r.Sequence == 2 {
				r.Reason = "something else"
			}
			if !yield(r, err) {
				return
			}
		}
	}
}

func TestAChangedAuditRecordIsFound(t *testing.T) {
	r := newRig(t, nil)
	token, _ := r.account(access.Auditor, nil)
	r.rebuild(forged{r.db})
	var v httpapi.AuditVerification
	r.ask("GET", "/v1/audit/verification", token, "").into(t, &v)
	assert.False(t, v.Sound)
	assert.Contains(t, v.Detail, "record 2 was changed")
}

func TestDamagedBytesAreNotServed(t *testing.T) {
	dir := t.TempDir()
	r := newRigIn(t, dir, nil)
	token := r.physicist()
	got := r.receipt("other object")
	name := filepath.Join(dir, "objects", got.Digest[:2], got.Digest+".gz")
	require.NoError(t, os.WriteFile(name, []byte("damaged"), 0o600))
	a := r.ask("GET", "/v1/receipts/"+got.ID+"/file", token, "")
	assert.Equal(t, 500, a.status)
	assert.Contains(t, r.log.String(), got.Digest, "the log says which")
	require.NoError(t, os.Remove(name))
	assert.Equal(t, 500, r.ask("GET", "/v1/receipts/"+got.ID+"/file", token, "").status, "a lost object is a failure and no 404")
}

func TestBodiesWithoutALength(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.BodyLimit = 1 << 20 })
	token := r.physicist()
	for path, want := range map[string]int{"/v1/reports": 413, "/v1/patients/search": 413} {
		request := httptest.NewRequest("POST", path, strings.NewReader(`{"number":"`+strings.Repeat("x", 2<<20)+`"}`))
		request.ContentLength = -1
		request.Header.Set("Authorization", "Bearer "+token)
		request.Header.Set("Content-Type", map[string]string{"/v1/reports": "application/dicom", "/v1/patients/search": "application/json"}[path])
		assert.Equal(t, want, r.send(request).status, path)
	}
}

// TestRefusalsSayWhatIsWanted shows that a refusal helps without repeating what was sent.
func TestRefusalsSayWhatIsWanted(t *testing.T) {
	r := newRig(t, nil)
	token := r.physicist()
	for _, tt := range []struct{ method, path, body, want string }{
		{"GET", "/v1/procedures?limit=0", "", "query parameter limit does not fit: wanted integer, at least 1, at most 500"},
		{"GET", "/v1/procedures?limit=many", "", "query parameter limit is not of the wanted form: integer, at least 1, at most 500"},
		{"GET", "/v1/procedures?state=over", "", "query parameter state does not fit: wanted string, one of provisional, or complete, or amended"},
		{"GET", "/v1/procedures/me", "", "path parameter id does not fit: wanted string, of the pattern ^[a-z2-7]{24}$"},
		{"GET", "/v1/procedures?rooms=x", "", "a query parameter is not known here; known are: room, class, flag, state, from, to, kerma_from_gy, peak_from_gy, order, after, limit"},
		{"POST", "/v1/patients/search", `{}`, "property number does not fit: wanted string, 1 or more characters, 64 or fewer characters"},
		{"POST", "/v1/patients/search", `{"number":"x","name":"y"}`, "body does not fit: wanted object, with the properties issuer, number (required) and no other"},
		{"POST", "/v1/patients/search", `nonsense`, "the body is not one JSON value"},
		{"POST", "/v1/patients/search", `{"number":"x"} {}`, "the body is not one JSON value"},
		{"POST", "/v1/patients/search", `[1]`, "body does not fit: wanted object, with the properties issuer, number (required) and no other"},
	} {
		a := r.ask(tt.method, tt.path, token, tt.body)
		require.Equal(t, 400, a.status, tt.path)
		var p httpapi.Problem
		a.into(t, &p)
		require.NotNil(t, p.Detail, tt.path)
		assert.Equal(t, tt.want, *p.Detail)
	}
}
