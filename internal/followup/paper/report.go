package paper

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// method is the language in which the methods, the levels and the findings write their own sentences.
const method = "en"

// report is all that an estimate rests on, for the physicist who answers for it.
func (c *composer) report() []Block {
	p := c.text
	blocks := []Block{
		Heading{1, p("title.physicist_report")},
		Paragraph{Text: c.banner()},
		Paragraph{Text: p("caution.skin") + " " + p("caution.displayed") + " " + p("caution.defer"), Style: Caution},
		Heading{2, p("report.case.title")},
		c.caseTable(),
		Heading{2, p("report.result.title")},
		c.resultTable(),
	}
	blocks = append(blocks, c.planes()...)
	if t, ok := c.earlier(); ok {
		blocks = append(blocks, Heading{2, p("letter.earlier.title")}, t, Paragraph{Text: p("caution.sum"), Style: Small})
	}
	blocks = append(blocks, c.levels()...)
	blocks = append(blocks, c.reactions()...)
	if len(c.Map) > 0 {
		blocks = append(blocks, Heading{2, p("report.map.title")}, Picture{PNG: c.Map, Alt: p("report.map.alt", "dose", c.skinDose(), "place", c.exact(c.Assessment.SkinDose.Peak)), Caption: p("report.map.caption"), Width: 160})
	}
	blocks = append(blocks, c.skinBasis()...)
	blocks = append(blocks, c.effectiveBasis()...)
	blocks = append(blocks, c.organs()...)
	blocks = append(blocks, c.findings()...)
	blocks = append(blocks, c.followUp()...)
	blocks = append(blocks, c.versions()...)
	blocks = append(blocks, c.sources()...)
	blocks = append(blocks, Heading{2, p("report.sign.title")}, Signature{[]string{p("report.sign.physicist"), p("report.sign.second")}})
	return append(blocks, c.events()...)
}

// pairs is a table of names and values.
func pairs(caption string, rows [][]string) Table {
	return Table{Caption: caption, Columns: []Column{{"", 4, false}, {"", 11, false}}, Rows: rows}
}

func (c *composer) or(text string) string {
	if text == "" {
		return c.dash(c.text("not_reported"))
	}
	return text
}

func (c *composer) caseTable() Table {
	p, a := c.text, c.Assessment
	begin := c.dash(p("not_reported"))
	if !a.Procedure.Start.IsZero() {
		begin = c.l.Date(a.Procedure.Start.Time)
		if !a.Procedure.Start.DateOnly {
			begin = c.l.Moment(a.Procedure.Start.Time)
		}
	}
	profile := p("report.case.no_profile")
	if a.Profile.Device != "" {
		profile = p("report.case.profile", "name", a.Profile.Name, "from", c.day(a.Profile.From), "by", cmp.Or(Called(a.Profile.SignedBy), p("report.case.nobody")))
	}
	return pairs(p("report.case.title"), [][]string{
		{p("label.begin"), begin},
		{p("label.room"), c.or(a.Procedure.Device.Room)},
		{p("label.procedure"), c.or(a.Procedure.Study.Description)},
		{p("label.class"), c.className() + " (" + a.Procedure.ClassFrom + ")"},
		{p("label.reports"), p("reports_state." + a.Procedure.State.String())},
		{p("label.events"), fmt.Sprint(len(a.Procedure.Events))},
		{p("label.patient"), c.patient()},
		{p("label.profile"), profile},
		{p("label.study"), a.Procedure.StudyUID},
	})
}

// patient is what the estimates take of the patient: given by a person, else reported.
func (c *composer) patient() string {
	p, f := c.Assessment.Procedure.Patient, c.Assessment.Facts
	pick := func(fact, reported bool, text string) string {
		switch {
		case fact:
			return text + " " + c.text("as_given")
		case reported:
			return text
		}
		return c.dash(c.text("not_reported"))
	}
	age, height, weight := p.AgeYears, p.Height, p.Weight
	if f.AgeYears.Present() {
		age = f.AgeYears
	}
	if f.Height.Present() {
		height = f.Height
	}
	if f.Weight.Present() {
		weight = f.Weight
	}
	return c.text("patient_size",
		"age", pick(f.AgeYears.Present(), age.Present(), quantity.Fixed(age.Or(0), 0)),
		"height", pick(f.Height.Present(), height.Present(), c.measure(quantity.Fixed(height.Or(0).Cm(), 0)+" cm")),
		"weight", pick(f.Weight.Present(), weight.Present(), c.measure(quantity.Fixed(float64(weight.Or(0)), 0)+" kg")))
}

func (c *composer) resultTable() Table {
	p := c.text
	t := c.doseTable()
	t.Caption = p("report.result.title")
	effective := c.dash(p("no_estimate") + ": " + c.Assessment.Effective.Reason)
	if v, ok := c.Assessment.Effective.Value.Get(); ok {
		e := c.Assessment.Effective
		low, high := e.Low.Or(v), e.High.Or(v)
		effective = p("effective", "value", c.measure(quantity.ShowEffective(v)+" mSv"), "low", c.measure(quantity.ShowEffective(low)), "high", c.measure(quantity.ShowEffective(high)+" mSv"))
	}
	t.Rows = append(t.Rows, []string{p("label.effective"), effective, p("from.effective")})
	if areas := c.areas(); areas != "" {
		t.Rows = append(t.Rows, []string{p("label.area"), areas, p("from.model")})
	}
	return t
}

// areas is how much skin received at least a dose.
func (c *composer) areas() string {
	m := c.Assessment.SkinDose.Map
	if m == nil {
		return ""
	}
	var words []string
	for _, gy := range []quantity.Gray{2, 3, 5, 10, 15} {
		if a := m.AreaAbove(gy); a > 0 {
			words = append(words, c.text("area_above", "area", c.measure(quantity.Figures(a.Cm2(), 2)+" cm2"), "dose", c.measure(quantity.Fixed(float64(gy), 0)+" Gy")))
		}
	}
	return strings.Join(words, "; ")
}

// planes are the reported totals of each plane and how the events account for them.
func (c *composer) planes() []Block {
	p := c.text
	absent := "–"
	var rows [][]string
	for _, plane := range c.Assessment.Procedure.Planes() {
		kerma := func(v quantity.Gray) string { return c.l.Figure(quantity.Figures(float64(v), 3)) }
		kap := func(v quantity.GraySquareMetre) string { return c.l.Figure(quantity.Figures(v.Gycm2(), 3)) }
		rows = append(rows, []string{
			c.plane(plane.Plane), opt(plane.TotalKerma, kerma, absent), opt(plane.SumKerma, kerma, absent), opt(plane.TotalKAP, kap, absent), opt(plane.SumKAP, kap, absent),
			opt(plane.FluoroTime, func(v quantity.Second) string { return c.l.Figure(quantity.Fixed(v.Minutes(), 1)) }, absent),
		})
	}
	return []Block{Heading{3, p("report.planes.title")}, Table{
		Caption: p("report.planes.caption"),
		Columns: []Column{{p("column.plane"), 3, false}, {p("column.kerma_total"), 3, true}, {p("column.kerma_events"), 3, true}, {p("column.kap_total"), 3, true}, {p("column.kap_events"), 3, true}, {p("column.minutes"), 3, true}},
		Rows:    rows, Small: true,
	}}
}

// levels are all levels that the case was compared with, and those that sums over windows reached.
func (c *composer) levels() []Block {
	p := c.text
	var rows [][]string
	add := func(scope string, e level.Evaluation, all bool) {
		for _, r := range e.Results {
			if all || r.State != level.Below {
				rows = append(rows, []string{scope, r.Row.Title + ", " + r.Row.Meaning, c.text("state." + r.State.String()), c.levelText(r), r.Row.Source + " (" + r.Row.Known + ")"})
			}
		}
	}
	add(p("scope.case"), c.Assessment.Levels, true)
	for _, s := range c.wider() {
		add(c.window(s), s.Levels, false)
	}
	blocks := []Block{Heading{2, p("report.levels.title")}, Table{
		Caption: p("report.levels.caption"), Lang: method, Small: true,
		Columns: []Column{{p("column.scope"), 3, false}, {p("column.level"), 4, false}, {p("column.state"), 2, false}, {p("column.compared"), 6, false}, {p("column.source"), 5, false}}, Rows: rows,
	}}
	if said := slices.Concat(c.Assessment.Levels.Reasons, c.Assessment.Levels.Notes); len(said) > 0 {
		blocks = append(blocks, List{Items: said, Small: true, Lang: method})
	}
	return append(blocks, Paragraph{Text: p("caution.level"), Style: Small})
}

func (c *composer) levelText(r level.Result) string {
	if !r.Value.Present() {
		return fmt.Sprintf("%s not known, level %s", r.Row.Quantity, r.Row.Quantity.Print(r.Level, r.Level))
	}
	return r.Text
}

// skinBasis is what the estimate of the skin dose rests on.
func (c *composer) skinBasis() []Block {
	p, e := c.text, c.Assessment.SkinDose
	blocks := []Block{Heading{2, p("report.basis.title")}, Paragraph{Text: p("from."+string(e.Method)) + "; " + p("knowledge."+strings.ReplaceAll(e.Class.String(), " ", "_"))}}
	if e.Reason != "" {
		blocks = append(blocks, Paragraph{Text: e.Reason, Lang: method})
	}
	var parts [][]string
	for _, part := range e.Parts {
		parts = append(parts, []string{part.Name, c.measure(quantity.Significant(float64(part.Percent), 2) + " %"), part.Words})
	}
	if len(parts) > 0 {
		blocks = append(blocks, Table{Caption: p("report.parts.caption"), Small: true, Lang: method, Columns: []Column{{p("column.part"), 4, false}, {p("column.k1"), 2, true}, {p("column.why"), 10, false}}, Rows: parts})
	}
	blocks = append(blocks, c.sampled(e.Sampling)...)
	if len(e.Assumptions) > 0 {
		blocks = append(blocks, Heading{3, p("report.assumed.title")}, List{Items: e.Assumptions, Small: true, Lang: method})
	}
	return append(blocks, c.contributions()...)
}

// sampled tells how the range of a map came about.
func (c *composer) sampled(s *skindose.Sampling) []Block {
	if s == nil {
		return nil
	}
	gy := func(v quantity.Gray) string { return c.measure(quantity.Significant(float64(v), 3) + " Gy") }
	blocks := []Block{Paragraph{Style: Small, Text: c.text("report.sampled", "points", s.Points, "seed", s.Seed, "median", gy(s.Median), "low", gy(s.Low), "high", gy(s.High))}}
	const least = 0.01
	var rows [][]string
	for _, f := range s.Influences {
		if f.Share >= least {
			rows = append(rows, []string{f.Name, f.Varied, c.measure(quantity.Fixed(100*f.Share, 0) + " %")})
		}
	}
	if len(rows) == 0 {
		return blocks
	}
	return append(blocks, Table{Caption: c.text("report.shares.caption"), Small: true, Lang: method, Columns: []Column{{c.text("column.part"), 5, false}, {c.text("column.varied"), 8, false}, {c.text("column.share"), 2, true}}, Rows: rows})
}

// contributions are the events that gave most at the peak.
func (c *composer) contributions() []Block {
	all := c.Assessment.SkinDose.Contributions
	if len(all) == 0 {
		return nil
	}
	const most = 10
	var rows [][]string
	rest := 0.0
	for i, one := range all {
		if i >= most {
			rest += one.Share
			continue
		}
		rows = append(rows, []string{fmt.Sprint(one.Event + 1), c.measure(quantity.Figures(float64(one.Dose), 3) + " Gy"), c.measure(quantity.Fixed(100*one.Share, 1) + " %")})
	}
	if len(all) > most {
		rows = append(rows, []string{c.text("report.peak.rest", "n", len(all)-most), "", c.measure(quantity.Fixed(100*rest, 1) + " %")})
	}
	return []Block{Heading{3, c.text("report.peak.title")}, Table{Caption: c.text("report.peak.caption"), Small: true, Columns: []Column{{c.text("column.event"), 4, false}, {c.text("column.dose"), 3, true}, {c.text("column.share"), 3, true}}, Rows: rows}}
}

func (c *composer) effectiveBasis() []Block {
	p, e := c.text, c.Assessment.Effective
	blocks := []Block{Heading{2, p("report.effective.title")}, Paragraph{Text: p("caution.effective"), Style: Small}}
	var rows [][]string
	for _, part := range e.Parts {
		number := func(v float64) string { return c.l.Figure(quantity.Figures(v, 2)) }
		rows = append(rows, []string{
			part.Region, part.Filter, c.l.Figure(quantity.Figures(part.KAP.Gycm2(), 3)), number(float64(part.Coefficient)) + " (" + number(float64(part.Low)) + "–" + number(float64(part.High)) + ")",
			part.Source + " (" + part.Known + ", " + part.Weights.String() + ")",
		})
	}
	if len(rows) > 0 {
		blocks = append(blocks, Table{Caption: p("report.effective.caption"), Small: true, Lang: method, Columns: []Column{{p("column.region"), 3, false}, {p("column.filter"), 3, false}, {p("column.kap_gycm2"), 2, true}, {p("column.coefficient"), 4, true}, {p("column.source"), 7, false}}, Rows: rows})
	}
	if said := slices.Concat(list(e.Reason), e.Assumptions); len(said) > 0 {
		blocks = append(blocks, List{Items: said, Small: true, Lang: method})
	}
	return blocks
}

func list(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}

// findings are what was odd, missing or repaired, the gravest first, each once with how many places say it.
func (c *composer) findings() []Block {
	groups := procedure.GroupFindings(slices.Concat(c.Assessment.Procedure.Findings, c.Assessment.SkinDose.Findings))
	blocks := []Block{Heading{2, c.text("report.findings.title")}}
	if len(groups) == 0 {
		return append(blocks, Paragraph{Text: c.text("report.findings.none")})
	}
	var rows [][]string
	for _, g := range groups {
		rows = append(rows, []string{g.Severity.String(), g.Text, g.Rule, fmt.Sprint(g.Places)})
	}
	return append(blocks, Table{Caption: c.text("report.findings.caption"), Small: true, Lang: method, Columns: []Column{{c.text("column.severity"), 3, false}, {c.text("column.finding"), 9, false}, {c.text("column.rule"), 4, false}, {c.text("column.places"), 2, true}}, Rows: rows})
}

func (c *composer) versions() []Block {
	p, e := c.text, c.Estimate
	return []Block{Heading{2, p("report.versions.title")}, pairs(p("report.versions.title"), [][]string{
		{p("label.estimate"), p("report.versions.estimate", "case", e.Case, "number", e.Number, "made", c.l.Moment(e.MadeAt)+zone(e.MadeAt))},
		{p("label.program"), e.Program},
		{p("label.methods"), e.Methods},
		{p("label.digest"), e.Digest},
		{p("label.paper"), p("report.versions.paper", "id", c.Stamp.ID, "made", c.l.Moment(c.Stamp.Made)+zone(c.Stamp.Made), "by", c.Stamp.By, "program", c.Stamp.Program)},
	})}
}

// sources are the sources of all numbers of the estimate, each once.
func (c *composer) sources() []Block {
	all := slices.Concat(c.Assessment.SkinDose.Sources, c.Assessment.Effective.Sources)
	if len(c.Assessment.Levels.Results) > 0 {
		all = append(all, level.BandSource)
	}
	var once []string
	for _, s := range all {
		if s != "" && !slices.Contains(once, s) {
			once = append(once, s)
		}
	}
	return []Block{Heading{2, c.text("report.sources.title")}, Paragraph{Text: c.text("report.sources.known"), Style: Small}, List{Items: once, Small: true, Lang: method}}
}
