package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"sync/atomic"

	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/store"
)

// Organs says how organ doses are computed after each assessment.
type Organs struct {
	Budget organ.Budget
	passed atomic.Pointer[func(study string) string]
}

// PassOver has studies left out of which passed gives a reason, "" for none; it may be called while the pipeline runs.
func (o *Organs) PassOver(passed func(study string) string) { o.passed.Store(&passed) }

func (o *Organs) passedOver(study string) string {
	if passed := o.passed.Load(); passed != nil {
		return (*passed)(study)
	}
	return ""
}

// organMethods names the method of organ doses; "" when none are computed.
func (p *Pipeline) organMethods() string {
	if p.Organs == nil {
		return ""
	}
	return fmt.Sprintf("%s histories:%d", organ.Version, p.Organs.Budget.Histories)
}

// organs computes the organ doses of a case's newest version, as its procedure, facts and device profile stand now. The
// random numbers follow from these alone, so that what was computed of an earlier version with the same still stands.
func (p *Pipeline) organs(ctx context.Context, job store.Job) error {
	if p.Organs == nil {
		return p.Store.Finish(ctx, job)
	}
	v, err := p.Store.Version(ctx, job.Subject, 0)
	if err != nil {
		return err
	}
	name := sha256.Sum256(append([]byte(v.Methods), v.Body...))
	key := hex.EncodeToString(name[:8])
	o := store.OrganDose{CaseID: v.Case.ID, Version: v.Number, Methods: p.organMethods()}
	before, err := p.Store.OrgansBefore(ctx, v.Case.ID)
	switch {
	case err == nil && before.Methods == o.Methods && keyOf(before) == key:
		o.Body = before.Body
		return p.Store.SaveOrgans(ctx, job, o)
	case err != nil && !errors.Is(err, store.ErrNotFound):
		return err
	}
	if o.Body, o.Reason, err = p.computeOrgans(ctx, v, key); err != nil {
		return err
	}
	return p.Store.SaveOrgans(ctx, job, o)
}

// keyOf names the inputs of computed organ doses, "" where there are none.
func keyOf(o store.OrganDose) string {
	var d organ.Doses
	if o.Reason != "" || json.Unmarshal(o.Body, &d) != nil {
		return ""
	}
	return d.Key
}

// computeOrgans follows the photons of a version, or gives the reason why there is nothing to compute.
func (p *Pipeline) computeOrgans(ctx context.Context, v store.Version, key string) (body []byte, reason string, err error) {
	if why := p.Organs.passedOver(v.Case.StudyUID); why != "" {
		return nil, why, nil
	}
	kept, err := archive.ReadProcedure(v.Body)
	if err != nil {
		return nil, "", fmt.Errorf("case %s: %w", v.Case.ID, err)
	}
	method, err := p.methodFor(ctx, v.Case.DeviceKey)
	if err != nil {
		return nil, "", err
	}
	type result struct {
		body   []byte
		reason string
	}
	bounded, cancel := context.WithTimeout(ctx, organLimit)
	defer cancel()
	r, err := guarded(p.Log, organLimit, func() (result, error) {
		c, reason := method.OrganCase(kept.Procedure, kept.Facts, key)
		if reason != "" {
			return result{reason: reason}, nil
		}
		c.Budget, c.Workers = p.Organs.Budget, runtime.GOMAXPROCS(0)
		d, err := organ.Compute(bounded, c)
		if err != nil {
			return result{}, fmt.Errorf("organ doses: %w", err)
		}
		body, err := json.Marshal(d)
		return result{body: body}, err
	})
	return r.body, r.reason, err
}
