package ingest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// DefaultLateDays is the age in days from which what a back-fill brings is not told as new.
const DefaultLateDays = 30

// estimated is a version that was made, with what a notice of it would say.
type estimated struct {
	store.Version
	before  string // id of the case, "" for a new one
	content quantity.Opt[notice.Content]
}

// totals says that the case is made of announced totals.
func (e *estimated) totals() {
	if n, ok := e.content.Get(); ok {
		n.Totals = true
		e.content = quantity.Some(n)
	}
}

// tell decides what is told of each case, and gives the versions with the notices that are queued with them.
func (p *Pipeline) tell(ctx context.Context, job store.Job, made []estimated) ([]store.Version, error) {
	versions := make([]store.Version, len(made))
	for i, e := range made {
		versions[i] = e.Version
		now, ok := e.content.Get()
		if !ok {
			continue
		}
		told, err := p.told(ctx, e.before)
		if err != nil {
			return nil, err
		}
		if !told.Present() && notice.Late(now.Date, p.Now(), p.lateDays(), job.Priority == store.Background) {
			continue
		}
		n, ok := notice.Next(told, now, e.Change)
		if !ok {
			continue
		}
		body, err := json.Marshal(n.Content)
		if err != nil {
			return nil, fmt.Errorf("write notice: %w", err)
		}
		versions[i].Notice = &store.NewNotice{Kind: n.Kind, Rank: n.Rank, Urgent: n.Urgent, Content: body}
	}
	return versions, nil
}

// told gives what the last notice of a case said.
func (p *Pipeline) told(ctx context.Context, id string) (quantity.Opt[notice.Content], error) {
	none := quantity.None[notice.Content]()
	if id == "" {
		return none, nil
	}
	last, err := p.Store.LastNotice(ctx, id)
	if errors.Is(err, store.ErrNotFound) {
		return none, nil
	}
	if err != nil {
		return none, err
	}
	var content notice.Content
	if err := json.Unmarshal(last.Content, &content); err != nil {
		return none, fmt.Errorf("read notice %s: %w", last.ID, err)
	}
	return quantity.Some(content), nil
}

func (p *Pipeline) lateDays() int {
	if p.LateDays > 0 {
		return p.LateDays
	}
	return DefaultLateDays
}
