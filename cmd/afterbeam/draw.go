package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"afterbeam/internal/export/skinmap"
)

// drawable checks the name of a picture before the work begins.
func drawable(option, name string) error {
	if !picture(name) {
		return errNoPicture(name)
	}
	if info, err := os.Stat(filepath.Dir(name)); err != nil || !info.IsDir() {
		return fmt.Errorf("%s %s: the folder %q does not exist", option, name, filepath.Dir(name))
	}
	return nil
}

// picture tells whether a name is that of a picture, by its ending.
func picture(name string) bool { return ending(name) == ".png" || ending(name) == ".svg" }

func ending(name string) string { return strings.ToLower(filepath.Ext(name)) }

func errNoPicture(name string) error { return fmt.Errorf("a picture is .png or .svg, got %q", name) }

// drawAll draws the map of each case that has one, to the named file when there is one, else to numbered files, and
// notes the file with the case.
func drawAll(name string, cases []assessed, messages io.Writer) error {
	maps := 0
	for _, c := range cases {
		if c.SkinDose.Map != nil {
			maps++
		} else if !c.quality() {
			_, _ = fmt.Fprintf(messages, "afterbeam: %s: no map: %s\n", plain(c.name()), plain(c.SkinDose.Reason))
		}
	}
	drawn := 0
	for i := range cases {
		if cases[i].SkinDose.Map == nil {
			continue
		}
		drawn++
		to := name
		if maps > 1 {
			ext := filepath.Ext(name)
			to = fmt.Sprintf("%s-%d%s", strings.TrimSuffix(name, ext), drawn, ext)
		}
		if err := draw(to, cases[i], ""); err != nil {
			return err
		}
		cases[i].drawn = to
	}
	return nil
}

// draw writes the map of a case as PNG or SVG by the name's ending; the note stands behind the title.
func draw(name string, c assessed, note string) error {
	day := c.Procedure.Start.LocalDate()
	return drawFigure(name, skinmap.Figure{
		Map:     c.SkinDose.Map,
		Title:   plain(fmt.Sprintf("%s, %s, %s%s", c.Class.Title, orWord(c.Procedure.Device.Room, "room not named"), orWord(day, "date unknown"), note)),
		Caption: fmt.Sprintf("method %s: %s; inputs %s", c.SkinDose.Method, methodWords(c.SkinDose.Method), c.SkinDose.Class),
		Low:     c.SkinDose.Low, High: c.SkinDose.High, Assumed: c.SkinDose.Assumptions,
	})
}

// drawSum writes the accumulated map of several procedures.
func drawSum(name string, s summed, note string) error {
	return drawFigure(name, skinmap.Figure{
		Map: s.sum.SkinDose.Map, Title: fmt.Sprintf("%d procedures in the %d days up to %s%s", s.sum.Procedures, s.sum.Days, s.sum.To, note),
		Caption: "maps added patch by patch: a plain sum without biological repair",
		Low:     s.sum.SkinDose.Low, High: s.sum.SkinDose.High,
	})
}

func drawFigure(name string, f skinmap.Figure) error {
	return drawTo(name, func(w io.Writer) error { return skinmap.PNG(w, f) }, func(w io.Writer) error { return skinmap.SVG(w, f) })
}

// drawDirections writes the grid of a plan.
func drawDirections(name string, d skinmap.Directions) error { return drawTo(name, d.PNG, d.SVG) }

// drawTo writes a picture in the form that the name's ending asks for.
func drawTo(name string, png, svg func(io.Writer) error) (err error) {
	if !picture(name) {
		return errNoPicture(name)
	}
	file, err := os.Create(name)
	if err != nil {
		return fmt.Errorf("cannot draw: %w", err)
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	if ending(name) == ".svg" {
		return svg(file)
	}
	return png(file)
}
