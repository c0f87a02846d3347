package main

import (
	"fmt"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// levels prints the state of a case, the levels that are not below, and the tissue-reaction band on its condition.
func (p *printer) levels(e level.Evaluation, bandFor string) {
	lines := []string{stateLine(e)}
	for _, r := range e.Results {
		if r.State == level.Below && !p.why {
			continue
		}
		said := r.Text
		if !r.Value.Present() {
			said = fmt.Sprintf("%s not known, level %s", r.Row.Quantity, r.Row.Quantity.Print(r.Level, r.Level))
		}
		text := fmt.Sprintf("[%s] %s, prompts %s: %s", r.State, r.Row.Title, r.Row.Meaning, said)
		if n := len(r.Passed); n > 1 {
			text += fmt.Sprintf("; %d steps passed, the last at %s", n, r.Row.Quantity.Print(r.Passed[n-1], r.Passed[n-1]))
		}
		lines = append(lines, text)
	}
	lines = append(lines, e.Notes...)
	p.row("levels", append(lines, p.band(e, bandFor)...)...)
}

// stateLine says the state of a case in a line. Below is no permission: it names what was compared.
func stateLine(e level.Evaluation) string {
	counts := map[level.State]int{}
	for _, r := range e.Results {
		counts[r.State]++
	}
	compared := len(e.Results) - counts[level.Unknown]
	text := strings.ToUpper(e.State.String())
	switch e.State {
	case level.Reached:
		text += fmt.Sprintf(": %d of %s reached", counts[level.Reached], count(len(e.Results), "level"))
	case level.Near:
		text += fmt.Sprintf(": the range of the estimate reaches %d of %s", counts[level.Near], count(len(e.Results), "level"))
	case level.Unknown:
		text += ", which is not below"
	case level.Below:
		text += fmt.Sprintf(" the %s that could be compared", count(compared, "level"))
	case level.NoFlag:
		return strings.Join(e.Notes, "; ")
	}
	if counts[level.Unknown] > 0 {
		text += fmt.Sprintf("; %d unknown", counts[level.Unknown])
	}
	if len(e.Reasons) > 0 {
		text += "; " + strings.Join(e.Reasons, "; ")
	}
	return text
}

// band prints the published tissue reactions of the band of the estimate, where any are expected within the range.
func (p *printer) band(e level.Evaluation, condition string) []string {
	b, ok := e.Band.Get()
	high := e.HighBand.Or(b)
	if !ok || b.Name == "A1" && high.Name == "A1" {
		return nil
	}
	name := b.Name
	if high.Name != b.Name {
		name += ", up to " + high.Name + " at the high end of the range"
	}
	lines := []string{fmt.Sprintf("tissue-reaction band %s (%s; bands are not rigid and foretell nothing for one patient)", name, condition)}
	lines = append(lines, bandWords(b))
	if p.why && high.Name != b.Name {
		lines = append(lines, bandWords(high))
	}
	return lines
}

func bandWords(b level.Band) string {
	return fmt.Sprintf("published for %s: prompt: %s / early: %s / midterm: %s / long term: %s", b.Name, b.Prompt, b.Early, b.Midterm, b.LongTerm)
}

// sum prints the sum of a patient's procedures in a window.
func (p *printer) sum(s summed) {
	p.say("SUM of %d procedures of %s in the %d days up to %s: a plain sum without biological repair", s.sum.Procedures, patientName(s.patient), s.sum.Days, s.sum.To)
	p.row("procedures of", strings.Join(s.dates, ", "))
	e := s.sum.Levels.Edges()
	p.row("added up", fmt.Sprintf("Ka,r %s   KAP %s   fluoroscopy %s",
		total(s.sum.Kerma, s.sum.Procedures, func(v quantity.Gray) string { return gray(v, e.Kerma...) }),
		total(s.sum.KAP, s.sum.Procedures, func(v quantity.GraySquareMetre) string { return kap(v, e.KAP...) }),
		total(s.sum.FluoroTime, s.sum.Procedures, minutes)))
	p.row("peak skin dose", sumLines(s, e)...)
	p.levels(s.sum.Levels, "as if delivered at once, not the scalp")
	if s.drawn != "" {
		p.row("map", s.drawn)
	}
	p.say("")
}

func sumLines(s summed, e level.Edges) []string {
	sum := s.sum.SkinDose
	value, ok := sum.Value.Get()
	if !ok {
		return []string{"- (no estimate: " + sum.Reason + ")"}
	}
	lines := []string{spread(value, sum.Low.Or(value), sum.High.Or(value), sum.LowerBound, e.PSD...)}
	if sum.UpperBound {
		lines = append(lines, "upper bound: "+sum.Reason)
	} else {
		lines = append(lines, fmt.Sprintf("method %s: maps added patch by patch", sum.Method), "at "+sum.Peak.String())
	}
	if sum.Unknown > 0 {
		lines = append(lines, fmt.Sprintf("%d of %s without an estimate: the sum lacks their dose", sum.Unknown, count(s.sum.Procedures, "procedure")))
	}
	return lines
}

func total[T ~float64](t assessment.Total[T], of int, print func(T) string) string {
	v, ok := t.Value.Get()
	if !ok {
		return "- (not reported)"
	}
	if t.From < of {
		return fmt.Sprintf("at least %s (known of %d of %d procedures)", print(v), t.From, of)
	}
	return print(v)
}

// alone says for each patient without a sum that the result is of one case only, and why sums may lack something.
func (p *printer) alone(l line) {
	with := map[int]bool{}
	for _, s := range l.sums {
		with[s.patient] = true
	}
	var names []string
	for n := 1; n <= l.patients; n++ {
		if !with[n] {
			names = append(names, patientName(n))
		}
	}
	if len(names) > 0 {
		p.say("this case only: these files show no other procedure within %d days for %s; earlier dose elsewhere is not known here", windowDays, strings.Join(names, ", "))
	}
	for _, n := range l.notes {
		p.say("%s", n)
	}
	if len(names)+len(l.notes) > 0 {
		p.say("")
	}
}
