package store_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

// plan gives what SQLite means to do for a query.
func plan(t *testing.T, db *store.DB, query string, args ...any) string {
	t.Helper()
	rows, err := db.Reader().Query(`EXPLAIN QUERY PLAN `+query, args...)
	require.NoError(t, err)
	defer func() { assert.NoError(t, rows.Close()) }()
	var steps []string
	for rows.Next() {
		var id, parent, unused int
		var step string
		require.NoError(t, rows.Scan(&id, &parent, &unused, &step))
		steps = append(steps, step)
	}
	require.NoError(t, rows.Err())
	return strings.Join(steps, "\n")
}

// Lists go down an index that already has their order, and nothing that grows with the years is read whole.
func TestListsUseTheirIndexes(t *testing.T) {
	db, _ := opened(t)
	list := func(f store.Filter) (string, []any) {
		where, args := f.Where()
		return `SELECT * FROM procedure_case WHERE ` + where + ` ORDER BY start_at DESC, id DESC LIMIT 50`, args
	}
	const ofPatient = `procedure_case_patient (patient_id=?`
	tests := map[string]struct {
		filter store.Filter
		index  string
		sorts  bool // a few rows at most
	}{
		"newest":         {store.Filter{}, "procedure_case_start", false},
		"page":           {store.Filter{After: "x"}, "procedure_case_start (start_at<?", false},
		"room":           {store.Filter{Room: "Cath 2"}, "procedure_case_room (room=?)", false},
		"flag":           {store.Filter{FlagState: "reached"}, "procedure_case_flag (flag_state=?)", false},
		"flag, page":     {store.Filter{FlagState: "reached", After: "x"}, "procedure_case_flag (flag_state=? AND start_at<?)", false},
		"flag in scope":  {store.Filter{FlagState: "near", Rooms: []string{"Cath 2", "Hybrid 1"}}, "procedure_case_flag (flag_state=?)", false},
		"days":           {store.Filter{From: "2026-09-01", To: "2026-09-30"}, "procedure_case_date (local_date>? AND local_date<?)", true},
		"patient":        {store.Filter{PatientID: "x"}, ofPatient, true},
		"patient's days": {store.Filter{PatientID: "x", From: "2026-09-01"}, ofPatient, true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			query, args := list(tt.filter)
			got := plan(t, db, query, args...)
			assert.Contains(t, got, tt.index)
			assert.Equal(t, tt.sorts, strings.Contains(got, "TEMP B-TREE"), got)
		})
	}
}

// Lists of objects go down the index of what they are narrowed by, and unnarrowed down that of arrival.
func TestListsOfInstancesUseTheirIndexes(t *testing.T) {
	db, _ := opened(t)
	for name, tt := range map[string]struct {
		filter store.InstanceFilter
		index  string
	}{
		"all":         {store.InstanceFilter{Limit: 100}, "SCAN k USING INDEX receipt_received"},
		"a study":     {store.InstanceFilter{Studies: []string{"1"}}, "k USING INDEX receipt_study (study_uid=?)"},
		"a series":    {store.InstanceFilter{Series: []string{"1"}}, "k USING INDEX receipt_series (series_uid=?)"},
		"an instance": {store.InstanceFilter{Instances: []string{"1"}}, "k USING INDEX receipt_instance (sop_instance=?)"},
		"in scope": {
			store.InstanceFilter{Studies: []string{"1"}, Rooms: []string{"Cath 2"}},
			"c EXISTS USING INDEX sqlite_autoindex_procedure_case_2 (study_uid=? AND device_key=? AND patient_id=?)",
		},
	} {
		t.Run(name, func(t *testing.T) {
			query, args := tt.filter.Query()
			got := plan(t, db, query, args...)
			assert.Contains(t, got, tt.index)
			assert.Contains(t, got, "e USING INDEX receipt_instance (sop_instance=?)")
		})
	}
}

func TestSearchesUseTheirIndexes(t *testing.T) {
	db, _ := opened(t)
	for query, index := range map[string]string{
		`SELECT * FROM receipt WHERE state = $1 AND (received_at, id) > (SELECT received_at, id FROM receipt WHERE id = $2) ORDER BY received_at, id LIMIT 50`: "receipt_state (state=? AND received_at>?)",
		`SELECT * FROM receipt WHERE digest = $1`:                                                   "sqlite_autoindex_receipt_2 (digest=?)",
		`SELECT * FROM review WHERE settled_at = '' ORDER BY opened_at, id LIMIT 50`:                "review_open (settled_at=?)",
		`SELECT * FROM report WHERE study_uid = $1`:                                                 "report_study (study_uid=?)",
		`SELECT COUNT(*) FROM report WHERE sop_instance = $1 AND dataset_digest <> $2`:              "report_instance (sop_instance=?)",
		`SELECT COUNT(*) FROM report WHERE content_digest = $1 AND dataset_digest <> $2`:            "report_content (content_digest=?)",
		`SELECT * FROM patient_identity WHERE number = $1 AND issuer = $2`:                          "patient_identity_number (number=? AND issuer=?)",
		`SELECT into_patient FROM patient_link WHERE from_patient = $1 AND undone_at = ''`:          "patient_link_from (from_patient=? AND undone_at=?)",
		`SELECT from_patient FROM patient_link WHERE into_patient = $1 AND undone_at = ''`:          "patient_link_into (into_patient=? AND undone_at=?)",
		`SELECT * FROM procedure_case WHERE study_uid = $1 AND device_key = $2 AND patient_id = $3`: "sqlite_autoindex_procedure_case_2 (study_uid=? AND device_key=? AND patient_id=?)",
		`SELECT * FROM flag WHERE procedure_id = $1 AND version = $2 ORDER BY place`:                "sqlite_autoindex_flag_1 (procedure_id=? AND version=?)",
		`SELECT * FROM fact WHERE procedure_id = $1 ORDER BY id`:                                    "fact_procedure (procedure_id=?)",
		`SELECT * FROM performed_step WHERE source = $1 AND key = $2`:                               "sqlite_autoindex_performed_step_2 (source=? AND key=?)",
		`SELECT * FROM performed_step WHERE study_uid = $1`:                                         "performed_step_study (study_uid=?)",
		`SELECT * FROM performed_step WHERE accession = $1`:                                         "performed_step_accession (accession=?)",
		`SELECT * FROM performed_step ORDER BY start_at DESC, id DESC LIMIT 50`:                     "performed_step_start",
		`SELECT * FROM procedure_case WHERE accession = $1`:                                         "procedure_case_accession (accession=?)",
		`SELECT * FROM report_person WHERE person_id = $1`:                                          "report_person_person (person_id=?)",
		`SELECT * FROM person_account WHERE account_id = $1 AND ended_at = ''`:                      "person_account_account (account_id=? AND ended_at=?)",
		`SELECT * FROM token WHERE hash = $1`:                                                       "sqlite_autoindex_token_2 (hash=?)",
		`SELECT * FROM audit ORDER BY sequence DESC LIMIT 1`:                                        "SCAN audit",
		`DELETE FROM event_place WHERE procedure_id = $1`:                                           "event_place_procedure (procedure_id=?)",
		`SELECT COUNT(*) FROM job WHERE state IN ('ready', 'leased', 'failed')`:                     "job_next (state=?)",
	} {
		got := plan(t, db, query, make([]any, strings.Count(query, "$"))...)
		assert.Contains(t, got, index, query)
		assert.NotContains(t, got, "TEMP B-TREE", query)
	}
}

// Workers poll once a second and more often under load: with a long queue as with none, they look at single rows.
func TestPollingForJobsReadsNoQueue(t *testing.T) {
	db, _ := opened(t)
	got := plan(t, db, store.NextJob, "2026-09-14T00:00:00.000000Z")
	assert.Contains(t, got, "job_next (state=? AND priority=? AND due_at<?)")
	assert.NotContains(t, got, "SCAN job")
}
