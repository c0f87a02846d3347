package ingest

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// Defaults of Pipeline.
const (
	leaseTime = 2 * time.Minute
	pollEvery = time.Second
	// retryAfter grows with each attempt.
	retryAfter = 2 * time.Second
)

// Work is the part of the store that the pipeline needs. store.DB is one.
type Work interface {
	Lease(ctx context.Context, owner string, lease time.Duration) (store.Job, error)
	Finish(ctx context.Context, j store.Job) error
	Retry(ctx context.Context, j store.Job, reason string, due time.Time) error
	QuarantineRead(ctx context.Context, j store.Job, reason string) error
	Receipt(ctx context.Context, id string) (store.Receipt, error)
	Raw(digest string) ([]byte, error)
	SaveReport(ctx context.Context, j store.Job, r store.Report, identity store.Identity) error
	ReportsOfStudy(ctx context.Context, study string) ([]store.Report, error)
	CaseOf(ctx context.Context, study, device, patient string) (string, error)
	Facts(ctx context.Context, id string) ([]store.Fact, error)
	Version(ctx context.Context, id string, number int) (store.Version, error)
	CasesOfPatient(ctx context.Context, patient string) ([]store.Case, error)
	SaveAssessment(ctx context.Context, j store.Job, versions []store.Version, later ...store.Later) ([]string, error)
}

// Pipeline reads kept reports and assesses their procedures, job by job. Every step is one transaction that ends its job,
// so that a crash at any point leaves the job to be done again and nothing done twice.
type Pipeline struct {
	Store   Work
	Method  assessment.Method
	Reading rdsr.Options
	// Summarise gives the result as the interface shows it.
	Summarise func(assessment.Assessment) ([]byte, error)
	// Quiet is how long after its last report a case without a closing one counts as complete.
	Quiet   time.Duration
	Workers int
	Log     *slog.Logger
	Now     func() time.Time

	wake chan struct{}
	once sync.Once
	// large lets one large report be read at a time.
	large sync.Mutex
}

// Wake tells that there is new work; it never blocks.
func (p *Pipeline) Wake() {
	select {
	case p.signal() <- struct{}{}:
	default:
	}
}

func (p *Pipeline) signal() chan struct{} {
	p.once.Do(func() { p.wake = make(chan struct{}, 1) })
	return p.wake
}

// Run works until ctx ends, and returns when every worker has finished its job.
func (p *Pipeline) Run(ctx context.Context) {
	var workers sync.WaitGroup
	for i := range max(p.Workers, 1) {
		workers.Go(func() { p.work(ctx, fmt.Sprintf("worker %d", i+1)) })
	}
	workers.Wait()
}

func (p *Pipeline) work(ctx context.Context, owner string) {
	poll := time.NewTicker(pollEvery)
	defer poll.Stop()
	for ctx.Err() == nil {
		worked, err := p.Step(ctx, owner)
		if err != nil && ctx.Err() == nil {
			p.Log.Error("pipeline step failed", "worker", owner, "error", err)
		}
		if worked && err == nil {
			// There may be more: let another worker look as well.
			p.Wake()
			continue
		}
		select {
		case <-ctx.Done():
		case <-p.signal():
		case <-poll.C:
		}
	}
}

// Step does one job, if any is due. An error of the job itself is dealt with; the error returned is one of the store.
func (p *Pipeline) Step(ctx context.Context, owner string) (worked bool, err error) {
	job, err := p.Store.Lease(ctx, owner, leaseTime)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	crashpoint.Reached(crashpoint.JobLeased)
	// A job under way is finished even when the service stops meanwhile.
	ctx = context.WithoutCancel(ctx)
	started := p.Now()
	err = p.guarded(ctx, job)
	p.Log.Debug("job done", "kind", string(job.Kind), "attempt", job.Attempt, "took_ms", p.Now().Sub(started).Milliseconds(), "error", err)
	return true, p.settle(ctx, job, err)
}

// guarded does a job; a panic in it becomes an error, so that one poisonous report never stops the others.
func (p *Pipeline) guarded(ctx context.Context, job store.Job) (err error) {
	defer func() {
		if r := recover(); r != nil {
			p.Log.Error("panic in job", "kind", string(job.Kind), "panic", fmt.Sprint(r), "stack", string(debug.Stack()))
			err = fmt.Errorf("%w: internal error", errPoison)
		}
	}()
	switch job.Kind {
	case store.JobRead:
		return p.read(ctx, job)
	case store.JobAssess:
		return p.assess(ctx, job)
	}
	return fmt.Errorf("%w: job of kind %q", errPoison, job.Kind)
}

// errPoison marks a job that would fail the same way again.
var errPoison = errors.New("cannot be done")

// settle deals with a job that failed: a lost lease is nothing, an unusable report goes to quarantine, anything else is
// tried again later.
func (p *Pipeline) settle(ctx context.Context, job store.Job, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, store.ErrConflict):
		p.Log.Warn("job was taken over", "kind", string(job.Kind))
		return nil
	case job.Kind == store.JobRead && (errors.Is(err, errPoison) || errors.Is(err, errUnusable)):
		return p.Store.QuarantineRead(ctx, job, reasonOf(err))
	}
	p.Log.Error("job failed", "kind", string(job.Kind), "attempt", job.Attempt, "error", err)
	due := p.Now().Add(retryAfter * time.Duration(job.Attempt*job.Attempt))
	return p.Store.Retry(ctx, job, reasonOf(err), due)
}
