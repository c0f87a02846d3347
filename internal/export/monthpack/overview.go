package monthpack

import (
	"slices"
	"strconv"
	"strings"

	"afterbeam/internal/followup/paper"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/trend"
)

// overview is the first page: what the period was, and what there is to talk about.
func (p *pack) overview() {
	s := p.s
	p.add(paper.Paragraph{Text: p.t("overview.period", "from", p.date(s.Period.From), "to", p.date(s.Period.To), "as_of", p.date(s.AsOf),
		"before", PeriodName(p.w, s.Before)) + p.filter(), Style: paper.Small})
	if p.in.Notice != "" {
		p.add(paper.Paragraph{Text: p.in.Notice, Style: paper.Caution})
	}
	p.add(paper.Paragraph{Text: p.t("overview.caution"), Style: paper.Caution})
	if s.Leaving {
		p.add(paper.Paragraph{Text: p.t("overview.leaving"), Style: paper.Caution})
	}
	open := 0
	for _, a := range s.Actions {
		if a.Closed == "" {
			open++
		}
	}
	rows := [][]string{
		{p.t("overview.cases"), p.t("overview.cases_of", "n", s.Counts.Cases, "before", s.Counts.CasesBefore, "patients", s.Counts.Patients)},
		{p.t("overview.records"), p.share(s.Completeness.Records)},
		{p.t("overview.arrival"), p.arrival()},
		{p.t("overview.substantial"), p.undecided(s.Substantial.Rate)},
		{p.t("overview.open_asks"), p.t("overview.open_asks_of", "n", len(s.FollowUp.Open), "overdue", overdue(s.FollowUp))},
		{p.t("overview.review"), p.t("overview.review_of", "pending", pending(s.Review), "n", reviewed(s.Review))},
		{p.t("overview.signals"), strconv.Itoa(len(s.Signals))},
		{p.t("overview.actions"), strconv.Itoa(open)},
	}
	p.table(p.t("overview.table"), []string{"what", "count"}, []float64{50, 115}, rows)
	p.heading("overview.talk")
	p.talk()
}

func (p *pack) filter() string {
	out := ""
	for _, f := range []struct{ key, value string }{{"class", p.s.Filter.Class}, {"room", p.s.Filter.Room}, {"device", p.s.Filter.Device}} {
		if f.value != "" {
			out += " " + p.t("overview.filter_"+f.key, "value", f.value)
		}
	}
	return out
}

func (p *pack) arrival() string {
	if p.s.Completeness.Arrival == nil {
		return p.word("absent", p.s.Completeness.ArrivalAbsent)
	}
	return p.share(*p.s.Completeness.Arrival)
}

func overdue(f summary.FollowUp) (n int) {
	for _, a := range f.Ageing {
		if a.From > 0 {
			n += a.Asks
		}
	}
	return n
}

func pending(r summary.ReviewList) int {
	for _, s := range r.States {
		if s.Text == string(summary.ReviewPending) {
			return s.Cases
		}
	}
	return 0
}

func reviewed(r summary.ReviewList) (n int) {
	for _, s := range r.States {
		n += s.Cases
	}
	return n
}

// talk lists what asks for words at the meeting. It judges nothing: each line says where to look.
func (p *pack) talk() {
	var items []string
	count := func(key string, n int) {
		if n > 0 {
			items = append(items, p.w.Count(key, n))
		}
	}
	count("talk.overdue", overdue(p.s.FollowUp))
	count("talk.reactions", len(p.s.Reactions.Rows))
	items = append(items, p.positionsToTalk()...)
	for _, c := range p.s.Charts {
		if len(c.Signals) > 0 {
			items = append(items, p.t("talk.signal", "chart", p.chartTitle(c), "rules", p.rulesOf(c)))
		}
	}
	items = append(items, p.metersToTalk()...)
	count("talk.unclassified", p.s.Counts.Unclassified)
	for _, a := range p.s.Actions {
		if a.Standing == "overdue" {
			items = append(items, p.t("talk.action", "text", a.Text, "owner", a.Owner, "due", p.date(a.Due)))
		}
	}
	if len(items) == 0 {
		p.say("talk.nothing")
		return
	}
	const most = 14
	if left := len(items) - most; left > 0 {
		items = append(items[:most], p.t("talk.more", "n", left))
	}
	p.add(paper.List{Items: items})
}

func (p *pack) positionsToTalk() (items []string) {
	for _, c := range p.s.Classes {
		positions := c.Positions
		if len(positions) == 0 && c.Year != nil {
			positions = c.Year.Positions
		}
		for _, at := range positions {
			if at.Verdict == reference.Above || at.Verdict == reference.PossiblyAbove {
				items = append(items, p.t("talk.position", "class", p.class(c.Title, at.Level.Complexity), "quantity", p.word("quantity", at.Level.Quantity),
					"verdict", p.word("verdict", string(at.Verdict)), "level", p.figure(at.Level.Quantity, at.Level.Value)+", "+at.Level.Country+" "+strconv.Itoa(at.Level.Year)))
			}
		}
	}
	return items
}

func (p *pack) metersToTalk() (items []string) {
	for _, m := range p.s.Meters {
		if m.Outside {
			items = append(items, p.t("talk.meter_outside", "device", meterName(m)))
		} else if m.Status == "expired" || m.Status == "old" || m.Status == "unchecked" {
			items = append(items, p.t("talk.meter", "device", meterName(m), "status", p.word("meter", m.Status)))
		}
	}
	return items
}

// rulesOf names the rules of a chart's signals, each once.
func (p *pack) rulesOf(c trend.Chart) string {
	var words []string
	for _, s := range c.Signals {
		if word := p.word("rule", s.Rule); !slices.Contains(words, word) {
			words = append(words, word)
		}
	}
	return strings.Join(words, "; ")
}
