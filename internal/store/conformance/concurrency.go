package conformance

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func concurrencyTests() []test {
	return []test{
		{"the same bytes from many senders are one receipt", manySenders},
		{"two workers never share a job", manyWorkers},
		{"requests that end early do not hold the writer", endedRequests},
		{"doors, workers, readers and a backup together", everythingAtOnce},
	}
}

func newReader(text string) *strings.Reader { return strings.NewReader(text) }

func manySenders(t *testing.T, s *site) {
	var wait sync.WaitGroup
	type answer struct {
		id    string
		again bool
		err   error
	}
	answers := make(chan answer, 16)
	for range cap(answers) {
		wait.Go(func() {
			a, err := s.db.Receive(ctx(), newReader("the same report"))
			if err == nil {
				err = a.Keep()
			}
			if err != nil {
				answers <- answer{err: err}
				return
			}
			r, again, err := s.db.Accept(ctx(), door, store.Arrival{Digest: a.Digest, Size: 1, Door: "http"})
			answers <- answer{r.ID, again, err}
		})
	}
	wait.Wait()
	close(answers)
	ids, first := map[string]bool{}, 0
	for a := range answers {
		require.NoError(t, a.err)
		ids[a.id] = true
		if !a.again {
			first++
		}
	}
	assert.Len(t, ids, 1)
	assert.Equal(t, 1, first)
	assert.Len(t, s.records(t), 1)
	assert.Len(t, s.drain(t), 1)
}

func manyWorkers(t *testing.T, s *site) {
	want := len(s.asked(t, 80))
	var wait sync.WaitGroup
	done := make(chan string, 2*want)
	failed := make(chan error, 8)
	for i := range 8 {
		wait.Go(func() {
			for {
				j, err := s.db.Lease(ctx(), fmt.Sprint(i), time.Minute)
				if errors.Is(err, store.ErrNotFound) {
					return
				}
				if err == nil {
					done <- j.Subject
					err = s.db.Finish(ctx(), j)
				}
				if err != nil {
					failed <- err
					return
				}
			}
		})
	}
	wait.Wait()
	close(done)
	close(failed)
	require.NoError(t, <-failed)
	seen := map[string]int{}
	for subject := range done {
		seen[subject]++
	}
	assert.Len(t, seen, want)
	for subject, n := range seen {
		assert.Equal(t, 1, n, subject)
	}
}

// endedRequests cancels changes at every point of their way. None may keep the only writer, and each answers with the
// context's own error or with success.
func endedRequests(t *testing.T, s *site) {
	made := 0
	for i := range 150 {
		short, cancel := context.WithTimeout(ctx(), time.Duration(i)*20*time.Microsecond)
		_, err := s.db.AddAccount(short, person, fmt.Sprint(i), "operator", nil)
		if err == nil {
			made++
		} else {
			require.ErrorIs(t, err, context.DeadlineExceeded)
		}
		_, err = s.db.Cases(short, store.Filter{})
		if err != nil {
			require.ErrorIs(t, err, context.DeadlineExceeded)
		}
		cancel()
	}
	soon, cancel := context.WithTimeout(ctx(), 10*time.Second)
	defer cancel()
	_, err := s.db.AddAccount(soon, person, "the last", "operator", nil)
	require.NoError(t, err)
	all, err := s.db.Accounts(ctx())
	require.NoError(t, err)
	assert.Len(t, all, made+1, "an account is there exactly when the answer said so")
	assert.Len(t, s.records(t), made+1)
}

func everythingAtOnce(t *testing.T, s *site) {
	_, c := s.assessed(t, nil)
	var wait sync.WaitGroup
	failed := make(chan error, 64)
	repeat := func(times int, act func(i int) error) {
		wait.Go(func() {
			for i := range times {
				if err := act(i); err != nil && !errors.Is(err, store.ErrNotFound) {
					failed <- err
					return
				}
			}
		})
	}
	for d := range 3 {
		repeat(20, func(i int) error {
			a, err := s.db.Receive(ctx(), newReader(fmt.Sprintf("door %d, report %d", d, i)))
			if err != nil {
				return err
			}
			if err := a.Keep(); err != nil {
				return err
			}
			_, _, err = s.db.Accept(ctx(), door, store.Arrival{Digest: a.Digest, Size: 1, Door: "http"})
			return err
		})
		repeat(30, func(int) error {
			j, err := s.db.Lease(ctx(), "worker", time.Minute)
			if err != nil {
				return err
			}
			return s.db.Finish(ctx(), j)
		})
		repeat(20, func(int) error { return s.db.Viewed(ctx(), person, "patient.view", "case", c.PatientID) })
		repeat(40, func(int) error { return lastError(s.db.CasesOfPatient(ctx(), c.PatientID)) })
		repeat(40, func(int) error { return lastError(s.db.Flags(ctx(), store.Filter{Limit: 10}, "reached")) })
	}
	repeat(3, func(int) error { return s.db.Ready(ctx()) })
	backup := filepath.Join(t.TempDir(), "backup")
	repeat(1, func(int) error { return s.db.Backup(ctx(), backup) })
	repeat(2, func(int) error {
		v, err := s.db.Verify(ctx(), nil)
		if err == nil && !v.Sound() {
			err = fmt.Errorf("not sound while working: %+v", v)
		}
		return err
	})
	wait.Wait()
	close(failed)
	require.NoError(t, <-failed)
	v, err := s.db.Verify(ctx(), nil)
	require.NoError(t, err)
	assert.True(t, v.Sound())
	assert.Equal(t, 61, v.Receipts)
	restored, err := store.Restore(ctx(), backup, filepath.Join(t.TempDir(), "restored"), "conformance")
	require.NoError(t, err)
	assert.True(t, restored.Sound(), "a copy made while doors were open is whole")
}
