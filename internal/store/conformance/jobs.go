package conformance

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func jobTests() []test {
	return []test{
		{"leased in the order of asking", leaseOrder},
		{"what arrives now goes before what may wait", liveFirst},
		{"what a job makes necessary is as urgent as the job", urgencyIsHandedOn},
		{"what comes again by an urgent door waits no longer", hurried},
		{"a lease that ran out is taken over", leaseExpiry},
		{"a zombie cannot end what was taken over", fencing},
		{"wanted again while under way runs once more", wantedAgain},
		{"tried again until it counts as failed", retryToFailed},
		{"a wish during the last attempt is not lost", wishDuringLastAttempt},
		{"poison never holds up the next", poison},
		{"released work was not tried", released},
		{"work goes on after the process ended", resumed},
		{"what was done long ago is forgotten, a few at a time", forgotten},
		{"the backlog counts what waits", backlog},
	}
}

func (s *site) asked(t *testing.T, n int) []store.Receipt {
	t.Helper()
	all := make([]store.Receipt, n)
	for i := range all {
		all[i] = s.keep(t, fmt.Sprintf("asked %d", s.next()), "")
	}
	return all
}

func leaseOrder(t *testing.T, s *site) {
	_, err := s.db.Lease(ctx(), "worker", time.Minute)
	require.ErrorIs(t, err, store.ErrNotFound, "nothing to do")
	for _, r := range s.asked(t, 12) {
		j, err := s.db.Lease(ctx(), "worker", time.Minute)
		require.NoError(t, err)
		assert.Equal(t, r.ID, j.Subject)
		assert.Equal(t, 1, j.Attempt)
	}
	_, err = s.db.Lease(ctx(), "worker", time.Minute)
	require.ErrorIs(t, err, store.ErrNotFound, "all are leased")
}

// past keeps so many objects as a back-fill does.
func (s *site) past(t *testing.T, n int) []store.Receipt {
	t.Helper()
	all := make([]store.Receipt, n)
	for i := range all {
		all[i] = s.keepAs(t, fmt.Sprintf("past %d", s.next()), "", store.Background)
	}
	return all
}

func liveFirst(t *testing.T, s *site) {
	past := s.past(t, 3)
	_, study := s.patient(t)
	_, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "another method"})
	require.NoError(t, err)
	j := s.lease(t, store.JobAssess, study)
	assert.Equal(t, store.Live, j.Priority, "estimating anew does not put back what arrives now")
	require.NoError(t, s.db.Finish(ctx(), j))
	_, err = s.db.Recompute(ctx(), person, store.Recomputation{Reason: "another method"})
	require.NoError(t, err)
	s.clock.forward(time.Hour)
	now := s.asked(t, 2)
	assert.Equal(t, []string{now[0].ID, now[1].ID, past[0].ID, past[1].ID, past[2].ID, study}, subjects(s.drain(t)), "within a priority in the order of asking")

	// A worker that died in the background does not go before what arrives now.
	s.past(t, 1)
	_, err = s.db.Lease(ctx(), "dies", time.Minute)
	require.NoError(t, err)
	s.clock.forward(time.Hour)
	now = s.asked(t, 1)
	assert.Equal(t, now[0].ID, subjects(s.drain(t))[0])
}

func urgencyIsHandedOn(t *testing.T, s *site) {
	read := func(r store.Receipt, study string, n int) {
		j := s.lease(t, store.JobRead, r.ID)
		require.NoError(t, s.db.SaveReport(ctx(), j, store.Report{
			ReceiptID: r.ID, SOPInstance: fmt.Sprintf("2.25.4%d", n), DataSetDigest: fmt.Sprintf("u%d", n), ContentDigest: fmt.Sprintf("u%d", n),
			StudyUID: study, DeviceKey: "Hybrid 1", Body: []byte("x"),
		}, store.Identity{Number: "U1", Issuer: "Saltmarsh"}))
	}
	read(s.past(t, 1)[0], "2.25.31", 1)
	j, err := s.db.Lease(ctx(), "worker", time.Minute)
	require.NoError(t, err)
	assert.Equal(t, store.Background, j.Priority)
	due := s.clock.Now().Add(time.Hour)
	_, err = s.db.SaveAssessment(ctx(), j, nil, store.Later{Study: "2.25.31", Due: due})
	require.NoError(t, err)
	s.clock.forward(2 * time.Hour)
	j = s.lease(t, store.JobAssess, "2.25.31")
	assert.Equal(t, store.Background, j.Priority, "what it asked for later waits as well")

	// While it is under way a report of the same study arrives: that is not to wait.
	read(s.asked(t, 1)[0], "2.25.31", 2)
	require.NoError(t, s.db.Finish(ctx(), j))
	s.past(t, 1)
	j, err = s.db.Lease(ctx(), "worker", time.Minute)
	require.NoError(t, err)
	assert.Equal(t, "2.25.31", j.Subject)
	assert.Equal(t, store.Live, j.Priority)
	require.NoError(t, s.db.Finish(ctx(), j))
}

func hurried(t *testing.T, s *site) {
	past := s.past(t, 2)
	again := s.keep(t, "past 2", "")
	require.Equal(t, past[1].ID, again.ID)
	assert.Equal(t, []string{past[1].ID, past[0].ID}, subjects(s.drain(t)))
}

func leaseExpiry(t *testing.T, s *site) {
	r := s.asked(t, 1)[0]
	first, err := s.db.Lease(ctx(), "first", time.Minute)
	require.NoError(t, err)
	s.clock.forward(59 * time.Second)
	_, err = s.db.Lease(ctx(), "second", time.Minute)
	require.ErrorIs(t, err, store.ErrNotFound)
	s.clock.forward(2 * time.Second)
	second, err := s.db.Lease(ctx(), "second", time.Minute)
	require.NoError(t, err)
	assert.Equal(t, r.ID, second.Subject)
	assert.Equal(t, first.ID, second.ID)
	assert.Equal(t, 2, second.Attempt)
}

func fencing(t *testing.T, s *site) {
	r := s.asked(t, 1)[0]
	zombie := s.lease(t, store.JobRead, r.ID)
	s.clock.forward(2 * time.Minute)
	living := s.lease(t, store.JobRead, r.ID)
	before := s.records(t)
	report := store.Report{ReceiptID: r.ID, SOPInstance: "2.25.1", DataSetDigest: "a", ContentDigest: "b", StudyUID: "2.25.2", DeviceKey: "d", Body: []byte("x")}
	for name, act := range map[string]func() error{
		"finish":     func() error { return s.db.Finish(ctx(), zombie) },
		"retry":      func() error { return s.db.Retry(ctx(), zombie, "late", s.clock.Now()) },
		"quarantine": func() error { return s.db.QuarantineRead(ctx(), zombie, "late") },
		"report":     func() error { return s.db.SaveReport(ctx(), zombie, report, store.Identity{Number: "7"}) },
		"assessment": func() error {
			_, err := s.db.SaveAssessment(ctx(), zombie, nil)
			return err
		},
	} {
		require.ErrorIs(t, act(), store.ErrConflict, name)
	}
	assert.Equal(t, before, s.records(t), "nothing of the zombie is left")
	patients, err := s.db.FindPatients(ctx(), "7", "")
	require.NoError(t, err)
	assert.Empty(t, patients)
	got, err := s.db.Receipt(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptKept, got.State)
	require.NoError(t, s.db.SaveReport(ctx(), living, report, store.Identity{Number: "7"}))
	require.ErrorIs(t, s.db.Finish(ctx(), living), store.ErrConflict, "ended once")
}

func wantedAgain(t *testing.T, s *site) {
	_, study := s.patient(t)
	j := s.lease(t, store.JobAssess, study)
	s.read(t, study, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	_, err := s.db.Lease(ctx(), "other", time.Minute)
	require.ErrorIs(t, err, store.ErrNotFound, "one study is never under way twice")
	require.NoError(t, s.db.Finish(ctx(), j))
	again := s.lease(t, store.JobAssess, study)
	assert.Equal(t, 1, again.Attempt)
	require.NoError(t, s.db.Finish(ctx(), again))
	assert.Empty(t, s.drain(t))
}

func retryToFailed(t *testing.T, s *site) {
	r := s.asked(t, 1)[0]
	for attempt := 1; attempt <= store.MaxAttempts; attempt++ {
		j := s.lease(t, store.JobRead, r.ID)
		require.Equal(t, attempt, j.Attempt)
		require.NoError(t, s.db.Retry(ctx(), j, "cannot be read", s.clock.Now().Add(time.Minute)))
		_, err := s.db.Lease(ctx(), "worker", time.Minute)
		require.ErrorIs(t, err, store.ErrNotFound, "not before its time")
		s.clock.forward(2 * time.Minute)
	}
	_, err := s.db.Lease(ctx(), "worker", time.Minute)
	require.ErrorIs(t, err, store.ErrNotFound, "failed for good")
	last := s.last(t)
	assert.Equal(t, "job.fail", last.Action)
	assert.Equal(t, "failed", last.Outcome)
	got, err := s.db.Receipt(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptKept, got.State)
	require.NoError(t, s.db.Reread(ctx(), person, r.ID, "reader was repaired"))
	assert.Equal(t, 1, s.lease(t, store.JobRead, r.ID).Attempt)
}

func wishDuringLastAttempt(t *testing.T, s *site) {
	_, study := s.patient(t)
	var j store.Job
	for attempt := 1; attempt <= store.MaxAttempts; attempt++ {
		j = s.lease(t, store.JobAssess, study)
		if attempt < store.MaxAttempts {
			require.NoError(t, s.db.Retry(ctx(), j, "odd", s.clock.Now()))
		}
	}
	s.read(t, study, store.Identity{Number: "N1", Issuer: "Saltmarsh"})
	require.NoError(t, s.db.Retry(ctx(), j, "odd", s.clock.Now()))
	assert.Equal(t, 1, s.lease(t, store.JobAssess, study).Attempt, "the new report deserves tries of its own")
}

func poison(t *testing.T, s *site) {
	all := s.asked(t, 4)
	bad := s.lease(t, store.JobRead, all[0].ID)
	require.NoError(t, s.db.Retry(ctx(), bad, "cannot be read", s.clock.Now().Add(time.Hour)))
	for _, r := range all[1:] {
		j, err := s.db.Lease(ctx(), "worker", time.Minute)
		require.NoError(t, err)
		assert.Equal(t, r.ID, j.Subject)
		require.NoError(t, s.db.Finish(ctx(), j))
	}
}

func released(t *testing.T, s *site) {
	r := s.asked(t, 1)[0]
	for range 2 * store.MaxAttempts {
		j := s.lease(t, store.JobRead, r.ID)
		require.Equal(t, 1, j.Attempt, "what the storage could not do is no try")
		require.NoError(t, s.db.Release(ctx(), j, s.clock.Now().Add(time.Second)))
		require.ErrorIs(t, s.db.Release(ctx(), j, s.clock.Now()), store.ErrConflict)
		s.clock.forward(2 * time.Second)
	}
}

func resumed(t *testing.T, s *site) {
	all := s.asked(t, 2)
	leased := s.lease(t, store.JobRead, all[0].ID)
	for range store.MaxAttempts {
		j := s.lease(t, store.JobRead, all[1].ID)
		require.NoError(t, s.db.Retry(ctx(), j, "odd", s.clock.Now()))
	}
	_, err := s.db.Lease(ctx(), "worker", time.Minute)
	require.ErrorIs(t, err, store.ErrNotFound, "one is under way, one has failed")
	require.NoError(t, s.db.Resume(ctx()))
	assert.Equal(t, []string{all[0].ID}, subjects(s.drain(t)), "what failed for good stays so")
	require.ErrorIs(t, s.db.Finish(ctx(), leased), store.ErrConflict, "the process before cannot end it any more")

	_, err = s.db.RetryFailed(ctx(), person, "")
	require.ErrorIs(t, err, store.ErrInvalid)
	n, err := s.db.RetryFailed(ctx(), person, "the fault is mended")
	require.NoError(t, err)
	assert.Equal(t, 1, n)
	assert.Equal(t, "jobs.retry", s.last(t).Action)
	assert.Equal(t, 1, s.lease(t, store.JobRead, all[1].ID).Attempt, "from the beginning")
}

func forgotten(t *testing.T, s *site) {
	all := s.asked(t, 6)
	for range 5 {
		j, err := s.db.Lease(ctx(), "worker", time.Minute)
		require.NoError(t, err)
		if j.Subject == all[0].ID {
			j.Attempt = store.MaxAttempts
			require.NoError(t, s.db.Retry(ctx(), j, "odd", s.clock.Now()))
			continue
		}
		require.NoError(t, s.db.Finish(ctx(), j))
	}
	forget := func(before time.Time) int {
		n, err := s.db.ForgetDone(ctx(), before, 3)
		require.NoError(t, err)
		return n
	}
	assert.Zero(t, forget(all[0].ReceivedAt), "not yet")
	s.clock.forward(time.Hour)
	assert.Equal(t, []int{3, 1, 0}, []int{forget(s.clock.Now()), forget(s.clock.Now()), forget(s.clock.Now())})
	b, err := s.db.Backlog(ctx())
	require.NoError(t, err)
	assert.Equal(t, 1, b.Failed, "what failed stays")
	assert.Equal(t, []string{all[5].ID}, subjects(s.drain(t)), "and what waits")
	again := s.keep(t, "asked 2", "")
	assert.Equal(t, all[1].ID, again.ID)
	assert.Empty(t, s.drain(t), "what is known is not read anew")
}

func backlog(t *testing.T, s *site) {
	b, err := s.db.Backlog(ctx())
	require.NoError(t, err)
	assert.Equal(t, store.Backlog{}, b)
	before := s.clock.Now()
	all := s.asked(t, 3)
	j := s.lease(t, store.JobRead, all[0].ID)
	b, err = s.db.Backlog(ctx())
	require.NoError(t, err)
	assert.Equal(t, 3, b.Waiting, "a leased job still waits for its result")
	assert.WithinRange(t, b.Oldest, before, all[1].ReceivedAt)
	require.NoError(t, s.db.Finish(ctx(), j))
	j = s.lease(t, store.JobRead, all[1].ID)
	for range store.MaxAttempts {
		require.NoError(t, s.db.Retry(ctx(), j, "odd", s.clock.Now()))
		if j.Attempt < store.MaxAttempts {
			j = s.lease(t, store.JobRead, all[1].ID)
			continue
		}
		break
	}
	b, err = s.db.Backlog(ctx())
	require.NoError(t, err)
	assert.Equal(t, 1, b.Failed)
}
