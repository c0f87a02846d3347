package monthpack

import (
	"math"
	"strconv"
	"strings"
	"time"

	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/statistic"
)

// none stands for what is not there; the reason is beside it.
const none = "–"

// edges are the values that a number must not be rounded up to: those of the levels in common use, of the unit of a column.
var edges = map[string][]float64{"kar_gy": {3, 5}, "psd_gy": {3, 5}, "kap_gy_cm2": {500}}

// figure prints a number of a quantity, without its unit.
func (p *pack) figure(of string, v float64) string {
	switch of {
	case "kar_gy":
		return p.w.Figure(quantity.Below(v, 2, edges[of]...))
	case "psd_gy", "e_msv":
		return p.w.Figure(quantity.Figures(v, 2, edges[of]...))
	case "ft_min":
		return p.w.Figure(quantity.Fixed(v, 1))
	case "images":
		return p.w.Figure(quantity.Fixed(v, 0))
	}
	return p.w.Figure(quantity.Figures(v, 3, edges[of]...))
}

func (p *pack) opt(of string, v quantity.Opt[float64]) string {
	if got, ok := v.Get(); ok {
		return p.figure(of, got)
	}
	return none
}

// percent prints a fraction of 1: whole, and with a decimal near the ends, so that only all is 100 % and nothing is 0 %.
func (p *pack) percent(v float64) string {
	const fine = 0.05
	decimals := 0
	if (v > 0 && v < fine) || (v < 1 && v > 1-fine) {
		decimals = 1
	}
	out := quantity.Fixed(100*v, decimals)
	if v < 1 && out == "100.0" {
		out = "99.9"
	}
	return p.w.Figure(out)
}

// share prints x of n with its share and interval, or why it is not there.
func (p *pack) share(v summary.Proportion) string {
	if v.Withheld != "" {
		return p.withheld(v.Withheld, 0)
	}
	share, ok := v.Share.Get()
	if !ok {
		return p.t("pack.of_none")
	}
	return p.t("pack.share", "x", v.X, "n", v.N, "share", p.percent(share), "low", p.percent(v.Low.Or(0)), "high", p.percent(v.High.Or(1)))
}

// undecided adds how many cases could not be decided.
func (p *pack) undecided(v summary.Proportion) string {
	if v.Unknown == 0 {
		return p.share(v)
	}
	return p.share(v) + p.t("pack.undecided", "n", v.Unknown)
}

// change prints a difference of shares in percentage points.
func (p *pack) change(c *summary.ShareChange) string {
	if c == nil {
		return none
	}
	return p.t("pack.points", "by", p.signed(100*c.Difference, 0), "low", p.signed(100*c.Low, 0), "high", p.signed(100*c.High, 0))
}

func (p *pack) signed(v float64, decimals int) string {
	out := quantity.Fixed(math.Abs(v), decimals)
	switch {
	case strings.Trim(out, "0.") == "":
	case v > 0:
		out = "+" + out
	default:
		out = "−" + out
	}
	return p.w.Figure(out)
}

// medianChange prints a change of a median in percent.
func (p *pack) medianChange(c *summary.MedianChange) string {
	if c == nil {
		return none
	}
	low, ok := c.Low.Get()
	if !ok {
		return p.signed(c.Percent, 0) + " %"
	}
	return p.t("pack.change", "by", p.signed(c.Percent, 0), "low", p.signed(low, 0), "high", p.signed(c.High.Or(0), 0))
}

func (p *pack) withheld(reason string, need int) string {
	switch {
	case reason == "few-values" && need > 0:
		return p.t("withheld.few_values", "n", need)
	case reason == "few-of-an-operator":
		return p.t("withheld.few_of_an_operator", "n", need)
	}
	return p.word("withheld", reason)
}

// quantile prints a percentile with its interval, or from how many values on it is shown.
func (p *pack) quantile(s summary.Statistic, q *statistic.Quantile, what string) string {
	if q == nil {
		for _, w := range s.Withheld {
			if w.What == what {
				return p.withheld(w.Reason, w.Need)
			}
		}
		return none
	}
	low, ok := q.Low.Get()
	if !ok {
		return p.figure(s.Quantity, q.Value)
	}
	return p.figure(s.Quantity, q.Value) + " (" + p.figure(s.Quantity, low) + "–" + p.figure(s.Quantity, q.High.Or(0)) + ")"
}

// middle prints the quartiles, or the range where there are too few values for them.
func (p *pack) middle(s summary.Statistic) string {
	if s.P25 != nil && s.P75 != nil {
		return p.figure(s.Quantity, s.P25.Value) + "–" + p.figure(s.Quantity, s.P75.Value)
	}
	if low, ok := s.Min.Get(); ok {
		return p.t("pack.range", "low", p.figure(s.Quantity, low), "high", p.figure(s.Quantity, s.Max.Or(0)))
	}
	return none
}

// date prints a local date.
func (p *pack) date(day string) string {
	at, err := time.Parse(time.DateOnly, day)
	if err != nil {
		if day == "" {
			return none
		}
		return day
	}
	return p.w.Date(at)
}

// reasons prints texts with how often each came.
func (p *pack) reasons(of string, all []summary.Reason) []string {
	out := make([]string, 0, len(all))
	for _, r := range all {
		out = append(out, p.word(of, r.Text)+": "+strconv.Itoa(r.Cases))
	}
	return out
}

func (p *pack) class(title, complexity string) string {
	if complexity == "" {
		return title
	}
	return title + ", " + p.word("complexity", complexity)
}

// dose prints a number of a case with what has to be known of it.
func (p *pack) dose(of string, v quantity.Opt[float64], doubt summary.Doubt) string {
	value, ok := v.Get()
	if !ok {
		return p.t("pack.absent")
	}
	switch doubt {
	case summary.DoubtPart:
		return p.t("pack.at_least", "value", p.figure(of, value))
	case summary.DoubtSuspect:
		return p.t("pack.doubted", "value", p.figure(of, value))
	case summary.DoubtNone:
	}
	return p.figure(of, value)
}

// skin prints the estimate of the peak skin dose with its range.
func (p *pack) skin(c summary.CaseLine) string {
	value, ok := c.PSD.Get()
	if !ok {
		if c.PSDNone != "" {
			return p.word("none", c.PSDNone)
		}
		return p.t("pack.no_estimate")
	}
	low, okLow := c.PSDLow.Get()
	high, okHigh := c.PSDHigh.Get()
	if !okLow || !okHigh {
		return p.figure("psd_gy", value)
	}
	v, from, to, unit := quantity.ShowSkin(quantity.Gray(value), quantity.Gray(low), quantity.Gray(high), 3, 5)
	return p.t("pack.skin", "value", p.w.Figure(v), "low", p.w.Figure(from), "high", p.w.Figure(to), "unit", unit)
}

// drawable puts a question mark in the place of letters that the fonts of papers lack: names of rooms and devices and texts of
// actions come from outside, and no person is identified by a pack.
func drawable(d *paper.Document) {
	fix := func(text string) string {
		if paperpdf.Drawable(text) == nil {
			return text
		}
		return strings.Map(func(r rune) rune {
			if paperpdf.Drawable(string(r)) != nil {
				return '?'
			}
			return r
		}, text)
	}
	d.Title, d.Centre, d.Department, d.Banner, d.Foot = fix(d.Title), fix(d.Centre), fix(d.Department), fix(d.Banner), fix(d.Foot)
	fixBlocks(d.Blocks, fix)
}

func fixBlocks(blocks []paper.Block, fix func(string) string) {
	for i, b := range blocks {
		switch b := b.(type) {
		case paper.Heading:
			b.Text = fix(b.Text)
			blocks[i] = b
		case paper.Paragraph:
			b.Lead, b.Text = fix(b.Lead), fix(b.Text)
			blocks[i] = b
		case paper.List:
			for k := range b.Items {
				b.Items[k] = fix(b.Items[k])
			}
		case paper.Table:
			for _, row := range b.Rows {
				for k := range row {
					row[k] = fix(row[k])
				}
			}
		case paper.Picture:
			b.Alt, b.Caption = fix(b.Alt), fix(b.Caption)
			blocks[i] = b
		case paper.Box:
			fixBlocks(b.Blocks, fix)
		case paper.Drawing, paper.Signature:
		}
	}
}
