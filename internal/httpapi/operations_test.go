package httpapi_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
)

// TestOperations asks how the service stands: before anything was checked, then after.
func TestOperations(t *testing.T) {
	r := newRig(t, nil)
	token, _ := r.account(access.Admin, nil)
	var o httpapi.Operations
	r.ask("GET", "/v1/operations", token, "").into(t, &o)
	assert.Equal(t, httpapi.OperationsAuditState("unchecked"), o.Audit.State)
	assert.False(t, o.Backups.Configured)
	assert.Nil(t, o.Backups.NewestAt)
	require.Len(t, o.Disks, 1)
	assert.Positive(t, o.Disks[0].TotalBytes)
	var ids []string
	for _, a := range o.Alarms {
		ids = append(ids, a.Id)
	}
	assert.Contains(t, ids, "no-backup")

	_, err := upkeep.CheckChain(t.Context(), r.db)
	require.NoError(t, err)
	_, err = r.db.AddHold(t.Context(), store.System("test"), "", "an inquiry")
	require.NoError(t, err)
	r.ask("GET", "/v1/operations", token, "").into(t, &o)
	assert.Equal(t, httpapi.OperationsAuditState("whole"), o.Audit.State)
	assert.NotNil(t, o.Audit.SoundAt)
	assert.Equal(t, 1, o.Holds)
	require.Len(t, o.Runs, 1)
	assert.Equal(t, httpapi.OperationsRunKind("audit check"), o.Runs[0].Kind)
	version, err := r.db.SchemaVersion(t.Context())
	require.NoError(t, err)
	assert.Equal(t, version, o.Schema)
}
