package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/ingest/archive"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// pictures draws the stored maps for the interface.
type pictures struct{}

// Draw gives the map of a version as png, svg or json.
func (pictures) Draw(_ context.Context, v store.Version, format string) (string, []byte, error) {
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
	if format == "svg" {
		err = skinmap.SVG(&out, figure)
		return "image/svg+xml", out.Bytes(), err
	}
	err = skinmap.PNG(&out, figure)
	return "image/png", out.Bytes(), err
}

// assumedIn reads what a stored result was made to assume; nothing of one that lacks it.
func assumedIn(summary []byte) []string {
	var c casejson.Case
	if json.Unmarshal(summary, &c) != nil {
		return nil
	}
	return c.SkinDose.Assumptions
}
