package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// printer writes results for people. It keeps the first error of its writer.
type printer struct {
	w            io.Writer
	why, sources bool
	err          error
}

const labelWidth = 16

// say prints a line. Texts among the arguments come from reports and are made plain.
func (p *printer) say(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", plainArgs(args)...)
	}
}

// row prints a label and one or more lines beside it.
func (p *printer) row(label string, lines ...string) {
	for _, l := range lines {
		p.say("  %-*s%s", labelWidth, label, l)
		label = ""
	}
}

func (p *printer) line(l line) {
	for _, c := range l.cases {
		p.one(c)
	}
	for _, s := range l.sums {
		p.sum(s)
	}
	p.alone(l)
	if p.sources {
		p.allSources(l)
	}
	if len(l.cases) > 0 {
		p.say("%s", casejson.Caution)
		p.say("%s", effective.Caution)
	}
}

func (p *printer) one(c assessed) {
	start := "date unknown"
	if !c.Procedure.Start.IsZero() {
		start = c.Procedure.Start.Time.Format("2006-01-02 15:04")
	}
	p.say("%s  %s", start, orWord(c.Procedure.Study.Description, "no description"))
	p.row("case", fmt.Sprintf("%s, %s", orWord(c.Procedure.Device.Room, "room not named"), whom(c)))
	p.row("procedure", fmt.Sprintf("%s%s, %s, %s", c.Class.Title, mark(c.Facts.Class != ""), count(len(c.Procedure.Events), "irradiation event"), state(c.Procedure.State)))
	p.row("file", c.name())
	e := c.Levels.Edges()
	p.row("reported", reported(c.Dose, e))
	if c.quality() {
		p.row("levels", "quality-control exposure: no patient, no estimate, no flag")
	} else {
		p.row("peak skin dose", skinLines(c.SkinDose, e)...)
		p.row("effective dose", effectiveLines(c.Effective)...)
		if c.organs != nil {
			p.row("own beams", c.organs.lines(c.Effective)...)
		}
		p.levels(c.Levels, "single delivery, not the scalp")
	}
	if c.drawn != "" {
		p.row("map", c.drawn)
	}
	p.findings(c)
	if p.why && !c.quality() {
		p.reasons(c.Assessment)
	}
	p.say("")
}

func count(n int, of string) string {
	switch n {
	case 0:
		return "no " + of + "s"
	case 1:
		return "1 " + of
	}
	return fmt.Sprintf("%d %ss", n, of)
}

func state(s procedure.State) string {
	switch s {
	case procedure.Complete:
		return "reports complete"
	case procedure.Amended:
		return "AMENDED: a later report changed what an earlier one said"
	case procedure.Provisional:
	}
	return "PROVISIONAL: the reports do not say that they cover the whole procedure"
}

// mark tells what a person said in place of the report.
func mark(given bool) string {
	if given {
		return " (as given)"
	}
	return ""
}

// whom says of the patient what the estimates need; name and number stay in the file.
func whom(c assessed) string {
	if c.quality() {
		return "test object"
	}
	of, f := casejson.Of(c.Assessment).Procedure.Patient, c.Facts
	age := "age - (not reported)"
	if v, ok := of.AgeYears.Get(); ok {
		age = quantity.Fixed(v, 0) + " years" + mark(f.AgeYears.Present())
	}
	height := "height - (not reported)"
	if v, ok := of.HeightCm.Get(); ok {
		height = quantity.Fixed(v, 0) + " cm" + mark(f.Height.Present())
	}
	weight := "weight - (not reported)"
	if v, ok := of.WeightKg.Get(); ok {
		weight = quantity.Fixed(v, 0) + " kg" + mark(f.Weight.Present())
	}
	words := []string{patientName(c.patient), age, orWord(of.Sex, "sex - (not reported)") + mark(f.Sex != ""), height, weight}
	if f.Posture != procedure.PostureUnknown {
		words = append(words, "lying as given")
	}
	if f.Arms != procedure.ArmsUnknown {
		words = append(words, "arms as given")
	}
	return strings.Join(words, ", ")
}

func skinLines(e skindose.Estimate, edges level.Edges) []string {
	value, ok := e.Value.Get()
	if !ok {
		return []string{"- (no estimate: " + e.Reason + ")"}
	}
	lines := []string{
		spread(value, e.Low.Or(value), e.High.Or(value), e.LowerBound, edges.PSD...),
		fmt.Sprintf("method %s: %s; inputs %s", e.Method, methodWords(e.Method), e.Class),
	}
	if e.Map != nil {
		lines = append(lines, "at "+e.Peak.String())
		if areas := areas(e.Map); areas != "" {
			lines = append(lines, areas)
		}
	}
	if e.Reason != "" && e.Reason != methodWords(e.Method) {
		lines = append(lines, "because: "+e.Reason)
	}
	if e.LowerBound {
		lines = append(lines, "an unknown part of what was delivered is left out: the dose may lie above the range")
	}
	return lines
}

func methodWords(m skindose.Method) string {
	switch m {
	case skindose.MethodMap:
		return "geometry from the report and the device profile"
	case skindose.MethodMapAssumed:
		return "part of the geometry is assumed"
	case skindose.MethodTotals:
		return "no map, reported totals times a ratio for the class of procedure"
	case skindose.MethodNone:
	}
	return "no estimate"
}

func effectiveLines(e effective.Estimate) []string {
	value, ok := e.Value.Get()
	if !ok {
		return []string{"- (no estimate: " + e.Reason + ")"}
	}
	print := func(v quantity.Sievert) string { return quantity.Significant(v.MSv(), 2) }
	lines := []string{fmt.Sprintf("estimated %s mSv, range %s to %s mSv, of a reference person; from %s", print(value), print(e.Low.Or(value)), print(e.High.Or(value)), e.Method)}
	if c, ok := e.Covered.Get(); ok && quantity.Fixed(float64(c), 0) != "100" {
		lines = append(lines, fmt.Sprintf("covers %s %% of the kerma-area product", quantity.Fixed(float64(c), 0)))
	}
	if e.Reason != "" {
		lines = append(lines, "because: "+e.Reason)
	}
	return lines
}

// findings prints what matters of the findings, and all of them with why.
func (p *printer) findings(c assessed) {
	groups := procedure.GroupFindings(append(slices.Clone(c.Procedure.Findings), c.SkinDose.Findings...))
	counts := map[procedure.Severity]int{}
	for _, g := range groups {
		counts[g.Severity]++
	}
	var words []string
	for _, s := range []procedure.Severity{procedure.Refused, procedure.Suspect, procedure.Reduced, procedure.Repaired} {
		if counts[s] > 0 {
			words = append(words, fmt.Sprintf("%d %s", counts[s], s))
		}
	}
	if len(words) == 0 && !p.why || len(groups) == 0 {
		return
	}
	lines := []string{strings.Join(append(words, notes(counts[procedure.Note])...), ", ")}
	if !p.why {
		lines[0] += " (--why lists all)"
	}
	const shown = 3
	for _, g := range groups {
		if p.why || g.Severity >= procedure.Suspect && len(lines) <= shown {
			lines = append(lines, findingText(g))
		}
	}
	p.row("findings", lines...)
}

func notes(n int) []string {
	if n == 0 {
		return nil
	}
	return []string{count(n, "note")}
}

func findingText(g procedure.FindingGroup) string {
	place := g.Place
	if g.Places > 1 {
		place = fmt.Sprintf("%s and %d more", g.Place, g.Places-1)
	}
	if place != "" {
		place += ": "
	}
	return fmt.Sprintf("[%s] %s%s (%s)", g.Severity, place, g.Text, g.Rule)
}

func (p *printer) reasons(a assessment.Assessment) {
	var parts []string
	for _, part := range a.SkinDose.Parts {
		parts = append(parts, fmt.Sprintf("%s %s %% (k=1): %s", part.Name, quantity.Significant(float64(part.Percent), 2), part.Words))
	}
	p.row("range from", parts...)
	p.row("sampled", samples(a.SkinDose.Sampling)...)
	p.row("assumed", append(slices.Clone(a.SkinDose.Assumptions), a.Effective.Assumptions...)...)
	p.row("class from", a.Procedure.ClassFrom)
	p.row("profile", casejson.Of(a).Procedure.Profile)
	p.row("versions", assessment.Versions())
}

// samples tell how the range of a map was sampled: its shares of at least 1 %, and the ends from fewer points.
func samples(s *skindose.Sampling) []string {
	if s == nil {
		return nil
	}
	gy := func(v quantity.Gray) string { return quantity.Significant(float64(v), 3) }
	lines := []string{fmt.Sprintf("%d points, seed %d: median %s Gy, low %s Gy, high %s Gy (k=2)", s.Points, s.Seed, gy(s.Median), gy(s.Low), gy(s.High))}
	share := func(v float64) string { return quantity.Fixed(100*v, 0) + " %" }
	const least = 0.01
	for _, f := range s.Influences {
		if f.Share >= least {
			lines = append(lines, fmt.Sprintf("%s of the variance: %s (%s, k=1)", share(f.Share), f.Name, f.Varied))
		}
	}
	if s.Together >= least {
		lines = append(lines, share(s.Together)+" of the variance: places of events against each other, and inputs together")
	}
	for _, c := range s.Convergence[:max(len(s.Convergence)-1, 0)] {
		lines = append(lines, fmt.Sprintf("first %d points: %s to %s Gy", c.Points, gy(c.Low), gy(c.High)))
	}
	return lines
}

func (p *printer) allSources(l line) {
	seen := map[string]bool{}
	say := func(text string) {
		if text != "" && !seen[text] {
			seen[text] = true
			p.say("  %s", text)
		}
	}
	p.say("sources, each with how it is known (read, secondhand, memory, judgement, computed)")
	for _, c := range l.cases {
		for _, r := range c.Levels.Results {
			say(fmt.Sprintf("level %s, %s: %s (%s)", r.Row.Title, r.Row.Quantity, r.Row.Source, r.Row.Known))
		}
		for _, s := range c.SkinDose.Sources {
			say("peak skin dose: " + s)
		}
		for _, s := range c.Effective.Sources {
			say("effective dose: " + s)
		}
	}
	say("tissue-reaction bands: " + level.BandSource)
	p.say("")
}

func orWord(s, word string) string {
	if s == "" {
		return word
	}
	return s
}
