package ingest

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"runtime"

	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/store"
)

// Organs says how organ doses are computed after each assessment.
type Organs struct {
	Budget organ.Budget
}

// organMethods names the method of organ doses; "" when none are computed.
func (p *Pipeline) organMethods() string {
	if p.Organs == nil {
		return ""
	}
	return fmt.Sprintf("%s histories:%d", organ.Version, p.Organs.Budget.Histories)
}

// organs computes the organ doses of a case's newest version, as its procedure, facts and device profile stand now. The
// random numbers follow from the procedure and its facts alone.
func (p *Pipeline) organs(ctx context.Context, job store.Job) error {
	if p.Organs == nil {
		return p.Store.Finish(ctx, job)
	}
	v, err := p.Store.Version(ctx, job.Subject, 0)
	if err != nil {
		return err
	}
	kept, err := archive.ReadProcedure(v.Body)
	if err != nil {
		return fmt.Errorf("case %s: %w", job.Subject, err)
	}
	method, err := p.methodFor(ctx, v.Case.DeviceKey)
	if err != nil {
		return err
	}
	name := sha256.Sum256(v.Body)
	o := store.OrganDose{CaseID: v.Case.ID, Version: v.Number, Methods: p.organMethods()}
	bounded, cancel := context.WithTimeout(ctx, organLimit)
	defer cancel()
	o.Body, err = guarded(p.Log, organLimit, func() ([]byte, error) {
		c, reason := method.OrganCase(kept.Procedure, kept.Facts, hex.EncodeToString(name[:8]))
		if reason != "" {
			o.Reason = reason
			return nil, nil
		}
		c.Budget, c.Workers = p.Organs.Budget, runtime.GOMAXPROCS(0)
		d, err := organ.Compute(bounded, c)
		if err != nil {
			return nil, fmt.Errorf("organ doses: %w", err)
		}
		return json.Marshal(d)
	})
	if err != nil {
		return err
	}
	return p.Store.SaveOrgans(ctx, job, o)
}
