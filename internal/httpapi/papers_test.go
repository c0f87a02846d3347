package httpapi_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
)

// papers makes papers of a few bytes.
type papers struct{ db *store.DB }

func (p papers) Make(ctx context.Context, actor store.Actor, caseID string, ask httpapi.PaperAsk) (store.Paper, error) {
	switch {
	case ask.Language == "xx":
		return store.Paper{}, fmt.Errorf("%w: there is no language", paper.ErrRefused)
	case len(ask.Recipient) > 0:
		return store.Paper{}, fmt.Errorf("line 1 of the recipient: %w", paperpdf.Drawable(ask.Recipient[0]))
	}
	return p.db.MakePaper(ctx, actor, store.Paper{CaseID: caseID, Version: 1, Kind: ask.Kind, Language: "en", Size: "a4"}, func(made store.Paper) (pdf, html []byte, err error) {
		return []byte("%PDF of " + made.ID + " by " + ask.By), []byte("<p>" + made.ID), nil
	})
}

func TestPapers(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure("Hybrid 1")
	token, account := r.account(access.Physicist, nil)
	path := "/v1/procedures/" + c.ID + "/papers"
	before := r.head()
	got := r.ask(http.MethodPost, path, token, `{"kind":"patient-sheet"}`)
	require.Equal(t, http.StatusCreated, got.status, "%s", got.body)
	var made httpapi.Paper
	require.NoError(t, json.Unmarshal(got.body, &made))
	assert.Equal(t, []any{c.ID, httpapi.PatientSheet, "en", account.ID}, []any{made.ProcedureId, made.Kind, made.Language, made.MadeBy})

	var list httpapi.PaperList
	require.NoError(t, json.Unmarshal(r.ask(http.MethodGet, path, token, "").body, &list))
	assert.Equal(t, []httpapi.Paper{made}, list.Papers)

	for form, contentType := range map[string]string{"": "application/pdf", "?format=pdf": "application/pdf", "?format=html": "text/html; charset=utf-8"} {
		got := r.ask(http.MethodGet, path+"/"+made.Id+form, token, "")
		require.Equal(t, http.StatusOK, got.status)
		assert.Equal(t, contentType, got.header.Get("Content-Type"))
		assert.Contains(t, string(got.body), made.Id)
		assert.Equal(t, got.body, r.ask(http.MethodGet, path+"/"+made.Id+form, token, "").body, "a reprint is the same bytes")
	}
	assert.Equal(t, []string{"paper.make " + made.Id, "papers.list " + c.ID, "paper.view " + made.Id, "paper.view " + made.Id, "paper.view " + made.Id, "paper.view " + made.Id, "paper.view " + made.Id, "paper.view " + made.Id}, r.actions(before))

	other := r.procedure("Cath 2")
	assert.Equal(t, http.StatusNotFound, r.ask(http.MethodGet, "/v1/procedures/"+other.ID+"/papers/"+made.Id, token, "").status, "of another case")
}

func TestPapersRefused(t *testing.T) {
	r := newRig(t, nil)
	c := r.procedure("Hybrid 1")
	token, _ := r.account(access.Physicist, nil)
	for name, tt := range map[string]struct {
		body, want string
		status     int
	}{
		"no such kind":        {`{"kind":"receipt"}`, "kind", 400},
		"no such language":    {`{"kind":"doctor-letter","language":"xx"}`, "there is no language", 422},
		"an undrawable name":  {`{"kind":"doctor-letter","recipient":["Dr 王"]}`, "U+738B", 422},
		"too long an address": {`{"kind":"doctor-letter","recipient":["1","2","3","4","5","6","7"]}`, "recipient", 400},
	} {
		t.Run(name, func(t *testing.T) {
			got := r.ask(http.MethodPost, "/v1/procedures/"+c.ID+"/papers", token, tt.body)
			assert.Equal(t, tt.status, got.status)
			assert.Contains(t, string(got.body), tt.want)
		})
	}
	var list httpapi.PaperList
	require.NoError(t, json.Unmarshal(r.ask(http.MethodGet, "/v1/procedures/"+c.ID+"/papers", token, "").body, &list))
	assert.Empty(t, list.Papers, "what was refused is not kept")
}
