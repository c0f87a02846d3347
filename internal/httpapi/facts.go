package httpapi

import (
	"context"
	"errors"
	"strconv"

	"afterbeam/internal/store"
)

// ListFacts lists what people added to a procedure.
func (h *handlers) ListFacts(ctx context.Context, request ListFactsRequestObject) (ListFactsResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	facts, err := h.factsShown(ctx, c)
	if err != nil {
		return nil, err
	}
	return ListFacts200JSONResponse(facts), nil
}

func (h *handlers) factsShown(ctx context.Context, c store.Case) (FactList, error) {
	facts, err := h.store.Facts(ctx, c.ID)
	if err != nil {
		return FactList{}, err
	}
	if err := h.viewed(ctx, "facts.list", c.ID, c.PatientID); err != nil {
		return FactList{}, err
	}
	return FactList{Facts: every(facts, encodeFact)}, nil
}

// AddFacts adds facts to a procedure as the caller saw it. A caller that did not see what others added since is refused.
func (h *handlers) AddFacts(ctx context.Context, request AddFactsRequestObject) (AddFactsResponseObject, error) {
	c, err := h.seen(ctx, request.Id)
	if err != nil {
		return nil, err
	}
	if request.Params.IfMatch == nil || *request.Params.IfMatch == "*" {
		return nil, tell(errNoPrecondition, "this change wants If-Match with the ETag that the procedure was read with")
	}
	facts, err := h.facts(*request.Body)
	if err != nil {
		return nil, err
	}
	tag, err := h.store.Tag(ctx, c.ID)
	if err != nil {
		return nil, err
	}
	stale := tell(errStale, "the procedure changed since it was read; read it again")
	if !names(request.Params.IfMatch, quote(tag)) {
		return nil, stale
	}
	if err := h.store.AddFacts(ctx, callOf(ctx).actor(), c.ID, tag, facts); err != nil {
		if errors.Is(err, store.ErrConflict) {
			return nil, stale
		}
		return nil, err
	}
	list, err := h.factsShown(ctx, c)
	if err != nil {
		return nil, err
	}
	return AddFacts202JSONResponse(list), nil
}

// facts gives one fact for each property that was sent, under the property's name, numbers in the unit of that name.
func (h *handlers) facts(body FactsRequest) ([]store.Fact, error) {
	var facts []store.Fact
	add := func(name, value string) {
		facts = append(facts, store.Fact{Name: name, Value: value, Source: body.Source, Reason: body.Reason})
	}
	addNumber := func(name string, value *float64) {
		if value != nil {
			add(name, strconv.FormatFloat(*value, 'g', -1, 64))
		}
	}
	addNumber("height_cm", body.HeightCm)
	addNumber("weight_kg", body.WeightKg)
	addNumber("age_years", body.AgeYears)
	addNumber("table_offset_mm", body.TableOffsetMm)
	if body.Class != nil {
		if !h.cfg.KnownClass(*body.Class) {
			return nil, tell(store.ErrInvalid, "property class names no procedure class")
		}
		add("class", *body.Class)
	}
	if body.Direction != nil {
		add("direction", string(*body.Direction))
	}
	if body.Posture != nil {
		add("posture", string(*body.Posture))
	}
	if body.Arms != nil {
		add("arms", string(*body.Arms))
	}
	if len(facts) == 0 {
		return nil, tell(store.ErrInvalid, "there is no fact beside source and reason")
	}
	return facts, nil
}
