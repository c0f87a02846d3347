package ingest_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// TestPoisonNeverBlocksTheNext has a report that breaks, one that never ends and one that is none before a good one.
func TestPoisonNeverBlocksTheNext(t *testing.T) {
	r := newRig(t)
	release := make(chan struct{})
	var stuck sync.WaitGroup
	stuck.Add(1)
	t.Cleanup(func() { close(release); stuck.Wait() })
	r.pipeline.TimeLimit = 2 * time.Second
	r.pipeline.Read = func(raw []byte) (*procedure.Report, error) {
		report, err := rdsr.Read(raw, rdsr.Options{Site: time.UTC})
		if err != nil {
			return report, err
		}
		switch report.SOPInstanceUID {
		case "2.25.7200.1":
			var events []procedure.Event
			_ = events[len(report.Events)]
		case "2.25.7200.2":
			defer stuck.Done()
			<-release
		case "2.25.7200.3":
			return nil, fmt.Errorf("%w: no tree", rdsr.ErrNoDoseTree)
		}
		return report, nil
	}
	base := scene(t, stageOne, 3)
	var receipts []store.Receipt
	for n := 1; n <= 4; n++ {
		receipt, _ := r.keep(t, written(t, renamed(base, n)))
		receipts = append(receipts, receipt)
	}
	r.work(t)
	wantReason := []string{"could not be read: an internal error came up", "could not be read: not done within 2s", "no x-ray radiation dose report in the content: no tree", ""}
	for i, want := range wantReason {
		got, err := r.db.Receipt(t.Context(), receipts[i].ID)
		require.NoError(t, err)
		assert.Equal(t, want, got.Reason)
		if want == "" {
			assert.Equal(t, store.ReceiptRead, got.State)
		} else {
			assert.Equal(t, store.ReceiptQuarantined, got.State)
		}
	}
	assert.Len(t, r.cases(t), 1)
	backlog, err := r.db.Backlog(t.Context())
	require.NoError(t, err)
	assert.Zero(t, backlog.Failed)
	assert.Zero(t, backlog.Waiting)

	// Once the fault is out of the program, a person has it read again.
	r.pipeline.Read = nil
	require.NoError(t, r.db.Reread(t.Context(), store.System("test"), receipts[0].ID, "the fault is mended"))
	r.work(t)
	assert.Len(t, r.cases(t), 2)
}

func TestAnAssessmentThatBreaksFailsAlone(t *testing.T) {
	r := newRig(t)
	broken := renamed(scene(t, stageOne, 3), 1)
	r.pipeline.Summarise = func(a assessment.Assessment) ([]byte, error) {
		if a.Procedure.StudyUID == broken.StudyUID {
			panic("a fault")
		}
		return summary(a)
	}
	r.send(t, broken, renamed(scene(t, stageOne, 3), 2))
	r.work(t)
	require.Len(t, r.cases(t), 1)
	backlog, err := r.db.Backlog(t.Context())
	require.NoError(t, err)
	assert.Equal(t, 1, backlog.Failed, "the others go on, and the metrics tell of it")
	assert.Contains(t, r.log.String(), "job failed for good")

	// No start tries it again, nor do other cases: it might be what ends the process. A person's word does.
	r.restart(t)
	require.NoError(t, r.db.Resume(t.Context()))
	r.work(t)
	require.Len(t, r.cases(t), 1)
	jobs, err := r.db.RetryFailed(t.Context(), store.System("test"), "the fault is mended")
	require.NoError(t, err)
	require.Equal(t, 1, jobs)
	ctx, stop := context.WithCancel(t.Context())
	var running sync.WaitGroup
	running.Go(func() { r.pipeline.Run(ctx) })
	require.Eventually(t, func() bool { return len(r.cases(t)) == 2 }, 20*time.Second, 10*time.Millisecond)
	stop()
	running.Wait()
}

func TestDamagedBytesAreNeverServed(t *testing.T) {
	r := newRig(t)
	receipt, _ := r.keep(t, written(t, renamed(scene(t, stageOne, 3), 1)))
	r.send(t, renamed(scene(t, stageOne, 3), 2))
	name := filepath.Join(r.dir, "objects", receipt.Digest[:2], receipt.Digest+".gz")
	content, err := os.ReadFile(name)
	require.NoError(t, err)
	damaged := append([]byte(nil), content...)
	damaged[len(damaged)/2] ^= 0x10
	require.NoError(t, os.WriteFile(name, damaged, 0o600))
	for range store.MaxAttempts {
		r.work(t)
		r.clock.Pass(time.Minute)
	}
	assert.Len(t, r.cases(t), 1)
	backlog, err := r.db.Backlog(t.Context())
	require.NoError(t, err)
	assert.Equal(t, 1, backlog.Failed)
	assert.Contains(t, r.log.String(), "restore them from the backup")
	got, err := r.db.Receipt(t.Context(), receipt.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptKept, got.State, "it waits for its bytes")

	require.NoError(t, os.WriteFile(name, content, 0o600))
	jobs, err := r.db.RetryFailed(t.Context(), store.System("test"), "the bytes are back from the backup")
	require.NoError(t, err)
	require.Equal(t, 1, jobs)
	r.work(t)
	assert.Len(t, r.cases(t), 2)
}

// TestAZombieCannotFinish is reliability case F15: a worker that was stopped for longer than its lease comes back.
func TestAZombieCannotFinish(t *testing.T) {
	r := newRig(t)
	r.send(t, scene(t, stageOne, 3))
	zombie, err := r.db.Lease(t.Context(), "zombie", 2*time.Minute)
	require.NoError(t, err)
	r.work(t)
	require.Empty(t, r.cases(t), "the lease holds")
	r.clock.Pass(3 * time.Minute)
	r.work(t)
	require.Len(t, r.cases(t), 1)
	want := r.hash(t)

	err = r.db.SaveReport(t.Context(), zombie, store.Report{ReceiptID: zombie.Subject, StudyUID: "2.25.1"}, store.Identity{Number: "1"})
	require.ErrorIs(t, err, store.ErrConflict)
	require.ErrorIs(t, r.db.QuarantineRead(t.Context(), zombie, "late"), store.ErrConflict)
	require.Error(t, r.db.Retry(t.Context(), zombie, "late", r.clock.Now()))
	r.work(t)
	assert.Equal(t, want, r.hash(t))
}

// slow has the pipeline's own worker lose its lease between reading and saving.
type slow struct {
	*store.DB
	steal func()
}

func (s *slow) SaveAssessment(ctx context.Context, j store.Job, v []store.Version, later ...store.Later) ([]string, error) {
	if s.steal != nil {
		steal := s.steal
		s.steal = nil
		steal()
	}
	return s.DB.SaveAssessment(ctx, j, v, later...)
}

func TestAResultAfterTheLeaseIsDropped(t *testing.T) {
	r := newRig(t)
	late := cut(scene(t, stageOne, 5), 3, 5, "2.25.99")
	s := &slow{DB: r.db}
	s.steal = func() {
		// While the worker was stopped, another report came and another worker did all there was to do.
		r.send(t, late)
		r.clock.Pass(11 * time.Minute)
		other := &ingest.Pipeline{
			Store: r.db, Method: r.pipeline.Method, Reading: r.pipeline.Reading, Summarise: summary, Quiet: quiet, Log: r.pipeline.Log, Now: r.clock.Now,
		}
		for {
			worked, err := other.Step(t.Context(), "other")
			require.NoError(t, err)
			if !worked {
				break
			}
		}
	}
	r.pipeline.Store = s
	r.send(t, cut(scene(t, stageOne, 5), 0, 3, ""))
	r.work(t)
	assert.Contains(t, r.log.String(), "job was taken over")
	v := r.the(t, late.StudyUID)
	assert.Equal(t, 2, v.Number, "the other worker made one before and one after the late report; the zombie added none")
	assert.Contains(t, v.Change, "1 new report; 2 events added")
}

func TestWorkGoesOnAfterARestart(t *testing.T) {
	r := newRig(t)
	for n := range 6 {
		r.send(t, renamed(scene(t, stageOne, 3), n))
	}
	_, err := r.pipeline.Step(t.Context(), "before") // one is read
	require.NoError(t, err)
	_, err = r.db.Lease(t.Context(), "dies", 2*time.Minute) // one is under way when the process ends
	require.NoError(t, err)
	r.restart(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var running sync.WaitGroup
	running.Go(func() { r.pipeline.Run(ctx) })
	require.Eventually(t, func() bool { return len(r.cases(t)) == 6 }, 20*time.Second, 10*time.Millisecond, "without waiting for the lease of the dead")
	stop()
	running.Wait()
}

// TestAJobThatEndsTheProcessIsSetAside has a report whose reading ends the process each time, as one that takes all
// memory would.
func TestAJobThatEndsTheProcessIsSetAside(t *testing.T) {
	r := newRig(t)
	receipt, _ := r.keep(t, written(t, renamed(scene(t, stageOne, 3), 1)))
	r.send(t, renamed(scene(t, stageOne, 3), 2))
	for range 3 * store.MaxAttempts {
		job, err := r.db.Lease(t.Context(), "dies", 2*time.Minute)
		require.NoError(t, err)
		require.Equal(t, receipt.ID, job.Subject)
		require.NoError(t, r.db.Resume(t.Context()))
	}
	r.work(t)
	got, err := r.db.Receipt(t.Context(), receipt.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptQuarantined, got.State)
	assert.Contains(t, got.Reason, "each time the program ended")
	assert.Len(t, r.cases(t), 1)
}

// mortal is a store whose process ends when the deadly study is begun to be assessed.
type mortal struct {
	*store.DB
	deadly string
	deaths int
}

var errDied = errors.New("the process died")

func (m *mortal) Lease(ctx context.Context, owner string, lease time.Duration) (store.Job, error) {
	job, err := m.DB.Lease(ctx, owner, lease)
	if err == nil && job.Subject == m.deadly && job.Attempt <= 3*store.MaxAttempts { // one more is told apart before it is begun
		m.deaths++
		return job, errDied
	}
	return job, err
}

// TestAnAssessmentThatEndsTheProcessIsNotBegunAtEachStart has a study whose assessment ends the process. It fails for good
// after a known number of deaths; later starts cost none, a new report of the study one, and other studies of the same
// patient, whose sums it would change, none.
func TestAnAssessmentThatEndsTheProcessIsNotBegunAtEachStart(t *testing.T) {
	r := newRig(t)
	deadly := scene(t, stageOne, 3)
	m := &mortal{DB: r.db, deadly: deadly.StudyUID}
	r.pipeline.Store = m
	// start starts the process until it has nothing left to do, and gives how often it died.
	start := func() int {
		m.deaths = 0
		for alive := false; !alive; {
			require.NoError(t, r.db.Resume(t.Context()))
			for {
				r.clock.Pass(time.Minute)
				worked, err := r.pipeline.Step(t.Context(), "test")
				if errors.Is(err, errDied) {
					break
				}
				require.NoError(t, err)
				if alive = !worked; alive {
					break
				}
			}
		}
		return m.deaths
	}
	r.send(t, deadly, renamed(scene(t, stageOne, 3), 1))
	assert.Equal(t, 3*store.MaxAttempts, start())
	assert.Len(t, r.cases(t), 1, "the other study is assessed")
	assert.Contains(t, r.log.String(), "each time the program ended before it was done")

	assert.Zero(t, start())
	r.send(t, scene(t, stageTwo, 3)) // of the same patient
	assert.Zero(t, start())
	assert.Len(t, r.cases(t), 2)
	r.send(t, cut(scene(t, stageOne, 5), 3, 5, "2.25.99"))
	assert.Equal(t, 1, start(), "a new report may be what it lacked")
	assert.Zero(t, start())

	jobs, err := r.db.RetryFailed(t.Context(), store.System("test"), "the fault is mended")
	require.NoError(t, err)
	assert.Equal(t, 1, jobs)
	m.deadly = ""
	assert.Zero(t, start())
	assert.Len(t, r.cases(t), 3)
}

// full is a storage that takes nothing for a while.
type full struct {
	*store.DB
	refusals atomic.Int32
}

func (f *full) SaveReport(ctx context.Context, j store.Job, report store.Report, identity store.Identity) error {
	if f.refusals.Add(-1) >= 0 {
		return fmt.Errorf("disk full: %w", store.ErrUnavailable)
	}
	return f.DB.SaveReport(ctx, j, report, identity)
}

func TestAFullStorageCostsNoAttempt(t *testing.T) {
	r := newRig(t)
	f := &full{DB: r.db}
	f.refusals.Store(4 * store.MaxAttempts)
	r.pipeline.Store = f
	r.send(t, scene(t, stageOne, 3))
	for range 4 * store.MaxAttempts {
		worked, err := r.pipeline.Step(t.Context(), "test")
		require.True(t, worked)
		require.ErrorIs(t, err, store.ErrUnavailable)
		r.clock.Pass(time.Minute)
	}
	r.work(t)
	assert.Len(t, r.cases(t), 1)
}

// broken is a storage whose fsync fails.
type broken struct{ *store.DB }

func (broken) Lease(context.Context, string, time.Duration) (store.Job, error) {
	return store.Job{}, fmt.Errorf("log: %w", store.ErrFatal)
}

func TestAFailedSyncEndsTheProcess(t *testing.T) {
	r := newRig(t)
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	var told atomic.Pointer[error]
	r.pipeline.Store, r.pipeline.Workers = broken{r.db}, 1
	r.pipeline.Fatal = func(err error) { told.Store(&err); stop() }
	r.pipeline.Run(ctx)
	require.NotNil(t, told.Load())
	require.ErrorIs(t, *told.Load(), store.ErrFatal)
}

func TestJobsOfLongAgoAreForgotten(t *testing.T) {
	r := newRig(t)
	r.send(t, scene(t, stageOne, 3))
	r.settle(t)
	r.clock.Pass(31 * 24 * time.Hour)
	ctx, stop := context.WithCancel(t.Context())
	var running sync.WaitGroup
	forgetting := &forgetful{DB: r.db, told: make(chan int, 10)}
	r.pipeline.Store = forgetting
	running.Go(func() { r.pipeline.Run(ctx) })
	assert.Equal(t, 1, <-forgetting.told, "the reading; the assessment is asked for anew at the first start with a method")
	stop()
	running.Wait()
	assert.Len(t, r.cases(t), 1)
}

// forgetful tells how many jobs were forgotten.
type forgetful struct {
	*store.DB
	told chan int
}

func (f *forgetful) ForgetDone(ctx context.Context, before time.Time, most int) (int, error) {
	n, err := f.DB.ForgetDone(ctx, before, most)
	f.told <- n
	return n, err
}

func TestAStopLetsTheJobEnd(t *testing.T) {
	r := newRig(t)
	began, end := make(chan struct{}), make(chan struct{})
	r.pipeline.Read = func(raw []byte) (*procedure.Report, error) {
		close(began)
		<-end
		return rdsr.Read(raw, rdsr.Options{Site: time.UTC})
	}
	receipt, _ := r.keep(t, written(t, scene(t, stageOne, 3)))
	ctx, stop := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { r.pipeline.Run(ctx); close(done) }()
	<-began
	stop()
	select {
	case <-done:
		t.Fatal("the stop did not wait for the job")
	case <-time.After(50 * time.Millisecond):
	}
	close(end)
	<-done
	got, err := r.db.Receipt(t.Context(), receipt.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptRead, got.State)
}

func TestNoPatientInTheLog(t *testing.T) {
	r := newRig(t)
	report := scene(t, stageOne, 3)
	r.send(t, report, renamed(report, 1))
	_, _, err := r.keeper.Keep(t.Context(), store.System("test"), "test", strings.NewReader("x"))
	require.True(t, errors.Is(err, ingest.ErrRefused))
	r.settle(t)
	require.NotEmpty(t, r.log.String())
	for _, word := range []string{report.Patient.ID, report.Patient.Name, strings.ReplaceAll(report.Patient.BirthDate, "-", "")} {
		require.NotEmpty(t, word)
		assert.NotContains(t, r.log.String(), word)
	}
}
