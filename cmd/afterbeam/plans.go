package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/ingest"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// plans looks ahead from a patient's stored cases, and at what they left together.
type plans struct {
	pipeline *ingest.Pipeline
	sums     sums
}

// Plan gives what planned beams would add to the skin that the cases irradiated.
func (p plans) Plan(ctx context.Context, cases []store.Case, ask outlook.Ask) (outlook.Document, error) {
	next, err := p.pipeline.NextStage(ctx, cases)
	if err != nil {
		return outlook.Document{}, err
	}
	return outlook.Of(next, ask)
}

// Drawn gives the skin dose of all the cases on one body as png, svg or json.
func (p plans) Drawn(ctx context.Context, cases []store.Case, format string) (string, []byte, error) {
	next, err := p.pipeline.NextStage(ctx, cases)
	if err != nil {
		return "", nil, err
	}
	figure := skinmap.Figure{Map: next.Already, Caption: "maps laid on one body and added patch by patch: a plain sum without biological repair; where procedures overlap is less certain than the range"}
	figure.Low, figure.High, err = p.between(ctx, cases, next.Already.PeakDose())
	if err != nil {
		return "", nil, err
	}
	if format == "json" {
		body, err := json.Marshal(casejson.MapOf(figure.Map, figure.Low, figure.High))
		return "application/json", body, err
	}
	figure.Title = fmt.Sprintf("Skin dose of %d procedures together, %d of them with a map, up to %s", len(next.Assessments), next.Mapped, newestOf(cases))
	var out bytes.Buffer
	if format == "svg" {
		err = skinmap.SVG(&out, figure)
		return "image/svg+xml", out.Bytes(), err
	}
	err = skinmap.PNG(&out, figure)
	return "image/png", out.Bytes(), err
}

// between gives the range of the peak as it was worked out with the newest of the cases, nothing where it is of another peak.
func (p plans) between(ctx context.Context, cases []store.Case, peak quantity.Gray) (low, high quantity.Opt[quantity.Gray], err error) {
	windows, err := p.sums.windows(ctx, cases, newestOf(cases))
	if err != nil {
		return low, high, err
	}
	for _, w := range windows {
		if laid, ok := w.Laid.Get(); ok && w.Days == 0 && laid.Value == quantity.Some(peak) {
			return laid.Low, laid.High, nil
		}
	}
	return low, high, nil
}

// newestOf is the local day of the newest case.
func newestOf(cases []store.Case) string {
	newest := ""
	for _, c := range cases {
		newest = max(newest, c.LocalDate)
	}
	return newest
}
