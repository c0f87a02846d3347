package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/skindose"
)

// drawAll draws the map of each case that has one: to the named file when there is one, else to numbered files.
func drawAll(name string, cases []assessed, messages io.Writer) error {
	var drawn []assessed
	for _, c := range cases {
		if c.SkinDose.Map != nil {
			drawn = append(drawn, c)
			continue
		}
		if !c.quality() {
			_, _ = fmt.Fprintf(messages, "afterbeam: %s: no map: %s\n", c.name(), c.SkinDose.Reason)
		}
	}
	for i, c := range drawn {
		to := name
		if len(drawn) > 1 {
			ext := filepath.Ext(name)
			to = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(name, ext), i+1, ext)
		}
		if err := draw(to, c); err != nil {
			return err
		}
	}
	return nil
}

// draw writes the map of a case as PNG or SVG by the name's ending.
func draw(name string, c assessed) error {
	return drawFigure(name, skinmap.Figure{
		Map: c.SkinDose.Map, Title: fmt.Sprintf("%s, %s, %s", c.Class.Title, c.Procedure.Device.Room, c.Procedure.Start.LocalDate()),
		Caption: fmt.Sprintf("method %s, %s: %s", c.SkinDose.Method, c.SkinDose.Class, methodWords(c.SkinDose.Method)),
		Low:     c.SkinDose.Low, High: c.SkinDose.High,
	})
}

func methodWords(m skindose.Method) string {
	if m == skindose.MethodMap {
		return "geometry from the report and the device profile"
	}
	return "part of the geometry is assumed"
}

// drawSum writes the accumulated map of several procedures.
func drawSum(name string, s assessment.Sum) error {
	return drawFigure(name, skinmap.Figure{
		Map: s.SkinDose.Map, Title: fmt.Sprintf("%d procedures from %s to %s", s.Procedures, s.From, s.To),
		Caption: "maps added patch by patch: a plain sum without biological repair",
		Low:     s.SkinDose.Low, High: s.SkinDose.High,
	})
}

func drawFigure(name string, f skinmap.Figure) (err error) {
	var to func(io.Writer, skinmap.Figure) error
	switch strings.ToLower(filepath.Ext(name)) {
	case ".png":
		to = skinmap.PNG
	case ".svg":
		to = skinmap.SVG
	default:
		return fmt.Errorf("%w: a map is .png or .svg, got %q", errUsage, name)
	}
	file, err := os.Create(name)
	if err != nil {
		return fmt.Errorf("cannot draw map: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return to(file, f)
}
