package monthpack

import (
	"cmp"
	"slices"
	"strconv"

	"afterbeam/internal/followup/paper"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
)

// classes is Q4.
func (p *pack) classes() {
	p.say("classes.about")
	p.small("classes.method", "percentile", p.s.Methods.Percentile, "interval", p.s.Methods.QuantileInterval)
	var lists []summary.Class
	for _, c := range p.s.Classes {
		if len(c.All.Statistics) == 0 || c.All.Show == statistic.ShowList || c.All.Show == statistic.ShowNothing {
			lists = append(lists, c)
			continue
		}
		p.oneClass(c)
	}
	p.fewCases(lists)
}

func (p *pack) oneClass(c summary.Class) {
	p.heading("classes.title", "class", c.Title, "cases", p.w.Count("pack.cases", c.All.Cases))
	rows := make([][]string, 0, len(c.All.Statistics))
	for _, s := range c.All.Statistics {
		n := strconv.Itoa(s.N)
		if s.N != s.Of {
			n = p.t("pack.n_of", "n", s.N, "of", s.Of)
		}
		rows = append(rows, []string{
			p.word("quantity", s.Quantity), n, p.quantile(s, s.Median, "median"), p.middle(s), p.quantile(s, s.P90, "p90"), p.medianChange(s.Change),
		})
	}
	p.table(p.t("classes.title", "class", c.Title, "cases", p.w.Count("pack.cases", c.All.Cases)),
		[]string{"quantity", "n+", "median+", "middle+", "p90+", "change+"}, []float64{37, 17, 31, 27, 26, 31}, rows)
	if c.All.Substantial != nil {
		p.small("classes.substantial", "share", p.undecided(*c.All.Substantial))
	}
	for _, part := range c.Parts {
		p.part(c, part)
	}
}

// part puts the groups of one property side by side: KAP and Ka,r of those that have statistics. Operators are in the workbook alone.
func (p *pack) part(c summary.Class, part summary.Part) {
	if part.By == "operator" || part.By == "device" || c.All.Cases < statistic.ShowProvisional.Need() {
		return
	}
	var rows [][]string
	for _, g := range part.Groups {
		row := []string{p.groupTitle(part.By, g), strconv.Itoa(g.Cases), none, none}
		for _, w := range g.Withheld {
			row[2] = p.withheld(w.Reason, w.Need)
		}
		for _, s := range g.Statistics {
			switch s.Quantity {
			case "kap_gy_cm2":
				row[2] = p.quantile(s, s.Median, "median")
			case "kar_gy":
				row[3] = p.quantile(s, s.Median, "median")
			}
		}
		rows = append(rows, row)
	}
	p.table(c.Title+", "+p.t("column."+part.By), []string{part.By, "cases+", "median_kap+", "median_kar+"}, []float64{60, 20, 45, 45}, rows)
}

func (p *pack) groupTitle(by string, g summary.Group) string {
	title := g.Title
	if by == "complexity" || by == "size" || by == "mount" {
		title = p.word(by, g.Key)
	}
	if title == "" {
		return p.t("pack.unknown")
	}
	return title
}

// fewCases lists the cases of the classes that are too small to be summed up.
func (p *pack) fewCases(lists []summary.Class) {
	if len(lists) == 0 {
		return
	}
	p.heading("classes.few")
	p.say("classes.few_about", "n", statistic.ShowRange.Need()-1)
	if p.s.Leaving {
		var items []string
		for _, c := range lists {
			items = append(items, c.Title+": "+p.withheld("small-group", 0))
		}
		p.add(paper.List{Items: items, Small: true})
		return
	}
	var cases []summary.CaseLine
	for _, c := range lists {
		cases = append(cases, c.All.List...)
	}
	p.table(p.t("classes.few"), []string{"day", "case", "class", "room", "kar+", "kap+", "psd+"}, []float64{17, 37, 32, 17, 16, 19, 27}, p.caseRows(cases))
}

// levels is Q5 and Q6.
func (p *pack) levels() {
	p.say("levels.about")
	var rows, shapes [][]string
	var kept []string
	for _, c := range p.s.Classes {
		for _, at := range p.chosen(c.Positions) {
			rows = append(rows, p.position(c, at))
		}
		for _, d := range c.Distributions {
			shapes = append(shapes, p.distribution(c, d)...)
		}
		if len(c.Withheld) > 0 && len(c.Positions) == 0 && c.Year == nil {
			kept = append(kept, p.t("levels.withheld", "class", c.Title, "reason", p.withheld(c.Withheld[0].Reason, c.Withheld[0].Need)))
		}
	}
	if len(rows) == 0 {
		p.say("levels.nothing")
	} else {
		p.table(p.t("levels.table"), []string{"class", "quantity", "median+", "level+", "kind", "verdict", "source"}, []float64{34, 26, 27, 15, 27, 32, 14}, rows)
		p.small("levels.legend")
	}
	p.levelsOfYear()
	if p.pictures {
		p.small("levels.chosen")
	}
	if len(shapes) > 0 {
		p.heading("levels.shapes")
		p.say("levels.shapes_about")
		p.table(p.t("levels.shapes"), []string{"class", "quantity", "percentile+", "here+", "published+", "source"}, []float64{46, 36, 22, 24, 24, 15}, shapes)
	}
	if len(kept) > 0 {
		p.heading("levels.left_out")
		p.add(paper.List{Items: kept, Small: true})
	}
}

// chosen leaves out of the paper levels that fit in part where two newer ones are of the same cases and quantity. On a page all
// are there.
func (p *pack) chosen(all []summary.Position) []summary.Position {
	if !p.pictures {
		return all
	}
	const most = 2
	sorted := slices.Clone(all)
	slices.SortStableFunc(sorted, func(a, b summary.Position) int { return cmp.Compare(b.Level.Year, a.Level.Year) })
	kept, count := map[string]bool{}, map[[3]string]int{}
	for _, at := range sorted {
		of := [3]string{at.Level.Complexity, at.Mount, at.Level.Quantity}
		// One above is never left out.
		if at.Level.Fit != "part" || count[of] < most || at.Verdict == reference.Above || at.Verdict == reference.PossiblyAbove {
			kept[at.Level.ID] = true
		}
		count[of]++
	}
	return slices.DeleteFunc(slices.Clone(all), func(at summary.Position) bool { return !kept[at.Level.ID] })
}

func (p *pack) position(c summary.Class, at summary.Position) []string {
	of := at.Level.Quantity
	median := p.figure(of, at.Median)
	if low, ok := at.Low.Get(); ok {
		median += " (" + p.figure(of, low) + "–" + p.figure(of, at.High.Or(0)) + ")"
	}
	verdict := p.word("verdict", string(at.Verdict))
	if at.IntervalReaches {
		verdict += p.t("levels.reaches")
	}
	if at.Provisional {
		verdict += p.t("levels.provisional", "n", at.N)
	}
	kind := p.word("level_kind", at.Level.Kind) + ", " + at.Level.Country + " " + strconv.Itoa(at.Level.Year)
	if at.Level.Fit == "part" {
		kind += p.t("levels.part")
	}
	class := p.class(c.Title, at.Level.Complexity)
	if at.Mount != "" {
		class += ", " + p.word("mount", at.Mount)
	}
	return []string{class, p.word("quantity", of), median, p.figure(of, at.Level.Value), kind, verdict, p.cite(at.Level.Source)}
}

func (p *pack) distribution(c summary.Class, d summary.Distribution) [][]string {
	of := d.Published.Quantity
	rows := make([][]string, 0, len(d.Rows))
	for i, r := range d.Rows {
		row := []string{"", "", strconv.Itoa(r.Percent), p.opt(of, r.Local), p.figure(of, r.Published), ""}
		if i == 0 {
			row[0], row[1], row[5] = p.class(c.Title, d.Published.Complexity), p.word("quantity", of), p.cite(d.Published.Source)
		}
		rows = append(rows, row)
	}
	return rows
}
