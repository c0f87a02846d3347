package main

import (
	"fmt"
	"io"
	"strings"

	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// quality tells a case of a test object.
func (a assessed) quality() bool { return a.Procedure.Purpose == procedure.PurposeQualityControl }

// name names a case by its files, or its study where they are not known.
func (a assessed) name() string {
	if len(a.files) == 0 {
		return "study " + a.Procedure.StudyUID
	}
	return strings.Join(a.files, ", ")
}

func patientName(n int) string { return fmt.Sprintf("patient %d", n) }

// printer writes results for people. It keeps the first error of its writer.
type printer struct {
	w            io.Writer
	why, sources bool
	err          error
}

const labelWidth = 16

func (p *printer) say(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
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
	}
}

func (p *printer) one(c assessed) {
	start := "date unknown"
	if !c.Procedure.Start.IsZero() {
		start = c.Procedure.Start.Time.Format("2006-01-02 15:04")
	}
	p.say("%s  %s", start, orWord(c.Procedure.Study.Description, "no description"))
	p.row("case", fmt.Sprintf("%s, %s, %s, %d events, %s", orWord(c.Procedure.Device.Room, "room not named"), p.whom(c), c.Procedure.State,
		len(c.Procedure.Events), strings.ToLower(c.Class.Title)))
	p.row("file", c.name())
	p.row("reported", reported(c.Dose))
	if c.quality() {
		p.row("levels", "quality-control exposure: no patient, no estimate, no flag")
		p.say("")
		return
	}
	p.row("peak skin dose", skinLines(c.SkinDose)...)
	p.row("effective dose", effectiveLine(c.Assessment))
	p.levels(c.Levels)
	p.findings(c)
	if p.why {
		p.reasons(c.Assessment)
	}
	p.say("")
}

func (p *printer) whom(c assessed) string {
	words := []string{patientName(c.patient)}
	of := casejson.Of(c.Assessment).Procedure.Patient
	if v, ok := of.AgeYears.Get(); ok {
		words = append(words, quantity.Fixed(v, 0)+" years")
	}
	if of.Sex != "" {
		words = append(words, of.Sex)
	}
	if v, ok := of.HeightCm.Get(); ok {
		words = append(words, quantity.Fixed(v, 0)+" cm")
	}
	if v, ok := of.WeightKg.Get(); ok {
		words = append(words, quantity.Fixed(v, 0)+" kg")
	}
	return strings.Join(words, ", ")
}

func reported(d procedure.CaseDose) string {
	words := []string{
		least("Ka,r", d.Kerma, d.LeastKerma, d.KermaMissing, func(v quantity.Gray) string { return gray(v) }),
		least("KAP", d.KAP, d.LeastKAP, d.KAPMissing, func(v quantity.GraySquareMetre) string { return quantity.Significant(v.Gycm2(), 3) + " Gy cm2" }),
		least("fluoroscopy", d.FluoroTime, d.LeastTime, d.TimeMissing, func(v quantity.Second) string { return quantity.Fixed(v.Minutes(), 1) + " min" }),
	}
	return strings.Join(words, "   ")
}

// least prints a value, what is known of it where a plane is missing, or a dash with the reason.
func least[T ~float64](name string, whole, known quantity.Opt[T], missing []string, print func(T) string) string {
	if v, ok := whole.Get(); ok {
		return name + " " + print(v)
	}
	lacks := "not reported"
	if len(missing) > 0 {
		lacks = "missing for " + strings.Join(missing, " and ")
	}
	if v, ok := known.Get(); ok {
		return fmt.Sprintf("%s at least %s (%s)", name, print(v), lacks)
	}
	return fmt.Sprintf("%s - (%s)", name, lacks)
}

// gray prints a dose in Gy; one below a level or band never prints as it.
func gray(v quantity.Gray) string {
	edges := []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 15}
	switch {
	case v >= 0.1:
		return quantity.Below(float64(v), 2, edges...) + " Gy"
	case v >= 0.001:
		return quantity.Significant(float64(v), 2) + " Gy"
	}
	return quantity.Significant(float64(v/quantity.MilliGray), 2) + " mGy"
}

func skinLines(e skindose.Estimate) []string {
	value, ok := e.Value.Get()
	if !ok {
		return []string{"- (" + e.Reason + ")"}
	}
	about := "estimated"
	if e.LowerBound {
		about = "estimated, at least"
	}
	lines := []string{fmt.Sprintf("%s %s, range %s to %s (k=2)   method %s, %s", about, estimate(value), estimate(e.Low.Or(value)), estimate(e.High.Or(value)), e.Method, e.Class)}
	if e.Map != nil {
		lines = append(lines, "at "+e.Peak.String())
		if areas := areas(e.Map); areas != "" {
			lines = append(lines, areas)
		}
	}
	if e.Reason != "" {
		lines = append(lines, e.Reason)
	}
	return lines
}

// estimate prints an estimated dose with two significant figures at most, never as a level it is below.
func estimate(v quantity.Gray) string {
	decimals := 1
	switch {
	case v < 0.01:
		return quantity.Significant(float64(v/quantity.MilliGray), 2) + " mGy"
	case v < 1:
		decimals = 2
	}
	return quantity.Below(float64(v), decimals, 2, 3, 5, 10, 15) + " Gy"
}

func areas(m *skindose.Map) string {
	var words []string
	for _, gy := range []quantity.Gray{2, 3, 5, 10} {
		if a := m.AreaAbove(gy); a > 0 {
			words = append(words, fmt.Sprintf("%s cm2 at %v Gy and above", quantity.Fixed(a.Cm2(), 0), gy))
		}
	}
	return strings.Join(words, ", ")
}

func effectiveLine(a assessment.Assessment) string {
	e := a.Effective
	value, ok := e.Value.Get()
	if !ok {
		return "- (" + e.Reason + ")"
	}
	text := fmt.Sprintf("estimated %s mSv, range %s to %s   from %s", quantity.Significant(value.MSv(), 2),
		quantity.Significant(e.Low.Or(value).MSv(), 2), quantity.Significant(e.High.Or(value).MSv(), 2), e.Method)
	if e.Reason != "" {
		text += "; " + e.Reason
	}
	return text
}

func (p *printer) levels(e level.Evaluation) {
	lines := []string{strings.ToUpper(e.State.String())}
	if len(e.Reasons) > 0 {
		lines[0] += ": " + strings.Join(e.Reasons, "; ")
	}
	for _, r := range e.Results {
		if r.State == level.Below && !p.why {
			continue
		}
		text := fmt.Sprintf("[%s] %s, %s: %s", r.State, r.Row.Title, r.Row.Meaning, r.Text)
		if len(r.Passed) > 1 {
			text += fmt.Sprintf("; %d steps passed", len(r.Passed))
		}
		lines = append(lines, text)
	}
	lines = append(lines, e.Notes...)
	if b, ok := e.Band.Get(); ok && b.Name != "A1" {
		lines = append(lines, fmt.Sprintf("tissue-reaction band %s (single delivery, not the scalp): prompt %s; early %s", b.Name, b.Prompt, b.Early))
	}
	p.row("levels", lines...)
}

// findings prints what matters of the findings; inspect shows all of them.
func (p *printer) findings(c assessed) {
	counts := map[procedure.Severity]int{}
	all := append(append([]procedure.Finding(nil), c.Procedure.Findings...), c.SkinDose.Findings...)
	for _, f := range all {
		counts[f.Severity]++
	}
	var words []string
	for _, s := range []procedure.Severity{procedure.Refused, procedure.Suspect, procedure.Reduced, procedure.Repaired} {
		if counts[s] > 0 {
			words = append(words, fmt.Sprintf("%d %s", counts[s], s))
		}
	}
	if len(words) == 0 {
		return
	}
	lines := []string{strings.Join(words, ", ") + " (afterbeam inspect shows all)"}
	const shown = 3
	for _, f := range all {
		if f.Severity >= procedure.Suspect && len(lines) <= shown {
			lines = append(lines, fmt.Sprintf("[%s] %s: %s", f.Severity, f.Place, f.Text))
		}
	}
	p.row("findings", lines...)
}

func (p *printer) reasons(a assessment.Assessment) {
	var parts []string
	for _, part := range a.SkinDose.Parts {
		parts = append(parts, fmt.Sprintf("%s %v %% (k=1): %s", part.Name, part.Percent, part.Words))
	}
	p.row("range from", parts...)
	p.row("assumed", append(append([]string(nil), a.SkinDose.Assumptions...), a.Effective.Assumptions...)...)
	p.row("class from", a.Procedure.ClassFrom)
	p.row("versions", assessment.Versions())
}

func (p *printer) sum(s summed) {
	p.say("%s, %d procedures from %s to %s (%d days), a plain sum without biological repair", patientName(s.patient), s.sum.Procedures, s.sum.From, s.sum.To, s.sum.Days)
	p.row("reported", fmt.Sprintf("Ka,r %s   KAP %s", total(s.sum.Kerma, s.sum.Procedures, func(v quantity.Gray) string { return gray(v) }),
		total(s.sum.KAP, s.sum.Procedures, func(v quantity.GraySquareMetre) string { return quantity.Significant(v.Gycm2(), 3) + " Gy cm2" })))
	if v, ok := s.sum.SkinDose.Value.Get(); ok {
		how := "maps added patch by patch, at " + s.sum.SkinDose.Peak.String()
		if s.sum.SkinDose.UpperBound {
			how = "upper bound: " + s.sum.SkinDose.Reason
		}
		p.row("peak skin dose", fmt.Sprintf("estimated %s, range %s to %s (k=2)", estimate(v), estimate(s.sum.SkinDose.Low.Or(v)), estimate(s.sum.SkinDose.High.Or(v))), how)
	} else {
		p.row("peak skin dose", "- ("+s.sum.SkinDose.Reason+")")
	}
	p.levels(s.sum.Levels)
	p.say("")
}

func total[T ~float64](t assessment.Total[T], of int, print func(T) string) string {
	v, ok := t.Value.Get()
	if !ok {
		return "- (not reported)"
	}
	if t.From < of {
		return fmt.Sprintf("at least %s (%d of %d procedures)", print(v), t.From, of)
	}
	return print(v)
}

// alone says for each patient without a sum that the result is of one case only.
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
		p.say("this case only: no other procedure within %d days in these files for %s\n", windowDays, strings.Join(names, ", "))
	}
}

func (p *printer) allSources(l line) {
	seen := map[string]bool{}
	say := func(text string) {
		if text != "" && !seen[text] {
			seen[text] = true
			p.say("  %s", text)
		}
	}
	p.say("sources")
	for _, c := range l.cases {
		for _, r := range c.Levels.Results {
			say(fmt.Sprintf("level %s %s: %s (%s)", r.Row.Title, r.Row.Quantity, r.Row.Source, r.Row.Known))
		}
		for _, s := range c.SkinDose.Sources {
			say(s)
		}
		for _, s := range c.Effective.Sources {
			say(s)
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
