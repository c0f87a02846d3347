package ingest_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func organsOf(t *testing.T, r *rig, v store.Version) organ.Doses {
	t.Helper()
	o, err := r.db.Organs(t.Context(), v.Case.ID, v.Number)
	require.NoError(t, err)
	require.Empty(t, o.Reason)
	var d organ.Doses
	require.NoError(t, json.Unmarshal(o.Body, &d))
	return d
}

// TestOrganDosesFollowEachVersion: after the assessment, again when the procedure changes, and taken over when it does not.
func TestOrganDosesFollowEachVersion(t *testing.T) {
	r := newRig(t)
	r.pipeline.Organs = &ingest.Organs{Budget: organ.Budget{Histories: 20_000}}
	one, later := scene(t, stageOne, 40), scene(t, stageTwo, 40)
	r.send(t, one)
	r.work(t)
	v := r.the(t, one.StudyUID)
	first := organsOf(t, r, v)
	assert.Positive(t, float64(first.Effective.Value))
	assert.Less(t, first.Effective.Low, first.Effective.Value)

	r.send(t, later) // the sums of the patient change, the procedure does not
	r.work(t)
	same := r.the(t, one.StudyUID)
	assert.Equal(t, first, organsOf(t, r, same))

	fact := store.Fact{Name: "weight_kg", Value: "120", Source: "scales", Reason: "weighed"}
	tag, err := r.db.Tag(t.Context(), v.Case.ID)
	require.NoError(t, err)
	require.NoError(t, r.db.AddFacts(t.Context(), store.System("test"), v.Case.ID, tag, []store.Fact{fact}))
	r.work(t)
	heavier := r.the(t, one.StudyUID)
	require.Greater(t, heavier.Number, same.Number)
	assert.NotEqual(t, first.Key, organsOf(t, r, heavier).Key)
	assert.Equal(t, first, organsOf(t, r, v), "what was computed before stays")
}

// TestNoOrganDosesWithoutGeometry: the reason is kept in their place.
func TestNoOrganDosesWithoutGeometry(t *testing.T) {
	r := newRig(t)
	r.pipeline.Organs = &ingest.Organs{Budget: organ.Budget{Histories: 20_000}}
	bare := scene(t, stageOne, 5)
	for i := range bare.Events {
		bare.Events[i].RefKerma = quantity.None[quantity.Gray]()
		bare.Events[i].Mechanics = procedure.Mechanics{}
	}
	r.send(t, bare)
	r.work(t)
	v := r.the(t, bare.StudyUID)
	o, err := r.db.Organs(t.Context(), v.Case.ID, v.Number)
	require.NoError(t, err)
	assert.NotEmpty(t, o.Reason)
	assert.Empty(t, o.Body)
}
