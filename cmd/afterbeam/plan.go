package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

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
	methodOptions
	factOptions
}

// The directions of a grid, degrees: those that a C-arm reaches around a patient on a table.
func gridDirections() (primary, secondary []quantity.Degree) {
	for a := quantity.Degree(-90); a <= 90; a += 15 {
		primary = append(primary, a)
	}
	for b := quantity.Degree(30); b >= -30; b -= 15 {
		secondary = append(secondary, b)
	}
	return primary, secondary
}

// outlook is the document of a plan.
type outlook struct {
	Caution string             `json:"caution"`
	Earlier earlierDose        `json:"earlier"`
	Beams   []skindose.Outlook `json:"beams"`
	Grid    *directionGrid     `json:"grid,omitempty"`
	Notes   []string           `json:"notes"`
}

type earlierDose struct {
	Procedures int            `json:"procedures"`
	Mapped     int            `json:"mapped"`
	PeakGy     quantity.Gray  `json:"peak_gy"`
	Place      skindose.Place `json:"place"`
}

type directionGrid struct {
	KermaGy   quantity.Gray         `json:"kerma_gy"`
	Primary   []quantity.Degree     `json:"primary_deg"`
	Secondary []quantity.Degree     `json:"secondary_deg"`
	Outlooks  [][]*skindose.Outlook `json:"outlooks"`
}

const planCaution = "What planned beams would add to the skin by estimates from earlier dose reports, not a measurement: estimates have a range, and where " +
	"procedures overlap on the skin is less certain than that. It informs people and decides nothing: it is no permission and no limit. The physician and the medical physicist " +
	"decide, by licensed practice and local rules."

// Run looks ahead from the files' procedures.
func (v *planCommand) Run(c console) error {
	method, methodErr := v.method()
	facts, factsErr := v.facts()
	reading, readingErr := v.reading()
	beams, beamErr := plannedBeams(v.Beam)
	for _, err := range []error{methodErr, factsErr, readingErr, beamErr, v.check()} {
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
	doc, err := v.look(next, beams)
	if err != nil {
		return err
	}
	if err := v.print(c.out, doc); err != nil {
		return err
	}
	return complain(c.err, l, r)
}

func (v *planCommand) check() error {
	switch {
	case len(v.Beam) == 0 && v.Grid == 0:
		return errors.New("a plan wants --beam or --grid")
	case v.Grid != 0 && !within(v.Grid, 0.001, 100):
		return fmt.Errorf("--grid wants 0.001 to 100 Gy, got %v", v.Grid)
	case v.Field != 0 && !within(v.Field, 20, 600):
		return fmt.Errorf("--field wants 20 to 600 mm, got %v", v.Field)
	}
	return nil
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

// look makes the outlooks.
func (v *planCommand) look(next assessment.NextStage, beams []skindose.Planned) (doc outlook, err error) {
	if v.Place != "" {
		if _, known := next.Body.Site(v.Place); !known {
			return doc, fmt.Errorf("%w: --place %q is no place along the body", errUsage, v.Place)
		}
		next.Site = v.Place
	}
	if v.Field > 0 {
		side := quantity.Some(quantity.Millimetre(v.Field))
		next.Pattern.Field.Area, next.Pattern.Field.Width, next.Pattern.Field.Height = quantity.None[quantity.SquareMetre](), side, side
	}
	doc = outlook{
		Caution: planCaution, Notes: next.Notes, Beams: []skindose.Outlook{},
		Earlier: earlierDose{
			Procedures: len(next.Assessments), Mapped: next.Mapped, PeakGy: next.Already.PeakDose(), Place: skindose.PlaceOf(next.Body, next.Already.Peak),
		},
	}
	if v.Grid > 0 {
		g := &directionGrid{KermaGy: quantity.Gray(v.Grid)}
		g.Primary, g.Secondary = gridDirections()
		if g.Outlooks, err = next.Grid(g.Primary, g.Secondary, g.KermaGy); err != nil {
			return doc, err
		}
		doc.Grid = g
	}
	if len(beams) > 0 {
		doc.Beams, err = next.Follow(beams)
	}
	return doc, err
}

func (v *planCommand) print(w io.Writer, doc outlook) error {
	if v.JSON {
		encoder := json.NewEncoder(w)
		encoder.SetIndent("", "  ")
		return encoder.Encode(doc)
	}
	var b strings.Builder
	fmt.Fprintf(&b, "EARLIER: %d procedures, %d of them on the map\n  highest dose    estimated %s at %s\n", doc.Earlier.Procedures, doc.Earlier.Mapped, gray(doc.Earlier.PeakGy), doc.Earlier.Place)
	if len(doc.Beams) > 0 {
		b.WriteString("\nPLANNED, in this order\n  primary/secondary     kerma   the beam adds   in its field before -> after   highest of all skin after\n")
		for _, o := range doc.Beams {
			fmt.Fprintf(&b, "  %-18s %8s %15s %15s -> %-14s %s\n", direction(o.Direction), gray(o.Kerma), gray(o.Adds), gray(o.Before), gray(o.After), gray(o.Peak))
			fmt.Fprintf(&b, "      most at %s\n", o.AfterPlace)
		}
	}
	if doc.Grid != nil {
		doc.Grid.print(&b)
	}
	b.WriteString("\n")
	for _, note := range doc.Notes {
		fmt.Fprintf(&b, "  %s\n", note)
	}
	fmt.Fprintf(&b, "\n%s\n", doc.Caution)
	_, err := io.WriteString(w, b.String())
	return err
}

func direction(d skindose.Direction) string {
	side, tilt := "LAO", "cranial"
	if d.Primary < 0 {
		side = "RAO"
	}
	if d.Secondary < 0 {
		tilt = "caudal"
	}
	return fmt.Sprintf("%s %.0f / %s %.0f", side, abs(d.Primary), tilt, abs(d.Secondary))
}

func abs(d quantity.Degree) quantity.Degree { return max(d, -d) }

// print writes the highest dose of the skin in the beam after it, direction by direction: a number for every field, so that
// no colour has to be told apart.
func (g *directionGrid) print(b *strings.Builder) {
	fmt.Fprintf(b, "\nGRID: %s more from each direction; highest dose in Gy of the skin in the beam afterwards\n  secondary \\ primary", gray(g.KermaGy))
	for _, a := range g.Primary {
		fmt.Fprintf(b, "%7.0f", a)
	}
	b.WriteString("\n")
	for j, s := range g.Secondary {
		fmt.Fprintf(b, "  %19.0f", s)
		for i := range g.Primary {
			o := g.Outlooks[i][j]
			if o == nil {
				fmt.Fprintf(b, "%7s", "-")
				continue
			}
			fmt.Fprintf(b, "%7s", quantity.Fixed(float64(o.After), 2))
		}
		b.WriteString("\n")
	}
	b.WriteString("  primary: LAO +, RAO -; secondary: cranial +, caudal -; a dash is a direction from which the beam hits no skin of the model\n")
}
