package monthpack

import (
	"strconv"
	"strings"

	"afterbeam/internal/followup/paper"
	"afterbeam/internal/summary"
)

// followUp is Q7 to Q10.
func (p *pack) followUp() {
	s := p.s
	p.say("followup.about")
	rows := [][]string{
		{p.t("followup.rate"), p.undecided(s.Substantial.Rate), p.change(s.Substantial.Rate.Change)},
		{p.t("followup.informed"), p.share(s.FollowUp.Informed), p.change(s.FollowUp.Informed.Change)},
		{p.t("followup.contacted"), p.share(s.FollowUp.Contacted), p.change(s.FollowUp.Contacted.Change)},
		{p.t("followup.outcome"), p.share(s.FollowUp.Outcome), p.change(s.FollowUp.Outcome.Change)},
		{p.t("followup.looked"), p.share(s.Reactions.Looked), p.change(s.Reactions.Looked.Change)},
		{p.t("followup.seen"), p.share(s.Reactions.Seen), p.change(s.Reactions.Seen.Change)},
	}
	p.table(p.t("followup.table"), []string{"what", "share", "change"}, []float64{65, 60, 40}, rows)
	p.small("followup.states", "near", s.Substantial.Near, "unknown", s.Substantial.Unknown, "not_due", s.FollowUp.ContactNotYetDue)
	p.crossings()
	p.caseList("followup.cases", s.Substantial.Cases)
	p.asks()
	p.reactions()
}

func (p *pack) crossings() {
	var rows [][]string
	const most = 8
	for _, c := range p.s.Crossings[:min(len(p.s.Crossings), most)] {
		rows = append(rows, []string{p.t("followup.crossing", "level", p.w.Number(c.Level, 0)), p.undecided(c.Cases), p.cite(c.Source)})
	}
	if len(rows) > 0 {
		p.heading("followup.crossings")
		p.table(p.t("followup.crossings"), []string{"what", "share", "source"}, []float64{65, 80, 20}, rows)
	}
}

// caseList lists cases with their numbers, or says why it does not.
func (p *pack) caseList(title string, cases []summary.CaseLine) {
	if p.lists(title, len(cases)) {
		p.table(p.t(title), []string{"day", "case", "class", "room", "kar+", "kap+", "psd+"}, []float64{17, 37, 32, 17, 16, 19, 27}, p.caseRows(cases))
	}
}

// lists begins a list of cases. Where there is none, or lists are withheld, it says so and is false.
func (p *pack) lists(title string, cases int) bool {
	p.heading(title)
	switch {
	case p.s.Leaving:
		p.say("pack.lists_withheld")
	case cases == 0:
		p.say("pack.no_cases")
	default:
		return true
	}
	return false
}

func (p *pack) caseRows(cases []summary.CaseLine) [][]string {
	rows := make([][]string, 0, len(cases))
	for _, c := range cases {
		rows = append(rows, []string{
			p.date(c.Day), c.ID, p.class(c.Title, c.Complexity), named(c.Room), p.dose("kar_gy", c.Kerma, c.KermaDoubt), p.dose("kap_gy_cm2", c.KAP, c.KAPDoubt), p.skin(c),
		})
	}
	return rows
}

// asks is what was asked and how long what is open has been overdue.
func (p *pack) asks() {
	f := p.s.FollowUp
	if len(f.Kinds) > 0 {
		var rows [][]string
		for _, k := range f.Kinds {
			rows = append(rows, []string{
				p.word("ask", k.Kind), strconv.Itoa(k.InTime), strconv.Itoa(k.Late), strconv.Itoa(k.Open), strconv.Itoa(k.Overdue), strconv.Itoa(k.Dropped), p.share(k.Answered),
			})
		}
		p.heading("followup.kinds")
		p.table(p.t("followup.kinds"), []string{"ask", "in_time+", "late+", "open+", "overdue+", "dropped+", "answered"}, []float64{38, 17, 17, 17, 17, 17, 42}, rows)
	}
	var rows [][]string
	for _, a := range f.Ageing {
		band := p.t("followup.not_due")
		switch {
		case a.From > 0 && a.To > 0:
			band = p.t("followup.days", "from", a.From, "to", a.To)
		case a.From > 0:
			band = p.t("followup.days_from", "from", a.From)
		}
		rows = append(rows, []string{band, strconv.Itoa(a.Asks)})
	}
	if len(rows) > 0 {
		p.heading("followup.ageing")
		p.table(p.t("followup.ageing"), []string{"overdue_for", "asks+"}, []float64{60, 105}, rows)
	}
	if p.s.Leaving || len(f.Open) == 0 {
		return
	}
	rows = nil
	const most = 15
	for _, a := range f.Open[:min(len(f.Open), most)] {
		standing := p.t("followup.left", "n", -a.Overdue)
		if a.Overdue > 0 {
			standing = p.t("followup.over", "n", a.Overdue)
		}
		rows = append(rows, []string{p.date(a.Due), standing, p.word("ask", a.Kind), p.word("role", a.Owner), p.date(a.Day), a.Case, a.Title})
	}
	p.heading("followup.open")
	p.table(p.t("followup.open"), []string{"due", "standing", "ask", "owner", "day", "case", "class"}, []float64{17, 21, 29, 17, 17, 36, 28}, rows)
	if left := len(f.Open) - most; left > 0 {
		p.small("pack.more_rows", "n", left)
	}
}

func (p *pack) reactions() {
	rows := [][]string{}
	for _, r := range p.s.Reactions.Rows {
		rows = append(rows, []string{p.date(r.Seen), p.t("followup.grade", "n", r.Grade), named(r.Place), strconv.Itoa(r.Days), p.date(r.Case.Day), r.Case.ID, p.skin(r.Case)})
	}
	p.heading("followup.reactions")
	switch {
	case p.s.Leaving:
		p.say("pack.lists_withheld")
	case len(rows) == 0:
		p.say("followup.no_reactions")
	default:
		p.table(p.t("followup.reactions"), []string{"seen", "grade", "place", "after+", "day", "case", "psd+"}, []float64{17, 15, 34, 15, 17, 37, 30}, rows)
	}
}

// review is Q11.
func (p *pack) review() {
	p.say("review.about")
	p.add(paper.List{Items: p.reasons("review_state", p.s.Review.States), Small: true})
	if p.s.Leaving {
		p.say("pack.lists_withheld")
		return
	}
	if len(p.s.Review.Rows) == 0 {
		p.say("review.nothing")
		return
	}
	var rows [][]string
	for _, r := range p.s.Review.Rows {
		why := make([]string, 0, len(r.Why))
		for _, w := range r.Why {
			why = append(why, p.word("why", w))
		}
		state := p.word("review_state", string(r.State))
		if r.Day != "" {
			state += ", " + p.date(r.Day)
		}
		rows = append(rows, []string{
			p.date(r.Case.Day), r.Case.ID, p.class(r.Case.Title, r.Case.Complexity), named(r.Case.Room), p.dose("kar_gy", r.Case.Kerma, r.Case.KermaDoubt), p.skin(r.Case), strings.Join(why, "; "), state,
		})
	}
	p.table(p.t("section.review"), []string{"day", "case", "class", "room", "kar+", "psd+", "why", "state"}, []float64{17, 36, 22, 14, 13, 20, 27, 20}, rows)
}
