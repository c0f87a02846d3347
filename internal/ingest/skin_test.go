package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// laid gives what is kept of all procedures of the patient of a case.
func (r *rig) laid(t *testing.T, study string) (assessment.Laid, bool) {
	t.Helper()
	group, err := r.db.CasesOfPatient(t.Context(), r.the(t, study).Case.PatientID)
	require.NoError(t, err)
	var digests []string
	for _, c := range group {
		digests = append(digests, c.Digest)
	}
	kept, err := r.db.SkinSums(t.Context(), []string{ingest.SkinKey(digests)})
	require.NoError(t, err)
	body, ok := kept[ingest.SkinKey(digests)]
	if !ok {
		return assessment.Laid{}, false
	}
	one, err := ingest.ReadSkin(body)
	require.NoError(t, err)
	return one, true
}

// TestProceduresAreLaidOnOneBody has two stages whose patients weigh differently, in both orders of arrival.
func TestProceduresAreLaidOnOneBody(t *testing.T) {
	one, later := scene(t, stageOne, 60), scene(t, stageTwo, 60)
	later.Patient.Weight = quantity.Some[quantity.Kilogram](120)
	hashes := map[string]string{}
	for name, order := range map[string][]procedure.Report{"in order": {one, later}, "the earlier one late": {later, one}} {
		r := newRig(t)
		r.pipeline.Method.MaxPatch = 10
		for _, report := range order {
			r.send(t, report)
			r.work(t)
		}
		laid, ok := r.laid(t, one.StudyUID)
		require.True(t, ok, name)
		first, second := r.the(t, one.StudyUID), r.the(t, later.StudyUID)
		assert.Equal(t, 2, laid.Mapped)
		upper := first.Case.PSD.Or(0) + second.Case.PSD.Or(0)
		assert.LessOrEqual(t, float64(laid.Value.Or(0)), float64(upper)*1.1, "about the peaks added at most: the bodies differ")
		assert.Greater(t, laid.Value.Or(0), max(first.Case.PSD.Or(0), second.Case.PSD.Or(0))/2)
		require.Len(t, laid.Shares, 2)
		assert.InDelta(t, 1, laid.Shares[0].Share+laid.Shares[1].Share, 1e-12) // two quotients
		assert.NotEmpty(t, laid.Place.Region)
		for _, f := range second.Flags {
			if f.Scope == two && f.Quantity == "psd" {
				assert.InDelta(t, float64(laid.Value.Or(0)), f.Value.Or(0), 0, "the flag compares what is laid on one body")
				assert.Contains(t, f.Text, "maps laid on one body")
			}
		}
		hashes[r.hash(t)] = name
	}
	assert.Len(t, hashes, 1, "%v", hashes)
}

// TestSkinSumsFollowEveryChange links and unlinks records, adds a fact, and starts again: the sum is of the newest versions
// or is not there.
func TestSkinSumsFollowEveryChange(t *testing.T) {
	r := newRig(t)
	r.pipeline.Method.MaxPatch = 10
	one, later := scene(t, stageOne, 60), scene(t, stageTwo, 60)
	later.Patient.ID = "ANOTHER"
	r.send(t, one, later)
	r.work(t)
	first, second := r.the(t, one.StudyUID), r.the(t, later.StudyUID)
	laid, ok := r.laid(t, one.StudyUID)
	require.True(t, ok)
	assert.Equal(t, 1, laid.Procedures)
	assert.Equal(t, first.Case.PSD, laid.Value, "one alone is its own peak")

	link, err := r.db.LinkPatients(t.Context(), store.System("test"), second.Case.PatientID, first.Case.PatientID, "same person")
	require.NoError(t, err)
	_, ok = r.laid(t, one.StudyUID)
	assert.False(t, ok, "unknown until it is worked out")
	r.work(t)
	laid, ok = r.laid(t, one.StudyUID)
	require.True(t, ok)
	assert.Equal(t, 2, laid.Mapped, laid.Words)

	tag, err := r.db.Tag(t.Context(), first.Case.ID)
	require.NoError(t, err)
	require.NoError(t, r.db.AddFacts(t.Context(), store.System("test"), first.Case.ID, tag, []store.Fact{
		{Name: "weight_kg", Value: "140", Source: "chart", Reason: "not in the report"}, {Name: "height_cm", Value: "175", Source: "chart", Reason: "not in the report"},
	}))
	r.settle(t)
	again, ok := r.laid(t, one.StudyUID)
	require.True(t, ok, "worked out for the new version")
	assert.Equal(t, 2, again.Mapped)

	require.NoError(t, r.db.UnlinkPatients(t.Context(), store.System("test"), link.ID, "two persons"))
	r.work(t)
	alone, ok := r.laid(t, later.StudyUID)
	require.True(t, ok)
	assert.Equal(t, 1, alone.Procedures)
	require.NotContains(t, r.log.String(), "cannot be laid")
	assert.False(t, strings.Contains(r.log.String(), demo.StagedPatient))
}
