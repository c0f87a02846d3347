package httpapi_test

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"io"
	"iter"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/audit"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

// fetched is a table as a client on the network gets it.
type fetched struct {
	status  int
	body    []byte
	trailer http.Header
	err     error
}

func (r *rig) fetch(path, token string) fetched {
	r.t.Helper()
	request, err := http.NewRequestWithContext(context.Background(), http.MethodGet, "http://"+r.listen(time.Minute)+path, nil)
	require.NoError(r.t, err)
	request.Header.Set("Authorization", "Bearer "+token)
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	answer, err := client.Do(request)
	if err != nil {
		return fetched{err: err}
	}
	body, err := io.ReadAll(answer.Body)
	require.NoError(r.t, answer.Body.Close())
	return fetched{answer.StatusCode, body, answer.Trailer, err}
}

func TestExportOfProcedures(t *testing.T) {
	r := newRig(t, nil)
	one := r.procedure("Hybrid 1")
	r.stranger("Cath 2")
	token := r.physicist()
	head := r.head()
	got := r.fetch("/v1/exports/procedures", token)
	require.Equal(t, 200, got.status, string(got.body))
	require.NoError(t, got.err)
	sum := sha256.Sum256(got.body)
	assert.Equal(t, []string{"2", "sha-256=:" + base64.StdEncoding.EncodeToString(sum[:]) + ":"}, []string{got.trailer.Get("Table-Rows"), got.trailer.Get("Content-Digest")})
	for _, secret := range append(planted(), one.StudyUID) {
		assert.NotContains(t, string(got.body), secret, "no identifier unless it is asked for")
	}
	rows := witness.Rows(t, got.body)
	require.Len(t, rows, 2)
	for _, row := range rows {
		if row["procedure_id"] == one.ID {
			assert.Equal(t, []string{"2026-09-14", "Hybrid 1", "evar", "5.500000", "500.0000", "", "not reported", "reached", "31.0000"},
				[]string{row["day"], row["room"], row["class"], row["ka_r_gy"], row["kap_gy_cm2"], row["ft_s"], row["ft_s_absent"], row["level_state"], row["e_msv"]})
			assert.Regexp(t, `^patient-[a-z2-7]{10}$`, row["patient"])
		}
	}
	said := r.recordsAfter(head)
	require.Len(t, said, 2)
	assert.Equal(t, []string{"table.export", "procedures without identifiers", "begun"}, []string{said[0].Action, said[0].Object, said[0].Outcome})
	assert.Contains(t, said[1].After, "2 rows, sha256 ")
	narrow := witness.Rows(t, r.fetch("/v1/exports/procedures?room=Cath+2&from=2026-09-14&to=2026-09-14", token).body)
	assert.Len(t, narrow, 1)
	assert.Empty(t, witness.Rows(t, r.fetch("/v1/exports/procedures?to=2026-09-13", token).body))
}

func TestExportWithIdentifiers(t *testing.T) {
	r := newRig(t, nil)
	one := r.procedure("Hybrid 1")
	token := r.physicist()
	quality, _ := r.account(access.Quality, nil)
	assert.Equal(t, 400, r.ask("GET", "/v1/exports/procedures?identified=true", token, "").status, "it wants a reason")
	assert.Equal(t, 403, r.ask("GET", "/v1/exports/procedures?identified=true&reason=a+register", quality, "").status)
	head := r.head()
	row := witness.Rows(t, r.fetch("/v1/exports/procedures?identified=true&reason=a+register", token).body)[0]
	assert.Equal(t, []string{one.StudyUID, plantedNumber, plantedName}, []string{row["study_uid"], row["patient_number"], row["patient_name"]})
	said := r.recordsAfter(head)
	assert.Equal(t, []string{"procedures with identifiers", "a register"}, []string{said[0].Object, said[0].Reason})
}

func TestExportOfEvents(t *testing.T) {
	r := newRig(t, nil)
	r.cfg.Events = func(store.Version) ([]procedure.Event, error) {
		return []procedure.Event{
			{UID: "2.25.501", RefKerma: quantity.Some[quantity.Gray](0.0125), Mechanics: procedure.Mechanics{Primary: quantity.Some(quantity.Degree(-30))}},
			{UID: "2.25.502", Protocol: `=1+1,"quoted"`},
		}, nil
	}
	r.rebuild(r.db)
	one := r.procedure("Hybrid 1")
	got := r.fetch("/v1/exports/events", r.physicist())
	require.NoError(t, got.err)
	rows := witness.Rows(t, got.body)
	require.Len(t, rows, 2)
	assert.Equal(t, []string{one.ID, "1", "0.012500000", "-30.00"}, []string{rows[0]["procedure_id"], rows[0]["event"], rows[0]["ka_r_gy"], rows[0]["primary_deg"]})
	assert.Equal(t, []string{"2", "", `=1+1,"quoted"`}, []string{rows[1]["event"], rows[1]["ka_r_gy"], rows[1]["protocol"]})
	assert.NotContains(t, string(got.body), "2.25.501", "UIDs identify")
}

// breaking is a store whose list ends with an error after its first row.
type breaking struct{ *store.DB }

func (b breaking) SummaryList(ctx context.Context, f store.SummaryFilter, identified bool) iter.Seq2[store.SummaryRow, error] {
	return func(yield func(store.SummaryRow, error) bool) {
		for row, err := range b.DB.SummaryList(ctx, f, identified) {
			if !yield(row, err) {
				return
			}
			yield(store.SummaryRow{}, errors.New("the disk is gone"))
			return
		}
	}
}

func TestABrokenTableIsNotTakenForWhole(t *testing.T) {
	r := newRig(t, nil)
	r.procedure("Hybrid 1")
	token := r.physicist()
	r.rebuild(breaking{r.db})
	head := r.head()
	got := r.fetch("/v1/exports/procedures", token)
	require.Error(t, got.err, "the connection ends")
	assert.Empty(t, got.trailer.Get("Table-Rows"))
	said := r.recordsAfter(head)
	require.Len(t, said, 2)
	assert.Equal(t, "broken off", said[1].Outcome)
	assert.True(t, strings.HasPrefix(said[1].After, "1 rows"), said[1].After)
	r.rebuild(r.db)
	assert.Equal(t, 200, r.fetch("/v1/exports/procedures", token).status, "the next one is written")
}

// recordsAfter gives the audit records of tables after a sequence number.
func (r *rig) recordsAfter(head int64) []audit.Record {
	r.t.Helper()
	all, err := r.db.AuditAfter(context.Background(), head, 1000)
	require.NoError(r.t, err)
	return slices.DeleteFunc(all, func(one audit.Record) bool { return one.Action != "table.export" })
}
