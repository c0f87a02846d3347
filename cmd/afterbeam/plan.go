package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"afterbeam/internal/export/outlook"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

type planCommand struct {
	Paths []string `arg:"" name:"file" help:"Dose report files of the earlier procedures of one patient, or folders of them."`
	Beam  []string `placeholder:"P/S:GY" sep:"none" help:"A planned beam: primary angle (LAO +), secondary angle (cranial +) and the reference air kerma expected of it, such as --beam=-30/10:0.8; in the order in which they are expected."`
	Grid  float64  `placeholder:"GY" help:"Reference air kerma for a grid over directions: what so much would do from each of them."`
	Place string   `placeholder:"NAME" help:"Place along the body at the isocentre, such as heart or visceral_aorta; that of the newest procedure by default."`
	Field float64  `placeholder:"MM" help:"Side of a square field at the detector in mm; that of the newest procedure by default."`
	JSON  bool     `help:"Write JSON instead of text."`

	Picture string `placeholder:"FILE" help:"Draw the grid of directions as .png or .svg."`
	methodOptions
	factOptions
}

// Run looks ahead from the files' procedures.
func (v *planCommand) Run(c console) error {
	method, methodErr := v.method()
	facts, factsErr := v.facts()
	reading, readingErr := v.reading()
	ask, askErr := v.ask()
	for _, err := range []error{methodErr, factsErr, readingErr, askErr} {
		if err != nil {
			return fmt.Errorf("%w: %w", errUsage, err)
		}
	}
	names, missing := list(v.Paths)
	r := receive(names, reading, bar(c.err, "reading"))
	r.refused = append(missing, r.refused...)
	l := follow(r, method, facts)
	if l.patients > 1 {
		return fmt.Errorf("%w: a plan is for one patient, and these files are of %d", errUsage, l.patients)
	}
	var earlier []assessment.Earlier
	for _, a := range l.cases {
		earlier = append(earlier, assessment.Earlier{Procedure: a.Procedure, Facts: facts})
	}
	next, err := method.NextStage(earlier)
	if err != nil {
		return errors.Join(err, complain(c.err, l, r))
	}
	doc, err := outlook.Of(next, ask)
	if err != nil {
		return err
	}
	if v.Picture != "" {
		if err := drawDirections(v.Picture, doc.Picture("")); err != nil {
			return err
		}
	}
	if err := v.print(c.out, doc); err != nil {
		return err
	}
	return complain(c.err, l, r)
}

// ask checks what is asked for.
func (v *planCommand) ask() (outlook.Ask, error) {
	ask := outlook.Ask{Grid: quantity.Gray(v.Grid), Place: v.Place, Field: quantity.Millimetre(v.Field)}
	var err error
	if ask.Beams, err = plannedBeams(v.Beam); err != nil {
		return ask, err
	}
	if err := ask.Check(); err != nil {
		return ask, fmt.Errorf("--beam, --grid, --field, --place: %w", err)
	}
	if v.Picture == "" {
		return ask, nil
	}
	if v.Grid == 0 {
		return ask, errors.New("--picture draws the grid of directions and wants --grid")
	}
	return ask, drawable("--picture", v.Picture)
}

// plannedBeams reads beams such as -30/10:0.8.
func plannedBeams(texts []string) ([]skindose.Planned, error) {
	var all []skindose.Planned
	for _, text := range texts {
		angles, kerma, ok := strings.Cut(text, ":")
		primary, secondary, both := strings.Cut(angles, "/")
		var numbers [3]float64
		for i, part := range []string{primary, secondary, kerma} {
			x, err := strconv.ParseFloat(part, 64)
			ok = ok && both && err == nil
			numbers[i] = x
		}
		if !ok || !within(numbers[0], -180, 180) || !within(numbers[1], -90, 90) || !within(numbers[2], 0.001, 100) {
			return nil, fmt.Errorf("--beam wants primary/secondary:Gy such as -30/10:0.8, angles within 180 and 90 degrees and 0.001 to 100 Gy, got %q", text)
		}
		all = append(all, skindose.Planned{
			Direction: skindose.Direction{Primary: quantity.Degree(numbers[0]), Secondary: quantity.Degree(numbers[1])}, Kerma: quantity.Gray(numbers[2]),
		})
	}
	return all, nil
}

func (v *planCommand) print(w io.Writer, doc outlook.Document) error {
	if !v.JSON {
		return doc.Text(w)
	}
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	return encoder.Encode(doc)
}
