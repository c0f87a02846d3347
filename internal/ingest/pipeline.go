package ingest

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// Defaults of Pipeline.
const (
	leaseTime = 10 * time.Minute
	pollEvery = time.Second
	// retryAfter grows with each attempt.
	retryAfter = 2 * time.Second
	// timeLimit bounds the reading of one report and the estimating of one study; it is shorter than a lease.
	timeLimit = time.Minute
	// organLimit bounds the organ doses of one case, a matter of seconds on an idle machine; likewise.
	organLimit = 5 * time.Minute
	// mostDeaths is how often a job may be begun without an end, because the process ended meanwhile, until it counts as
	// what ends the process.
	mostDeaths = 3 * store.MaxAttempts
	// doneKept is how long the row of a job that is done is kept, forgetEvery how often older ones are deleted, mostForgotten at
	// a time: more in a day than a site sends.
	doneKept      = 30 * 24 * time.Hour
	forgetEvery   = time.Hour
	mostForgotten = 1000
)

// Work is the part of the store that the pipeline needs. store.DB is one.
type Work interface {
	Resume(ctx context.Context) error
	Renew(ctx context.Context, methods string) (int, error)
	SignedProfiles(ctx context.Context, key string) ([]store.Profile, error)
	LevelsInForce(ctx context.Context) (level.Set, bool, error)
	LexiconInForce(ctx context.Context) (int, []lexicon.Row, error)
	Unnamed(ctx context.Context, after string, limit int) ([]store.Version, error)
	KeepNames(ctx context.Context, names map[string]lexicon.Names) error
	ForgetDone(ctx context.Context, before time.Time, most int) (int, error)
	ForgetAnswered(ctx context.Context, before time.Time, most int) (int, error)
	ForgetSuperseded(ctx context.Context, before time.Time, most int) (int, error)
	Lease(ctx context.Context, owner string, lease time.Duration) (store.Job, error)
	Finish(ctx context.Context, j store.Job) error
	Retry(ctx context.Context, j store.Job, reason string, due time.Time) error
	Release(ctx context.Context, j store.Job, due time.Time) error
	QuarantineRead(ctx context.Context, j store.Job, reason string) error
	Receipt(ctx context.Context, id string) (store.Receipt, error)
	Raw(digest string) ([]byte, error)
	SaveReport(ctx context.Context, j store.Job, r store.Report, identity store.Identity) error
	ReportsOfStudy(ctx context.Context, study string) ([]store.Report, error)
	CaseOf(ctx context.Context, study, device, patient string) (string, error)
	Facts(ctx context.Context, id string) ([]store.Fact, error)
	Version(ctx context.Context, id string, number int) (store.Version, error)
	CasesOfPatient(ctx context.Context, patient string) ([]store.Case, error)
	StepsWithTotals(ctx context.Context, study string) ([]store.Performed, error)
	TotalsCases(ctx context.Context, study string) ([]store.Case, error)
	HasReport(ctx context.Context, p store.Performed) (bool, error)
	StepPatient(ctx context.Context, p store.Performed) (string, error)
	LastNotice(ctx context.Context, caseID string) (store.Notice, error)
	SaveAssessment(ctx context.Context, j store.Job, versions []store.Version, later ...store.Later) ([]string, error)
	OrgansBefore(ctx context.Context, id string) (store.OrganDose, error)
	SaveOrgans(ctx context.Context, j store.Job, o store.OrganDose) error
}

// Pipeline reads kept reports and assesses their procedures, job by job. Every step is one transaction that ends its job,
// so that a crash at any point leaves the job to be done again and nothing done twice.
type Pipeline struct {
	Store Work
	// Method holds all that decides an assessment but the device profiles: those are the signed ones of the store.
	Method  assessment.Method
	Reading rdsr.Options
	// Read reads a report; nil is rdsr.Read with the options Reading.
	Read func(raw []byte) (*procedure.Report, error)
	// Summarise gives the result as the interface shows it.
	Summarise func(assessment.Assessment) ([]byte, error)
	// Organs says how organ doses are computed; nil computes none.
	Organs *Organs
	// Quiet is how long after its last report a case without a closing one counts as complete.
	Quiet   time.Duration
	Workers int
	// LateDays is the age in days from which what a back-fill brings is not told as new; 0 is DefaultLateDays.
	LateDays int
	// Retention ends rows that no answer needs any more.
	Retention Retention
	// TimeLimit bounds the reading of one report and the estimating of one study; 0 is a minute.
	TimeLimit time.Duration
	// Fatal is told of a failed fsync; it must end the process.
	Fatal func(error)
	Log   *slog.Logger
	Now   func() time.Time

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

// Run works until ctx ends, and returns when every worker has finished its job. Jobs that a process which ended had
// begun are done again, and when methods, tables or levels are others than before, every study is estimated anew in the
// background.
func (p *Pipeline) Run(ctx context.Context) {
	for err := p.begin(ctx); err != nil && ctx.Err() == nil; err = p.begin(ctx) {
		p.failed("resume work", err)
		pause(ctx, pollEvery)
	}
	var workers sync.WaitGroup
	for i := range max(p.Workers, 1) {
		workers.Go(func() { p.work(ctx, fmt.Sprintf("worker %d", i+1)) })
	}
	workers.Go(func() { p.forget(ctx) })
	workers.Go(func() { p.nameAll(ctx) })
	workers.Wait()
}

// Retention says how long rows are kept that no answer needs any more; 0 is for good.
type Retention struct {
	// Commitments is how long a storage commitment is kept after its answer, SkinSums a sum of skin dose of versions that
	// others have taken the place of.
	Commitments, SkinSums time.Duration
}

// forget deletes the rows of jobs that were done long ago, and what else the Retention ends, now and from time to time.
func (p *Pipeline) forget(ctx context.Context) {
	tick := time.NewTicker(forgetEvery)
	defer tick.Stop()
	for ctx.Err() == nil {
		if _, err := p.Store.ForgetDone(ctx, p.Now().Add(-doneKept), mostForgotten); err != nil && ctx.Err() == nil {
			p.failed("forget done jobs", err)
		}
		p.expire(ctx, "forget answered commitments", p.Retention.Commitments, p.Store.ForgetAnswered)
		p.expire(ctx, "forget superseded skin sums", p.Retention.SkinSums, p.Store.ForgetSuperseded)
		select {
		case <-ctx.Done():
		case <-tick.C:
		}
	}
}

func (p *Pipeline) expire(ctx context.Context, doing string, kept time.Duration, forget func(context.Context, time.Time, int) (int, error)) {
	if kept <= 0 {
		return
	}
	if _, err := forget(ctx, p.Now().Add(-kept), mostForgotten); err != nil && ctx.Err() == nil {
		p.failed(doing, err)
	}
}

func (p *Pipeline) begin(ctx context.Context) error {
	if err := p.Store.Resume(ctx); err != nil {
		return err
	}
	studies, err := p.Store.Renew(ctx, strings.TrimSpace(p.methods(p.Method.Levels)+" "+p.organMethods()))
	if err == nil && studies > 0 {
		p.Log.Info("methods, tables or levels are new: everything is estimated anew", "studies", studies)
	}
	return err
}

func (p *Pipeline) work(ctx context.Context, owner string) {
	poll := time.NewTicker(pollEvery)
	defer poll.Stop()
	for ctx.Err() == nil {
		worked, err := p.Step(ctx, owner)
		if err != nil && ctx.Err() == nil {
			p.failed("pipeline step", err)
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
	finishing := context.WithoutCancel(ctx)
	started := p.Now()
	err = p.do(finishing, job)
	p.Log.Debug("job done", "kind", string(job.Kind), "attempt", job.Attempt, "took_ms", p.Now().Sub(started).Milliseconds(), "error", err)
	settled := p.settle(finishing, job, err)
	// Nobody takes the job until its lease runs out, so it is settled as soon as the storage takes that.
	for errors.Is(settled, store.ErrUnavailable) && ctx.Err() == nil {
		p.failed("settle job", settled)
		pause(ctx, pollEvery)
		settled = p.settle(finishing, job, err)
	}
	if errors.Is(err, store.ErrUnavailable) {
		settled = errors.Join(err, settled)
	}
	return true, settled
}

// do does a job.
func (p *Pipeline) do(ctx context.Context, job store.Job) error {
	if job.Attempt > mostDeaths {
		return poison(fmt.Sprintf("begun %d times, and each time the program ended before it was done", job.Attempt-1))
	}
	switch job.Kind {
	case store.JobRead:
		return p.read(ctx, job)
	case store.JobAssess:
		return p.assess(ctx, job)
	case store.JobOrgans:
		return p.organs(ctx, job)
	}
	return poison(fmt.Sprintf("no job of kind %q is known", job.Kind))
}

// settle deals with a job that failed: a lost lease is nothing, an unusable report goes to quarantine, a storage that
// takes nothing now costs the job no attempt, anything else is tried again later.
func (p *Pipeline) settle(ctx context.Context, job store.Job, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, store.ErrConflict):
		p.Log.Warn("job was taken over", "kind", string(job.Kind))
		return nil
	case errors.Is(err, store.ErrFatal):
		return err
	case errors.Is(err, store.ErrUnavailable):
		return p.Store.Release(ctx, job, p.Now().Add(retryAfter))
	case job.Kind == store.JobRead && (isPoison(err) || errors.Is(err, errUnusable)):
		p.Log.Warn("report quarantined", "receipt", job.Subject, "reason", reasonOf(err))
		return p.Store.QuarantineRead(ctx, job, reasonOf(err))
	case isPoison(err):
		// It would fail the same way again: this try is the last.
		job.Attempt = min(max(job.Attempt, store.MaxAttempts), mostDeaths-1) // so that a new report lets it be begun once more
	}
	message := "job failed, to be tried again"
	if job.Attempt >= store.MaxAttempts {
		message = "job failed for good"
	}
	p.Log.Error(message, "kind", string(job.Kind), "subject", job.Subject, "attempt", job.Attempt, "error", err)
	return p.Store.Retry(ctx, job, reasonOf(err), p.Now().Add(retryAfter*time.Duration(job.Attempt*job.Attempt)))
}

// failed logs what the store did not do. After a failed fsync the process must end.
func (p *Pipeline) failed(doing string, err error) {
	p.Log.Error(doing+" failed", "error", err)
	if errors.Is(err, store.ErrFatal) {
		p.Fatal(err)
	}
}

func pause(ctx context.Context, d time.Duration) {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
	case <-timer.C:
	}
}
