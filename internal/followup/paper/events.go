package paper

import (
	"fmt"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// events are all irradiation events as they were reported, with what each gave at the peak.
func (c *composer) events() []Block {
	p := c.text
	shares := map[int]float64{}
	for _, one := range c.Assessment.SkinDose.Contributions {
		shares[one.Event] = one.Share
	}
	blocks := []Block{Heading{2, p("report.events.title")}}
	if len(c.Assessment.Procedure.Events) == 0 {
		return append(blocks, Paragraph{Text: p("report.events.none")})
	}
	var rows [][]string
	for i := range c.Assessment.Procedure.Events {
		share := "–"
		if v, ok := shares[i]; ok {
			share = c.l.Figure(quantity.Fixed(100*v, 1))
		}
		rows = append(rows, append(c.event(i, &c.Assessment.Procedure.Events[i]), share))
	}
	return append(blocks, Paragraph{Text: p("report.events.note"), Style: Small}, Table{
		Caption: p("report.events.caption"), Small: true,
		Columns: []Column{
			{p("column.event"), 9, true},
			{p("column.time"), 14, false},
			{p("column.type"), 13, false},
			{p("column.plane"), 13, false},
			{p("column.kv"), 10, true},
			{p("column.filter_mm"), 19, false},
			{p("column.angles"), 24, false},
			{p("column.field"), 12, true},
			{p("column.kap_gycm2"), 15, true},
			{p("column.kerma_mgy"), 14, true},
			{p("column.peak_share"), 13, true},
		},
		Rows: rows,
	})
}

func (c *composer) event(i int, e *procedure.Event) []string {
	const absent = "–"
	start := absent
	if !e.Start.IsZero() {
		start = c.l.Clock(e.Start.Time)
	}
	kv := absent
	if n := len(e.Technique.Voltages); n > 0 {
		sum := 0.0
		for _, v := range e.Technique.Voltages {
			sum += float64(v)
		}
		kv = quantity.Fixed(sum/float64(n), 0)
	}
	return []string{
		fmt.Sprint(i + 1), start, c.text("event_type." + strings.ReplaceAll(e.Type.String(), " ", "_")), c.plane(e.Plane), kv, c.filters(e.Filters), c.angles(e.Mechanics),
		opt(e.Field.Area, func(v quantity.SquareMetre) string { return c.l.Figure(quantity.Figures(v.Cm2(), 3)) }, absent),
		opt(e.KAP, func(v quantity.GraySquareMetre) string { return c.l.Figure(quantity.Figures(v.Gycm2(), 3)) }, absent),
		opt(e.RefKerma, func(v quantity.Gray) string {
			return c.l.Figure(quantity.Figures(float64(v/quantity.MilliGray), 3))
		}, absent),
	}
}

// plane names a plane in a word.
func (c *composer) plane(p procedure.Plane) string {
	return c.text("plane." + strings.ReplaceAll(p.String(), " ", "_"))
}

// filters are the flat filters, such as 0.3 Cu.
func (c *composer) filters(all []procedure.Filter) string {
	var words []string
	for _, f := range all {
		if f.Type != procedure.FilterFlat {
			continue
		}
		thick := f.Min
		if !thick.Present() {
			thick = f.Max
		}
		words = append(words, opt(thick, func(v quantity.Millimetre) string { return c.l.Figure(quantity.Figures(float64(v), 2)) }, "?")+" "+symbol(f.Metal))
	}
	if len(words) == 0 {
		return "–"
	}
	return strings.Join(words, ", ")
}

func symbol(m procedure.Metal) string {
	switch m {
	case procedure.Aluminium:
		return "Al"
	case procedure.Copper:
		return "Cu"
	case procedure.Molybdenum:
		return "Mo"
	case procedure.Rhodium:
		return "Rh"
	case procedure.Niobium:
		return "Nb"
	case procedure.Europium:
		return "Eu"
	case procedure.Lead:
		return "Pb"
	case procedure.Tantalum:
		return "Ta"
	case procedure.Silver:
		return "Ag"
	case procedure.Tin:
		return "Sn"
	case procedure.Tungsten:
		return "W"
	case procedure.MetalUnknown:
	}
	return "?"
}

// angles are as reported: LAO and cranial are positive.
func (c *composer) angles(m procedure.Mechanics) string {
	one := func(from, to quantity.Opt[quantity.Degree], plus, minus string) string {
		v, ok := from.Get()
		if !ok {
			return "–"
		}
		word := func(v quantity.Degree) string {
			switch text := quantity.Fixed(float64(v), 0); {
			case text == "0":
				return "0"
			case v < 0:
				return minus + hard + strings.TrimPrefix(text, "-")
			default:
				return plus + hard + text
			}
		}
		if end, ok := to.Get(); ok && quantity.Fixed(float64(end), 0) != quantity.Fixed(float64(v), 0) {
			return word(v) + "→" + word(end)
		}
		return word(v)
	}
	return one(m.Primary, m.PrimaryEnd, "LAO", "RAO") + ", " + one(m.Secondary, m.SecondaryEnd, "CRA", "CAU")
}
