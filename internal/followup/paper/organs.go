package paper

import (
	"cmp"
	"slices"

	"afterbeam/internal/physics/organ"
	"afterbeam/internal/quantity"
)

// Organs are the doses by the case's own beams, or the reason why there are none.
type Organs struct {
	Doses  *organ.Doses
	Reason string
}

// organs are the effective dose and the organ doses by the case's own beams, beside the effective dose by coefficients.
func (c *composer) organs() []Block {
	p, d := c.text, c.Organs.Doses
	blocks := []Block{Heading{2, p("report.organs.title")}}
	if d == nil {
		if c.Organs.Reason == "" {
			return append(blocks, Paragraph{Text: p("report.organs.pending")})
		}
		return append(blocks, Paragraph{Text: c.Organs.Reason, Lang: method})
	}
	msv := func(v quantity.Sievert) string { return c.measure(quantity.ShowEffective(v) + " mSv") }
	e, by := d.Effective, c.dash(p("no_estimate"))
	if v, ok := c.Assessment.Effective.Value.Get(); ok {
		by = msv(v)
	}
	blocks = append(
		blocks,
		Paragraph{Text: p("report.organs.effective", "value", msv(e.Value), "low", msv(e.Low), "high", msv(e.High), "by", by)},
		Paragraph{Text: d.Caution, Style: Caution, Lang: method},
		c.organTable(d.Organs),
		Paragraph{Text: organ.UterusCaution + " " + organ.LensCaution, Style: Small, Lang: method},
	)
	var parts [][]string
	for _, part := range d.Parts {
		parts = append(parts, []string{part.What, c.measure(quantity.Significant(float64(part.Percent), 2) + " %")})
	}
	blocks = append(blocks, Table{
		Caption: p("report.parts.caption"), Small: true, Lang: method, Columns: []Column{{p("column.part"), 8, false}, {p("column.k1"), 2, true}}, Rows: parts,
	})
	basis := []string{d.Version + ": " + d.Method + ", " + d.Body}
	return append(blocks, List{Items: append(basis, d.Assumptions...), Small: true, Lang: method})
}

// organTable lists the organs, the highest dose first; those far from all beams have an upper bound alone and come last.
func (c *composer) organTable(all []organ.Dose) Table {
	p := c.text
	mgy := func(v quantity.Gray) string { return c.l.Figure(quantity.Figures(float64(v/quantity.MilliGray), 2)) }
	all = slices.Clone(all)
	slices.SortStableFunc(all, func(a, b organ.Dose) int { return cmp.Compare(b.Value.Or(0), a.Value.Or(0)) })
	var rows [][]string
	for _, o := range all {
		row := []string{o.Organ, c.dash(p("no_estimate")), ""}
		if v, ok := o.Value.Get(); ok {
			row[1], row[2] = mgy(v), mgy(o.Low.Or(v))+"–"+mgy(o.High.Or(v))
		} else if v, ok := o.Below.Get(); ok {
			row[1] = "< " + mgy(v)
		}
		rows = append(rows, row)
	}
	return Table{
		Caption: p("report.organs.caption"), Small: true, Lang: method,
		Columns: []Column{{p("column.organ"), 6, false}, {p("column.dose_mgy"), 3, true}, {p("column.range"), 4, true}}, Rows: rows,
	}
}
