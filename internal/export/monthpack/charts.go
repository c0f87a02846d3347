package monthpack

import (
	"bytes"
	"cmp"
	"math"
	"slices"
	"strconv"

	"afterbeam/internal/followup/paper"
	"afterbeam/internal/summary/trend"
)

// MostCharts is how many control charts a pack draws: those with signals first.
const MostCharts = 8

// chartWidth is the width of a chart on paper in mm.
const chartWidth = 165

// charts shows the control charts.
func (p *pack) charts() {
	p.say("charts.about")
	p.signals()
	var left [][]string
	for i, c := range Drawn(p.s.Charts) {
		if p.pictures {
			p.chart(c)
		} else if i == 0 {
			p.small("charts.on_page")
		}
	}
	drawn, forming := Drawn(p.s.Charts), 0
	for _, c := range p.s.Charts {
		if p.pictures && c.Status == trend.Forming {
			forming++ // by name on the page alone
			continue
		}
		if slices.ContainsFunc(drawn, func(d trend.Chart) bool { return d.Key == c.Key }) && p.pictures {
			continue
		}
		left = append(left, []string{p.chartTitle(c), p.status(c), strconv.Itoa(len(c.Points) + c.Earlier), strconv.Itoa(len(c.Signals))})
	}
	if len(left) > 0 {
		p.heading("charts.others")
		p.table(p.t("charts.others"), []string{"chart", "baseline", "points+", "signals+"}, []float64{66, 69, 15, 15}, left)
	}
	if forming > 0 {
		p.small("charts.forming", "n", forming)
	}
}

func (p *pack) signals() {
	var rows [][]string
	for _, c := range p.s.Charts {
		for _, s := range c.Signals {
			when := p.date(s.From)
			if s.To != s.From {
				when += " – " + p.date(s.To)
			}
			rows = append(rows, []string{p.chartTitle(c), p.word("rule", s.Rule), when, strconv.Itoa(s.Count)})
		}
	}
	p.heading("charts.signals")
	if len(rows) == 0 {
		p.say("charts.no_signals")
		return
	}
	p.table(p.t("charts.signals"), []string{"chart", "signal", "when", "points+"}, []float64{65, 50, 35, 15}, rows)
}

// Drawn chooses the charts that a pack draws, of those with limits and points: first those with signals, then rates, then doses
// with the most points.
func Drawn(charts []trend.Chart) []trend.Chart {
	var with, without []trend.Chart
	for _, c := range charts {
		switch {
		case len(c.Points) < 2 || c.Status == trend.Forming:
		case len(c.Signals) > 0:
			with = append(with, c)
		default:
			without = append(without, c)
		}
	}
	rank := func(c trend.Chart) int {
		if c.Kind != trend.ValueAndRange {
			return math.MaxInt
		}
		return len(c.Points) + c.Earlier
	}
	slices.SortStableFunc(without, func(a, b trend.Chart) int { return cmp.Compare(rank(b), rank(a)) })
	all := slices.Concat(with, without)
	return all[:min(len(all), MostCharts)]
}

// chart draws one chart with its title, and what it shows in words.
func (p *pack) chart(c trend.Chart) {
	if p.err != nil {
		return
	}
	var out bytes.Buffer
	if p.err = drawChart(&out, p, c, paperDots); p.err != nil {
		return
	}
	// The title is a line of the picture's caption, so that no page parts them.
	p.add(paper.Picture{PNG: out.Bytes(), Alt: p.chartTitle(c) + ". " + p.chartWords(c), Caption: p.chartWords(c), Width: chartWidth})
}

// chartTitle says what a chart is about.
func (p *pack) chartTitle(c trend.Chart) string {
	if c.Kind == trend.ValueAndRange {
		return p.word("quantity", c.Quantity) + ": " + c.Title
	}
	return p.word("rate", c.Quantity) + p.t("chart_kind."+string(c.Kind))
}

// chartWords says a chart in a sentence or two.
func (p *pack) chartWords(c trend.Chart) string {
	out := p.status(c) + "."
	if centre, ok := c.Centre.Get(); ok {
		out += " " + p.t("charts.centre", "centre", p.onChart(c, centre))
		low, okLow := c.Lower.Get()
		high, okHigh := c.Upper.Get()
		if okLow && okHigh {
			out += p.t("charts.limits", "low", p.onChart(c, low), "high", p.onChart(c, high))
		} else if c.Kind == trend.Share {
			out += p.t("charts.limits_each")
		}
		out += "."
	}
	if c.LeftOut > 0 {
		out += " " + p.w.Count("charts.left_out", c.LeftOut)
	}
	if len(c.Signals) == 0 {
		return out + " " + p.t("charts.quiet")
	}
	return out + " " + p.t("charts.signal", "rules", p.rulesOf(c))
}

// onChart prints a value as a chart has it.
func (p *pack) onChart(c trend.Chart, v float64) string {
	switch c.Kind {
	case trend.Share:
		return p.percent(v) + " %"
	case trend.CasesBetween:
		return p.t("charts.cases", "n", p.w.Number(v, 0))
	case trend.DaysBetween:
		return p.t("charts.days", "n", p.w.Number(v, 0))
	case trend.ValueAndRange:
	}
	return p.figure(c.Quantity, v) + " " + unitWord(c.Unit)
}

func (p *pack) status(c trend.Chart) string {
	if c.Status == trend.Forming {
		return p.t("chart_status.forming", "have", c.Have, "need", c.Need)
	}
	out := p.t("chart_status." + string(c.Status))
	if c.Status == trend.NoSpread {
		out = p.t("chart_status.no_spread")
	}
	if b := c.Baseline; b != nil {
		out += p.t("charts.baseline", "n", b.N, "from", p.date(b.From), "to", p.date(b.To))
	}
	return out
}

// unitWord writes a UCUM code as people do.
func unitWord(code string) string {
	switch code {
	case "Gy.cm2":
		return "Gy·cm²"
	case "Gy.cm2/kg":
		return "Gy·cm²/kg"
	case "1":
		return ""
	}
	return code
}
