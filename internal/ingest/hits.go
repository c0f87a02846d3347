package ingest

import (
	"context"
	"fmt"

	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/store"
)

// Hits makes the map of a stored version once more, with the device profiles that hold now, and gives for each patch of the
// skin what each event gave there. Whoever uses it compares the map with the one that was kept: another method or profile
// since then makes another.
func (p *Pipeline) Hits(ctx context.Context, v store.Version) (*skindose.Map, [][]skindose.Contribution, error) {
	kept, err := archive.ReadProcedure(v.Body)
	if err != nil {
		return nil, nil, fmt.Errorf("case %s: %w", v.Case.ID, err)
	}
	method, err := p.methodFor(ctx, v.Case.DeviceKey)
	if err != nil {
		return nil, nil, err
	}
	type hits struct {
		drawn *skindose.Map
		parts [][]skindose.Contribution
	}
	found, err := guarded(p.Log, p.limit(), func() (hits, error) {
		drawn, parts, err := method.Hits(kept.Procedure, kept.Facts)
		return hits{drawn, parts}, err
	})
	return found.drawn, found.parts, err
}
