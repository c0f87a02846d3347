package paper

import (
	"time"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// sheet is what a patient takes home. What it says and leaves out: description, where and when to look, that doctors are told
// and no sample is taken before a call, late changes - leaflet of NCI and SIR 2005 (read) and SIR 2009 (memory); no risk
// numbers, no effective dose.
func (c *composer) sheet() []Block {
	p := c.text
	blocks := []Block{
		Heading{1, p("title.patient_sheet")},
		Paragraph{Text: c.banner()},
		Paragraph{Text: p("sheet.intro."+c.amount(), "day", c.long(c.caseDay()), "centre", c.Site.Centre)},
	}
	if n := len(c.Before); n > 0 {
		blocks = append(blocks, Paragraph{Text: c.l.Count("sheet.before", n, "day", c.long(c.Before[n-1]))})
	}
	blocks = append(blocks, Paragraph{Text: p("sheet.why")},
		Heading{2, p("sheet.where.title")}, Paragraph{Text: c.whereToLook(), Style: Large}, Paragraph{Text: p("sheet.where.help")})
	if d, ok := c.drawing(); ok {
		blocks = append(blocks, d)
	}
	blocks = append(blocks, Heading{2, p("sheet.when.title")}, c.whenToLook(), Paragraph{Text: p("sheet.when.between")},
		Heading{2, p("sheet.what.title")}, List{Items: []string{p("sheet.what.red"), p("sheet.what.itch"), p("sheet.what.blister"), p("sheet.what.hair")}},
		Heading{2, p("sheet.call.title")}, Paragraph{Text: p("sheet.call.number", "phone", c.Site.Phone), Style: Large})
	blocks = append(blocks, Paragraph{Text: c.whoAnswers()},
		Paragraph{Text: p("sheet.call.either")},
		Paragraph{Lead: p("sheet.call.now_lead"), Text: p("sheet.call.now"), Style: Caution},
		Heading{2, p("sheet.care.title")}, List{Items: []string{p("sheet.care.scratch"), p("sheet.care.heat"), p("sheet.care.cream")}},
		Heading{2, p("sheet.doctors.title")},
		Paragraph{Text: p("sheet.doctors.tell")},
		Paragraph{Lead: p("sheet.doctors.biopsy_lead"), Text: p("sheet.doctors.biopsy", "phone", c.Site.Phone), Style: Caution},
		Heading{2, p("sheet.later.title")}, Paragraph{Text: p("sheet.later.text")}, Paragraph{Text: p("sheet.later.keep")},
		c.forDoctors(), Paragraph{Text: p("sheet.caution"), Style: Small})
	return blocks
}

// amount says how much X-ray there was, as far as a patient needs it.
func (c *composer) amount() string {
	switch c.state() {
	case level.Reached:
		return "reached"
	case level.Near:
		return "near"
	case level.Unknown:
		return "unknown"
	case level.Below, level.NoFlag:
	}
	return "below"
}

func (c *composer) whereToLook() string {
	place := c.Assessment.SkinDose.Peak.Region
	if place == "" {
		return c.text("sheet.where.unknown")
	}
	return c.text("sheet.where.place", "place", c.region(place))
}

func (c *composer) whoAnswers() string {
	if c.Site.Hours == "" {
		return c.text("sheet.call.who", "who", c.who())
	}
	return c.text("sheet.call.who_hours", "who", c.who(), "hours", c.Site.Hours)
}

// who is whom a patient speaks with.
func (c *composer) who() string {
	if c.Site.Department != "" {
		return c.Site.Department + ", " + c.Site.Centre
	}
	return c.Site.Centre
}

// The windows of the looks at the skin, in days after the procedure, where nothing else was asked.
// Source: 10 to 14 days, ICRP Publication 85 (memory); about 30 days, leaflet of NCI and SIR 2005 (read).
const (
	earlyFrom, earlyTo = 10, 14
	monthDays          = 30
)

// look is a window of days in which somebody looks at the skin; from is "" for a day about which.
type look struct{ from, to string }

// looks gives the early and the later look: as it was asked, else by the usual windows.
func (c *composer) looks() (early, month look) {
	if t, err := time.Parse(time.DateOnly, c.caseDay()); err == nil {
		after := func(days int) string { return t.AddDate(0, 0, days).Format(time.DateOnly) }
		early, month = look{after(earlyFrom), after(earlyTo)}, look{"", after(monthDays)}
	}
	for _, a := range c.Asks {
		switch a.Kind {
		case ask.EarlyCheck:
			early = look{a.From, a.Due}
		case ask.MonthCheck:
			month = look{a.From, a.Due}
		case ask.Record, ask.Inform, ask.Review, ask.Clarify, ask.Examination, ask.LateCheck, ask.Refer, ask.RiskManagement:
		}
	}
	return early, month
}

func (c *composer) whenToLook() Block {
	early, month := c.looks()
	if early.to == "" {
		return Paragraph{Text: c.text("sheet.when.no_day")}
	}
	return Table{
		Caption: c.text("sheet.when.caption"), Columns: []Column{{c.text("sheet.when.look"), 3.5, false}, {c.text("sheet.when.day"), 8.5, false}, {c.text("sheet.when.note"), 4.5, false}},
		Rows: [][]string{{c.text("sheet.when.first"), c.days(early), ""}, {c.text("sheet.when.second"), c.days(month), ""}},
	}
}

// days says when to look: at once where the days are past on the day on which the paper is made.
func (c *composer) days(l look) string {
	if l.to < c.Stamp.Made.Format(time.DateOnly) {
		return c.text("sheet.when.now")
	}
	if l.from == "" || l.from == l.to {
		return c.text("sheet.when.about", "day", c.long(l.to))
	}
	return c.text("sheet.when.from_to", "from", c.long(l.from), "to", c.long(l.to))
}

// forDoctors is the part of the sheet that is not for the patient: what another doctor has to know.
func (c *composer) forDoctors() Block {
	p := c.text
	rows := [][]string{
		{p("label.procedure"), c.className() + ", " + c.long(c.caseDay())},
		{p("label.kerma"), c.kerma()},
		{p("label.skin_dose"), c.skinDose()},
	}
	if place := c.Assessment.SkinDose.Peak; place.Region != "" {
		rows = append(rows, []string{p("label.place"), c.exact(place)})
	}
	if s, ok := c.together(); ok {
		rows = append(rows, []string{p("label.together", "n", s.Procedures, "from", c.day(s.From), "to", c.day(s.To)), c.sumSkin(s)})
	}
	return Box{[]Block{
		Heading{3, p("sheet.box.title")},
		Table{Columns: []Column{{"", 4, false}, {"", 8, false}}, Rows: rows, Small: true},
		Paragraph{Text: p("caution.skin") + " " + p("caution.defer"), Style: Small},
	}}
}

// className is the class of the procedure in the paper's language.
func (c *composer) className() string {
	id := c.Assessment.Class.ID
	if !c.l.Has("class." + id) {
		return c.Assessment.Class.Title
	}
	return c.text("class." + id)
}

// kerma is the reported air kerma at the reference point.
func (c *composer) kerma() string {
	d := c.Assessment.Dose
	return least(c, d.Kerma, d.LeastKerma, d.KermaMissing, func(v quantity.Gray) string { return quantity.ShowKerma(v, c.edges.Kerma...) })
}
