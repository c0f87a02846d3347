package monthpack

import (
	"strconv"
	"strings"

	"afterbeam/internal/followup/paper"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
)

// cumulative is Q12.
func (p *pack) cumulative() {
	p.say("cumulative.about")
	var rows [][]string
	for _, c := range p.s.Cumulative {
		patients, largest := strconv.Itoa(c.Patients), none
		if c.Withheld != "" {
			patients = p.withheld(c.Withheld, 0)
		} else if v, ok := c.Largest.Get(); ok {
			largest = p.w.Figure(quantity.Significant(v, 3)) + " " + unitWord(c.Unit)
		}
		level := c.Scheme + ": " + c.Level
		if v, ok := c.LevelValue.Get(); ok {
			level = c.Scheme + ": " + p.w.Figure(quantity.Significant(v, 3)) + " " + unitWord(c.Unit)
		}
		rows = append(rows, []string{window(p, c.Window), p.word("quantity", c.Quantity), level, patients, largest})
	}
	if len(rows) == 0 {
		p.say("cumulative.nothing")
		return
	}
	p.table(p.t("section.cumulative"), []string{"window", "quantity", "level", "patients+", "largest+"}, []float64{25, 45, 40, 30, 25}, rows)
}

// window says how long a window is.
func window(p *pack, of string) string {
	if n, ok := strings.CutSuffix(of, " days"); ok {
		return p.t("cumulative.days", "n", n)
	}
	return p.word("window", of)
}

// apart is Q15.
func (p *pack) apart() {
	a := p.s.Apart
	p.say("apart.about", "children", p.w.Count("pack.cases", p.s.Counts.Children), "pregnant", p.w.Count("pack.cases", p.s.Counts.Pregnant))
	var rows [][]string
	for _, b := range a.ByWeight {
		row := []string{b.Title, p.band(b), strconv.Itoa(b.Group.Cases), none, none}
		for _, w := range b.Group.Withheld {
			row[3] = p.withheld(w.Reason, w.Need)
		}
		for _, s := range b.Group.Statistics {
			switch s.Quantity {
			case "kap_gy_cm2":
				row[3] = p.quantile(s, s.Median, "median")
			case "kap_gy_cm2_per_kg":
				row[4] = p.quantile(s, s.Median, "median")
			}
		}
		rows = append(rows, row)
	}
	if len(rows) > 0 {
		p.heading("apart.by_weight")
		p.table(p.t("apart.by_weight"), []string{"class", "weight", "cases+", "median_kap+", "median_kap_kg+"}, []float64{55, 30, 15, 35, 30}, rows)
	}
	for _, w := range a.PerWeight {
		p.small("apart.per_weight", "procedure", w.Procedure, "mean", p.w.Figure(quantity.Significant(w.Mean, 2)), "p90", p.w.Figure(quantity.Significant(w.P90, 2)), "source", p.cite(w.Source))
	}
	p.apartList("apart.children", a.Children)
	p.apartList("apart.pregnant", a.Pregnant)
}

func (p *pack) band(b summary.WeightBand) string {
	from, okFrom := b.From.Get()
	to, okTo := b.To.Get()
	switch {
	case okFrom && okTo:
		return p.t("apart.band", "from", p.w.Number(from, 0), "to", p.w.Number(to, 0))
	case okFrom:
		return p.t("apart.band_from", "from", p.w.Number(from, 0))
	}
	return p.t("apart.no_weight")
}

func (p *pack) apartList(title string, cases []summary.CaseLine) {
	if !p.lists(title, len(cases)) {
		return
	}
	var rows [][]string
	for _, c := range cases {
		age, weight := p.t("pack.absent"), p.t("pack.absent")
		if v, ok := c.Age.Get(); ok {
			age = p.w.Figure(quantity.Significant(v, 2))
		}
		if v, ok := c.Weight.Get(); ok {
			weight = p.w.Figure(quantity.Significant(v, 3))
		}
		rows = append(rows, []string{p.date(c.Day), c.ID, p.class(c.Title, c.Complexity), named(c.Room), age, weight, p.dose("kar_gy", c.Kerma, c.KermaDoubt), p.dose("kap_gy_cm2", c.KAP, c.KAPDoubt)})
	}
	p.table(p.t(title), []string{"day", "case", "class", "room", "age+", "weight_kg+", "kar+", "kap+"}, []float64{17, 37, 32, 16, 14, 16, 15, 18}, rows)
}

// meters is Q13.
func (p *pack) meters() {
	p.say("meters.about")
	var rows [][]string
	for _, m := range p.s.Meters {
		status := p.word("meter", m.Status)
		if m.Outside {
			status += p.t("meters.outside")
		}
		rows = append(rows, []string{named(m.Room), meterName(m), strconv.Itoa(m.Cases), p.factor(m.KermaFactor, m.KermaUncertainty), p.factor(m.KAPFactor, m.KAPUncertainty), p.date(m.CheckedOn), p.date(m.Until), status})
	}
	if len(rows) == 0 {
		p.say("meters.nothing")
		return
	}
	p.table(p.t("section.meters"), []string{"room", "device", "cases+", "kar_factor+", "kap_factor+", "checked", "until", "status"}, []float64{18, 30, 12, 26, 26, 18, 18, 26}, rows)
}

func meterName(m summary.MeterLine) string {
	if m.Name != "" {
		return m.Name
	}
	return named(m.Device)
}

func (p *pack) factor(v, sd quantity.Opt[float64]) string {
	factor, ok := v.Get()
	if !ok {
		return none
	}
	out := p.w.Figure(quantity.Fixed(factor, 3))
	if u, ok := sd.Get(); ok {
		out += " ± " + p.w.Figure(quantity.Significant(u, 2)) + " %"
	}
	return out
}

// estimates is Q14.
func (p *pack) estimates() {
	e := p.s.Estimates
	p.say("estimates.about")
	rows := [][]string{
		{p.t("quantity.psd_gy"), p.share(e.PSD), p.listed("none", e.PSDNone)},
		{p.t("quantity.e_msv"), p.share(e.Effective), p.listed("none", e.EffectiveNone)},
	}
	p.table(p.t("section.estimates"), []string{"quantity", "estimated", "none_because"}, []float64{45, 55, 65}, rows)
	if len(e.PSDMethods) > 0 {
		p.small("estimates.methods", "methods", p.listed("psd_method", e.PSDMethods))
	}
}

func (p *pack) listed(of string, all []summary.Reason) string {
	if len(all) == 0 {
		return none
	}
	return strings.Join(p.reasons(of, all), "; ")
}

// actions is what was agreed.
func (p *pack) actions() {
	p.say("actions.about")
	var rows [][]string
	for _, a := range p.s.Actions {
		standing := p.word("standing", a.Standing)
		if a.Carried > 0 && a.Closed == "" {
			standing += p.t("actions.carried", "n", a.Carried)
		}
		if a.Closed != "" {
			standing += " " + p.date(a.Closed) + ": " + a.Outcome
		}
		rows = append(rows, []string{a.Text, a.Owner, p.date(a.Opened), p.date(a.Due), standing})
	}
	if len(rows) == 0 {
		p.say("actions.nothing")
	} else {
		p.table(p.t("section.actions"), []string{"action", "owner", "opened", "due", "standing"}, []float64{70, 25, 20, 20, 35}, rows)
	}
	if p.pictures { // on paper there is room to write
		p.heading("actions.new")
		blank := [][]string{{" ", "", "", ""}, {" ", "", "", ""}, {" ", "", "", ""}, {" ", "", "", ""}}
		p.table(p.t("actions.new"), []string{"action", "owner", "due", "standing"}, []float64{85, 30, 20, 35}, blank)
	}
}

// method says how the numbers were made and what they are not.
func (p *pack) method() {
	p.heading("method.cautions")
	items := make([]string, 0, len(p.s.Cautions))
	for _, c := range p.s.Cautions {
		items = append(items, p.word("caution", c))
	}
	p.add(paper.List{Items: items})
	p.heading("method.methods")
	m := p.s.Methods
	rows := [][]string{
		{p.t("method.percentile"), m.Percentile},
		{p.t("method.quantile_interval"), m.QuantileInterval},
		{p.t("method.share_interval"), m.ShareInterval},
		{p.t("method.median_change"), m.MedianChange},
		{p.t("method.share_change"), m.ShareChange},
		{p.t("method.value_chart"), m.ValueChart},
		{p.t("method.rate_chart"), m.RateChart},
		{p.t("method.between_chart"), m.BetweenChart},
		{p.t("method.small_numbers"), m.SmallNumbers},
	}
	p.table(p.t("method.methods"), []string{"what", "method"}, []float64{50, 115}, rows)
	p.heading("method.indicators")
	items = nil
	for _, i := range p.s.Indicators {
		if !i.Given {
			items = append(items, i.ID+", "+p.word("indicator", i.Name)+": "+p.word("absent", i.Absent))
		}
	}
	if len(items) == 0 {
		p.say("method.all_given", "n", len(p.s.Indicators))
	} else {
		p.say("method.some_given", "given", len(p.s.Indicators)-len(items), "n", len(p.s.Indicators))
		p.add(paper.List{Items: items, Small: true})
	}
	if len(p.sources) > 0 {
		p.heading("method.sources")
		items = nil
		for i, s := range p.sources {
			items = append(items, "["+strconv.Itoa(i+1)+"] "+s)
		}
		p.add(paper.List{Items: items, Small: true})
	}
}
