package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/physics/skindose"
)

type estimateCommand struct {
	Paths   []string `arg:"" name:"file" help:"Dose report files, or folders of them."`
	JSON    bool     `help:"Write JSON (schema in api/estimate.schema.json) instead of text."`
	Map     string   `placeholder:"FILE" help:"Draw the skin dose map to FILE, .png or .svg; several cases get numbered files in the order of the cases."`
	Why     bool     `help:"List every level compared, all findings, assumptions and the parts of the range."`
	Sources bool     `help:"List the source of every level and coefficient and how it is known."`
	Organs  bool     `help:"Compute organ doses and the effective dose of each case's own beams, in seconds a case."`
	methodOptions
	factOptions
}

// errUsage marks arguments that do not fit together.
var errUsage = errors.New("usage")

// Run estimates the files and prints the result.
func (e *estimateCommand) Run(c console) error {
	method, methodErr := e.method()
	facts, factsErr := e.facts()
	reading, readingErr := e.reading()
	var mapErr error
	if e.Map != "" {
		mapErr = drawable("--map", e.Map)
	}
	for _, err := range []error{methodErr, factsErr, readingErr, mapErr} {
		if err != nil {
			return fmt.Errorf("%w: %w", errUsage, err)
		}
	}
	names, missing := list(e.Paths)
	r := receive(names, reading, bar(c.err, "reading"))
	r.refused = append(missing, r.refused...)
	slices.SortStableFunc(r.refused, func(a, b refusal) int { return strings.Compare(a.file, b.file) })
	l := follow(r, method, facts)
	if e.given() && l.patients > 1 {
		return fmt.Errorf("%w: height, weight, age, sex, class, orientation and arms belong to one patient, and these files are of %d", errUsage, l.patients)
	}
	if e.Organs {
		if err := l.computeOrgans(context.Background(), method, organ.Budget{}, c.err); err != nil {
			return err
		}
	}
	if e.Map != "" {
		if err := drawAll(e.Map, l.cases, c.err); err != nil {
			return err
		}
	}
	if err := e.print(c.out, l, r); err != nil {
		return err
	}
	return complain(c.err, l, r)
}

func (e *estimateCommand) print(w io.Writer, l line, r received) error {
	if e.JSON {
		return writeJSON(w, l, r)
	}
	p := printer{w: w, why: e.Why, sources: e.Sources}
	p.line(l)
	return p.err
}

func writeJSON(w io.Writer, l line, r received) error {
	doc := casejson.Document{
		Schema: casejson.DocumentSchema, Program: programVersion(), Caution: casejson.Caution,
		Cases: []casejson.Case{}, Sums: []casejson.Sum{}, Notes: append([]string{}, l.notes...), Refused: []casejson.Refused{},
	}
	for _, c := range l.cases {
		one := casejson.Of(c.Assessment)
		one.Files, one.Map = c.files, c.drawn
		if c.organs != nil {
			var err error
			if one.Organs, err = c.organs.json(); err != nil {
				return err
			}
		}
		if c.patient > 0 {
			one.Patient = patientName(c.patient)
		}
		doc.Cases = append(doc.Cases, one)
	}
	for _, s := range l.sums {
		sum := casejson.SumOf(patientName(s.patient), s.sum)
		sum.Dates = s.dates
		doc.Sums = append(doc.Sums, sum)
	}
	for _, f := range r.refused {
		doc.Refused = append(doc.Refused, casejson.Refused{File: f.file, Reason: f.err.Error()})
	}
	var text bytes.Buffer
	enc := json.NewEncoder(&text)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(doc); err != nil {
		return err
	}
	_, err := w.Write(escapeJSON(text.Bytes()))
	return err
}

// complain names every file that was refused and every case without an estimate on standard error.
func complain(w io.Writer, l line, r received) error {
	bad := false
	for _, f := range r.refused {
		bad = true
		_, _ = fmt.Fprintf(w, "afterbeam: %s: %s\n", plain(f.file), plain(f.err.Error()))
	}
	for _, c := range l.cases {
		if c.SkinDose.Method == skindose.MethodNone && !c.quality() {
			bad = true
			_, _ = fmt.Fprintf(w, "afterbeam: %s: no estimate of the peak skin dose: %s\n", plain(c.name()), plain(c.SkinDose.Reason))
		}
	}
	if bad {
		return errPartial
	}
	return nil
}
