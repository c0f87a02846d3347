package conformance

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

const year = 365 * 24 * time.Hour

// removalOf runs retention and gives what it did about the one class that the retention names.
func (s *site) removalOf(t *testing.T, r store.Retention, dry bool) store.Removal {
	t.Helper()
	all, err := s.db.Retain(ctx(), r, dry)
	require.NoError(t, err)
	var found []store.Removal
	for _, one := range all {
		if one.Kept > 0 {
			found = append(found, one)
		} else {
			assert.Zero(t, one.Rows+one.Needed, "kept for good: %s", one.Class)
		}
	}
	require.Len(t, found, 1)
	return found[0]
}

// estimatedThrice makes a case without a flag with three versions.
func (s *site) estimatedThrice(t *testing.T) (id string) {
	t.Helper()
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "first")
	v.Flags = nil
	id = s.assess(t, v)[0]
	v.Digest = "second"
	s.again(t, v)
	v.Digest = "third"
	s.again(t, v)
	return id
}

func (s *site) numbers(t *testing.T, id string) (all []int) {
	t.Helper()
	versions, err := s.db.Versions(ctx(), id)
	require.NoError(t, err)
	for _, v := range versions {
		all = append(all, v.Number)
	}
	return all
}

func removesVersions(t *testing.T, s *site) {
	id := s.estimatedThrice(t)
	_, err := s.db.Retain(ctx(), store.Retention{}, false)
	require.NoError(t, err)
	require.Equal(t, []int{3, 2, 1}, s.numbers(t, id), "nothing goes unless it is said")
	keep := store.Retention{Versions: year}
	assert.Zero(t, s.removalOf(t, keep, false).Rows, "too young")
	s.clock.forward(year + time.Hour)
	records := len(s.records(t))
	dry := s.removalOf(t, keep, true)
	assert.Equal(t, 2, dry.Rows)
	assert.Equal(t, []int{3, 2, 1}, s.numbers(t, id), "a dry run removes nothing")
	assert.Len(t, s.records(t), records)
	assert.Equal(t, 2, s.removalOf(t, keep, false).Rows)
	assert.Equal(t, []int{3}, s.numbers(t, id), "the newest stays")
	last := s.last(t)
	assert.Equal(t, "retention.remove", last.Action)
	assert.Contains(t, last.Reason, "2 rows from before ")
	assert.Zero(t, s.removalOf(t, keep, false).Rows)
	v, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.True(t, v.Sound())
}

func neededStays(t *testing.T, s *site) {
	flagged, v := s.reached(t)
	v.Digest = "second"
	s.again(t, v)
	reviewed := s.reviewedOnce(t)
	papered, held, free := s.estimatedThrice(t), s.estimatedThrice(t), s.estimatedThrice(t)
	s.paper(t, papered)
	hold, err := s.db.AddHold(ctx(), person, held, "a claim")
	require.NoError(t, err)
	s.clock.forward(2 * year)
	keep := store.Retention{Versions: year}
	assert.Equal(t, store.Removal{Rows: 3, Needed: 5}, counts(s.removalOf(t, keep, true)), "the flagged case's first, the review's, the paper's, both of the held one")
	all, err := s.db.AddHold(ctx(), person, "", "an inquiry")
	require.NoError(t, err)
	assert.Equal(t, store.Removal{Rows: 0, Needed: 8}, counts(s.removalOf(t, keep, false)), "everything is held")
	require.NoError(t, s.db.EndHold(ctx(), person, all.ID, "over"))
	assert.Equal(t, store.Removal{Rows: 3, Needed: 5}, counts(s.removalOf(t, keep, false)))
	assert.Equal(t, []int{2, 1}, s.numbers(t, reviewed))
	assert.Equal(t, [][]int{{2, 1}, {3, 1}, {3, 2, 1}, {3}}, [][]int{s.numbers(t, flagged), s.numbers(t, papered), s.numbers(t, held), s.numbers(t, free)})
	require.NoError(t, s.db.EndHold(ctx(), person, hold.ID, "settled"))
	assert.Equal(t, 2, s.removalOf(t, keep, false).Rows)
}

// reviewedOnce makes a case of two versions, the first of which a colleague has looked at.
func (s *site) reviewedOnce(t *testing.T) (id string) {
	t.Helper()
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "first")
	v.Flags = nil
	id = s.assess(t, v)[0]
	_, err := s.db.ReviewCase(ctx(), person, id, 1, summary.ReviewAppropriate, "as planned")
	require.NoError(t, err)
	v.Digest = "second"
	s.again(t, v)
	return id
}

// told has a notice of a case sent to an account.
func (s *site) told(t *testing.T, caseID, account string) (notice string) {
	t.Helper()
	n, err := s.db.LastNotice(ctx(), caseID)
	require.NoError(t, err)
	require.NoError(t, s.db.PlaceNotice(ctx(), n, []store.Placement{{Account: account, Channel: "outbox", Due: s.clock.Now()}}, ""))
	due, err := s.db.MessagesDue(ctx(), "outbox", 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
	try, err := s.db.BeginAttempt(ctx(), due[0].ID)
	require.NoError(t, err)
	require.NoError(t, s.db.EndAttempt(ctx(), due[0], try, store.EndingSent, "", time.Time{}))
	return n.ID
}

func removesMessages(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "dr one", "physicist", nil)
	require.NoError(t, err)
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "first")
	v.Flags, v.Notice = nil, &store.NewNotice{Kind: notice.First, Content: []byte("{}")}
	id := s.assess(t, v)[0]
	first := s.told(t, id, a.ID)
	v.Digest, v.Notice = "second", &store.NewNotice{Kind: notice.Complete, Content: []byte("{}")}
	s.again(t, v)
	second := s.told(t, id, a.ID)
	s.clock.forward(2 * year)
	keep := store.Retention{Notices: year}
	assert.Equal(t, store.Removal{Rows: 1, Needed: 1}, counts(s.removalOf(t, keep, true)), "what was told last stays")
	hold, err := s.db.AddHold(ctx(), person, id, "a claim")
	require.NoError(t, err)
	assert.Equal(t, store.Removal{Rows: 0, Needed: 2}, counts(s.removalOf(t, keep, false)))
	require.NoError(t, s.db.EndHold(ctx(), person, hold.ID, "over"))
	assert.Equal(t, store.Removal{Rows: 1, Needed: 1}, counts(s.removalOf(t, keep, false)))
	for n, want := range map[string]int{first: 0, second: 1} {
		messages, err := s.db.MessagesOf(ctx(), n)
		require.NoError(t, err)
		assert.Len(t, messages, want)
	}
	all, err := s.db.NoticesOf(ctx(), id)
	require.NoError(t, err)
	assert.Len(t, all, 2, "that it was told of stays")
}

func counts(r store.Removal) store.Removal { return store.Removal{Rows: r.Rows, Needed: r.Needed} }

func removesSessions(t *testing.T, s *site) {
	a, err := s.db.AddAccount(ctx(), person, "dr one", "physicist", nil)
	require.NoError(t, err)
	old, err := s.db.BeginSession(ctx(), person, store.Session{Account: a, Way: "password", EndsAt: s.clock.Now().Add(time.Hour)}, "h1")
	require.NoError(t, err)
	s.clock.forward(40 * 24 * time.Hour)
	_, err = s.db.BeginSession(ctx(), person, store.Session{Account: a, Way: "password", EndsAt: s.clock.Now().Add(time.Hour)}, "h2")
	require.NoError(t, err)
	assert.Equal(t, 1, s.removalOf(t, store.Retention{Sessions: 30 * 24 * time.Hour}, false).Rows)
	_, err = s.db.SessionByHash(ctx(), "h1")
	require.ErrorIs(t, err, store.ErrNotFound, old.ID)
	_, err = s.db.SessionByHash(ctx(), "h2")
	require.NoError(t, err)
}

func holds(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	_, err := s.db.AddHold(ctx(), person, id, "")
	require.ErrorIs(t, err, store.ErrInvalid)
	_, err = s.db.AddHold(ctx(), person, "nobody", "a claim")
	require.ErrorIs(t, err, store.ErrNotFound)
	h, err := s.db.AddHold(ctx(), person, id, "a claim")
	require.NoError(t, err)
	assert.Equal(t, c.PatientID, h.PatientID)
	assert.Equal(t, "hold.add", s.last(t).Action)
	require.ErrorIs(t, s.db.EndHold(ctx(), person, h.ID, ""), store.ErrInvalid)
	require.NoError(t, s.db.EndHold(ctx(), person, h.ID, "withdrawn"))
	require.ErrorIs(t, s.db.EndHold(ctx(), person, h.ID, "again"), store.ErrNotFound)
	all, err := s.db.Holds(ctx())
	require.NoError(t, err)
	require.Len(t, all, 1)
	assert.Equal(t, "withdrawn", all[0].EndReason)
	assert.False(t, all[0].EndedAt.IsZero())
}

func runs(t *testing.T, s *site) {
	_, err := s.db.LastSound(ctx(), store.BackupRun)
	require.ErrorIs(t, err, store.ErrNotFound)
	first, err := s.db.BeginRun(ctx(), store.BackupRun)
	require.NoError(t, err)
	require.NoError(t, s.db.EndRun(ctx(), store.System("backup"), first, "copied", nil))
	second, err := s.db.BeginRun(ctx(), store.BackupRun)
	require.NoError(t, err)
	require.NoError(t, s.db.EndRun(ctx(), store.System("backup"), second, "disk full", errors.New("disk full")))
	assert.Equal(t, "failed", s.last(t).Outcome)
	_, err = s.db.BeginRun(ctx(), store.DrillRun)
	require.NoError(t, err)
	all, err := s.db.Runs(ctx(), store.BackupRun, 10)
	require.NoError(t, err)
	require.Len(t, all, 2)
	assert.Equal(t, []string{"failed", "sound"}, []string{all[0].Outcome, all[1].Outcome})
	last, err := s.db.LastSound(ctx(), store.BackupRun)
	require.NoError(t, err)
	assert.Equal(t, all[1], last)
	assert.True(t, last.Sound())
	require.ErrorIs(t, s.db.EndRun(ctx(), store.System("backup"), 99, "", nil), store.ErrNotFound)
	version, err := s.db.SchemaVersion(ctx())
	require.NoError(t, err)
	assert.GreaterOrEqual(t, version, int64(29))
}
