package paper

import (
	"slices"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// letter tells the patient's own doctor what was done, what the skin received, what may follow and what is asked. Effective
// dose is left out: it is of a reference person and would be read as this patient's risk.
func (c *composer) letter() []Block {
	p := c.text
	blocks := []Block{
		Paragraph{Text: c.l.Date(c.Stamp.Made), Style: Small},
		Heading{1, p("letter.subject", "name", Called(c.Person.Name), "born", c.born())},
		Paragraph{Text: p("letter.greeting")},
		Paragraph{Text: p("letter.intro."+c.amount(), "day", c.long(c.caseDay()), "procedure", c.className(), "centre", c.Site.Centre)},
		Heading{2, p("letter.dose.title")},
		c.doseTable(),
	}
	blocks = append(blocks, Paragraph{Text: p("caution.skin") + " " + p("caution.displayed"), Style: Small})
	if t, ok := c.earlier(); ok {
		blocks = append(blocks, Heading{2, p("letter.earlier.title")}, t, Paragraph{Text: p("caution.sum"), Style: Small})
	}
	blocks = append(blocks, c.reactions()...)
	early, month := c.looks()
	asked := []string{p("letter.ask.early", "days", c.days(early)), p("letter.ask.month", "days", c.days(month))}
	if early.to == "" {
		asked = []string{p("letter.ask.no_day")}
	}
	asked = append(asked, p("letter.ask.report", "phone", c.Site.Phone), p("letter.ask.late"))
	return append(blocks,
		Heading{2, p("letter.ask.title")}, List{Items: asked},
		Paragraph{Lead: p("letter.ask.biopsy_lead"), Text: p("letter.ask.biopsy", "phone", c.Site.Phone), Style: Caution},
		Paragraph{Text: p("letter.told")},
		Paragraph{Text: p("caution.level") + " " + p("caution.defer"), Style: Small},
		Paragraph{Text: p("letter.regards")},
		Signature{[]string{p("letter.signature", "who", c.who())}})
}

func (c *composer) born() string {
	if c.Person.BirthDate == "" {
		return c.dash(c.text("not_reported"))
	}
	return c.day(c.Person.BirthDate)
}

// doseTable is what the equipment reported and what was estimated, each with how it is known.
func (c *composer) doseTable() Table {
	p := c.text
	rows := [][]string{
		{p("label.skin_dose"), c.skinDose(), p("from." + string(c.Assessment.SkinDose.Method))},
	}
	if place := c.Assessment.SkinDose.Peak; place.Region != "" {
		rows = append(rows, []string{p("label.place"), c.exact(place), p("from.model")})
	}
	rows = append(rows,
		[]string{p("label.kerma"), c.kerma() + c.doubt(procedure.SuspectKerma), p("from.displayed")},
		[]string{p("label.kap"), c.kap() + c.doubt(procedure.SuspectKAP), p("from.displayed")},
		[]string{p("label.fluoroscopy"), c.fluoroscopy(), p("from.displayed")})
	return Table{Caption: p("letter.dose.caption"), Columns: []Column{{p("column.quantity"), 5, false}, {p("column.value"), 7, false}, {p("column.known"), 5, false}}, Rows: rows}
}

// earlier is what the patient's procedures gave together, window by window; false where there is no other.
func (c *composer) earlier() (Table, bool) {
	p := c.text
	var rows [][]string
	for _, s := range c.wider() {
		skin := c.sumSkin(s)
		if place := sumPlace(s); place.Region != "" {
			skin += "; " + c.exact(place)
		}
		rows = append(rows, []string{
			c.window(s), p("procedures", "n", s.Procedures), skin,
			total(c, s.Kerma, s.Procedures, func(v quantity.Gray) string { return quantity.ShowKerma(v, s.Levels.Edges().Kerma...) }),
		})
	}
	return Table{Caption: p("sum.caption"), Columns: []Column{{p("column.window"), 4, false}, {p("column.procedures"), 3, false}, {p("label.skin_dose"), 8, false}, {p("label.kerma_short"), 3, false}}, Rows: rows}, len(rows) > 0
}

func (c *composer) window(s assessment.Sum) string {
	if s.Days == 0 {
		return c.text("window.all", "to", c.day(s.To))
	}
	return c.text("window.days", "days", s.Days, "to", c.day(s.To))
}

// band is a column of the table of reactions: the title of a band and its key.
type band struct{ title, name string }

// bands are those of the estimate, of the high end of its range where that is another, and of what procedures of the
// shortest window left on one body where that is yet another.
func (c *composer) bands() (all []band) {
	add := func(key string, dose quantity.Gray, pairs ...any) {
		name := level.BandOf(dose).Name
		if !slices.ContainsFunc(all, func(b band) bool { return b.name == name }) {
			all = append(all, band{c.text(key, append(pairs, "band", name)...), name})
		}
	}
	e := c.Assessment.SkinDose
	if v, ok := e.Value.Get(); ok {
		add("band.of", v)
		add("band.of_high", e.High.Or(v))
	}
	if s, ok := c.together(); ok {
		if laid, ok := s.Laid.Get(); ok && laid.Value.Or(0) > e.Value.Or(0) {
			add("band.of_together", laid.Value.Or(0), "n", laid.Procedures)
		}
	}
	return all
}

// reactions are the published reactions of the bands of the dose, on their condition.
func (c *composer) reactions() []Block {
	bands := c.bands()
	if len(bands) == 0 {
		return []Block{Heading{2, c.text("band.title")}, Paragraph{Text: c.text("band.unknown")}}
	}
	columns := []Column{{c.text("band.time"), 4, false}}
	for _, b := range bands {
		columns = append(columns, Column{b.title, 7, false})
	}
	var rows [][]string
	for _, when := range []string{"prompt", "early", "midterm", "long"} {
		row := []string{c.text("band." + when)}
		for _, b := range bands {
			row = append(row, c.text("band."+b.name+"."+when))
		}
		rows = append(rows, row)
	}
	return []Block{
		Heading{2, c.text("band.title")},
		Table{Caption: c.text("band.caption"), Columns: columns, Rows: rows},
		Paragraph{Text: c.text("band.condition"), Style: Small},
	}
}
