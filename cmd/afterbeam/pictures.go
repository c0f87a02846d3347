package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/ingest"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// pictures draws the stored maps for the interface. Without a pipeline it cannot tell which events reached which skin.
type pictures struct{ pipeline *ingest.Pipeline }

// Draw gives the map of a version as png, svg, json, flat or skin.
func (d pictures) Draw(ctx context.Context, v store.Version, format string) (string, []byte, error) {
	if len(v.Map) == 0 {
		return "", nil, fmt.Errorf("%w: this version has no map (method %s)", store.ErrNotFound, v.Case.PSDMethod)
	}
	p, err := archive.ReadMap(v.Map)
	if err != nil {
		return "", nil, err
	}
	if format == "json" {
		body, err := json.Marshal(casejson.MapOf(p.Map, p.Low, p.High))
		return "application/json", body, err
	}
	figure := skinmap.Figure{
		Map: p.Map, Title: fmt.Sprintf("%s, %s, %s", lexicon.ClassOf(v.Case.Class).Title, plain(v.Case.Room), v.Case.LocalDate),
		Caption: fmt.Sprintf("method %s; version %d of %s", v.Case.PSDMethod, v.Number, v.MadeAt.Format("2006-01-02 15:04 MST")),
		Low:     p.Low, High: p.High, Assumed: assumedIn(v.Summary),
	}
	var out bytes.Buffer
	switch format {
	case "svg":
		err = skinmap.SVG(&out, figure)
		return "image/svg+xml", out.Bytes(), err
	case "flat":
		flat, err := skinmap.FlatOf(figure)
		return asJSON(flat, err)
	case "skin":
		hits, unknown := d.hits(ctx, v, p.Map)
		skin, err := skinmap.Turn(figure, hits, unknown)
		return asJSON(skin, err)
	}
	err = skinmap.PNG(&out, figure)
	return "image/png", out.Bytes(), err
}

func asJSON(v any, err error) (string, []byte, error) {
	if err != nil {
		return "", nil, err
	}
	body, err := json.Marshal(v)
	return "application/json", body, err
}

// hits tells what the events gave to each patch of a stored map. The beams are placed once more for it; where that gives
// another map than the stored one, nothing is told of it.
func (d pictures) hits(ctx context.Context, v store.Version, stored *skindose.Map) ([][]skindose.Contribution, string) {
	if d.pipeline == nil {
		return nil, "the events are not at hand"
	}
	again, hits, err := d.pipeline.Hits(ctx, v)
	if err != nil {
		return nil, "the beams of this version cannot be placed again"
	}
	if !slices.Equal(again.Dose, stored.Dose) {
		return nil, "this version was made by another method or device profile than those in force, so that its beams are not known any more"
	}
	return hits, ""
}

// assumedIn reads what a stored result was made to assume; nothing of one that lacks it.
func assumedIn(summary []byte) []string {
	var c casejson.Case
	if json.Unmarshal(summary, &c) != nil {
		return nil
	}
	return c.SkinDose.Assumptions
}
