package ingest

import (
	"context"
	"fmt"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/store"
)

// NextStage lays the stored cases of one patient on one body, as their newest versions have them, with the device profiles
// that hold now.
func (p *Pipeline) NextStage(ctx context.Context, cases []store.Case) (assessment.NextStage, error) {
	method := p.Method
	method.Profiles = nil
	devices := map[string]bool{}
	earlier := make([]assessment.Earlier, 0, len(cases))
	for _, c := range cases {
		v, err := p.Store.Version(ctx, c.ID, 0)
		if err != nil {
			return assessment.NextStage{}, err
		}
		kept, err := archive.ReadProcedure(v.Body)
		if err != nil {
			return assessment.NextStage{}, fmt.Errorf("case %s: %w", c.ID, err)
		}
		earlier = append(earlier, assessment.Earlier{Procedure: kept.Procedure, Facts: kept.Facts})
		if devices[c.DeviceKey] {
			continue
		}
		devices[c.DeviceKey] = true
		own, err := p.methodFor(ctx, c.DeviceKey)
		if err != nil {
			return assessment.NextStage{}, err
		}
		method.Profiles = append(method.Profiles, own.Profiles...)
	}
	return guarded(p.Log, p.limit(), func() (assessment.NextStage, error) { return method.NextStage(earlier) })
}
