package store_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestDevicesAndRecomputationsUseTheirIndexes(t *testing.T) {
	db, _ := opened(t)
	for query, index := range map[string]string{
		`SELECT day FROM device_day WHERE device_id = $1 ORDER BY day DESC LIMIT 61`:                               "sqlite_autoindex_device_day_1 (device_id=?)",
		`SELECT recomputation_id FROM recomputation_study WHERE study_uid = $1 AND state IN ('waiting', 'failed')`: "recomputation_study_open (study_uid=? AND state=?)",
		`SELECT study_uid FROM procedure_case WHERE device_key = $1 AND local_date >= $2 AND local_date <= $3`:     "procedure_case_device (device_key=? AND local_date>? AND local_date<?)",
		`SELECT COUNT(*) FROM procedure_case WHERE device_key = $1`:                                                "procedure_case_device (device_key=?)",
		`SELECT * FROM device_profile WHERE device_id = $1 AND digest = $2`:                                        "device_profile_digest (device_id=? AND digest=?)",
		`SELECT body FROM report WHERE sop_instance = $1 AND device_key = $2`:                                      "report_instance (sop_instance=?)",
		`SELECT * FROM device_check WHERE device_id = $1 ORDER BY made_at DESC, id DESC`:                           "device_check_device (device_id=?)",
	} {
		got := plan(t, db, query, make([]any, strings.Count(query, "$"))...)
		assert.Contains(t, got, index, query)
		assert.NotContains(t, got, "TEMP B-TREE", query)
	}
}
