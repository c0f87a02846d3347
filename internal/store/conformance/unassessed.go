package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func unassessedTests() []test {
	return []test{
		{"what was reported and not assessed is told, with the reason", tellsUnassessed},
		{"a case whose newest reports were not assessed is told", tellsOverdue},
	}
}

// lacks gives what a patient's sums lack.
func (s *site) lacks(t *testing.T, patient string) []store.Unassessed {
	t.Helper()
	all, err := s.db.Unassessed(ctx(), patient)
	require.NoError(t, err)
	return all
}

// fails has the assessment of a study fail for good.
func (s *site) fails(t *testing.T, study string) {
	t.Helper()
	for range store.MaxAttempts {
		require.NoError(t, s.db.Retry(ctx(), s.lease(t, store.JobAssess, study), "a defect", s.clock.Now()))
	}
}

func tellsUnassessed(t *testing.T, s *site) {
	who := store.Identity{Number: "N7", Issuer: "Saltmarsh", BirthDate: "1950-01-02", Sex: "F"}
	first := s.read(t, "2.25.91", who)
	patient := first.PatientID
	want := store.Unassessed{StudyUID: "2.25.91", DeviceKey: "Hybrid 1", ContentAt: first.ContentAt, Reports: 1, Lack: store.LackWaiting}
	assert.Equal(t, []store.Unassessed{want}, s.lacks(t, patient))
	age := s.db.DosesAge()
	s.fails(t, "2.25.91")
	assert.Greater(t, s.db.DosesAge(), age, "no answer from before is given any more")
	want.Lack = store.LackFailed
	assert.Equal(t, []store.Unassessed{want}, s.lacks(t, patient))
	stranger, _ := s.patient(t)
	assert.Len(t, s.lacks(t, stranger), 1, "its own alone")
	l, err := s.db.LinkPatients(ctx(), person, patient, stranger, "one person")
	require.NoError(t, err)
	assert.Len(t, s.lacks(t, stranger), 2, "and that of the records linked to it")
	require.NoError(t, s.db.UnlinkPatients(ctx(), person, l.ID, "two persons"))

	age = s.db.DosesAge()
	_, err = s.db.RetryFailed(ctx(), person, "mended")
	require.NoError(t, err)
	assert.Greater(t, s.db.DosesAge(), age)
	want.Lack = store.LackWaiting
	assert.Equal(t, []store.Unassessed{want}, s.lacks(t, patient))
	age = s.db.DosesAge()
	_, err = s.db.SaveAssessment(ctx(), s.lease(t, store.JobAssess, "2.25.91"), nil)
	require.NoError(t, err)
	assert.Greater(t, s.db.DosesAge(), age)
	want.Lack = store.LackNoCase
	assert.Equal(t, []store.Unassessed{want}, s.lacks(t, patient))
	s.read(t, "2.25.91", who)
	s.assess(t, versionOf(caseOf(patient, "2.25.91"), "one"))
	assert.Empty(t, s.lacks(t, patient))
}

func tellsOverdue(t *testing.T, s *site) {
	patient, study := s.patient(t)
	id := s.assess(t, versionOf(caseOf(patient, study), "one"))[0]
	assert.Empty(t, s.lacks(t, patient))
	s.read(t, study, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	own, err := s.db.ReportsOfStudy(ctx(), study)
	require.NoError(t, err)
	require.Len(t, own, 2)
	assert.Empty(t, s.lacks(t, patient), "an estimate that is being made anew is no lack")
	s.fails(t, study)
	all := s.lacks(t, patient)
	require.Len(t, all, 1)
	assert.Equal(t, []any{id, store.LackFailed}, []any{all[0].CaseID, all[0].Lack})
}
