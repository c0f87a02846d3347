package paper

import (
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/quantity"
)

// followUp is what is asked of people about the case, and what physicists estimated beside the computed dose.
func (c *composer) followUp() []Block {
	p := c.text
	var blocks []Block
	if len(c.Own) > 0 {
		var rows [][]string
		for _, o := range c.Own {
			dose := c.spread(quantity.Some(o.Value), quantity.Some(o.Low), quantity.Some(o.High), false, "", c.edges)
			rows = append(rows, []string{dose, o.Place, o.Method, o.Reason})
		}
		blocks = append(blocks, Heading{2, p("report.own.title")}, Table{
			Caption: p("report.own.caption"), Small: true,
			Columns: []Column{{p("column.dose"), 5, false}, {p("label.place"), 4, false}, {p("column.method"), 5, false}, {p("column.why"), 5, false}}, Rows: rows,
		})
	}
	blocks = append(blocks, Heading{2, p("report.asks.title")})
	if len(c.Asks) == 0 {
		return append(blocks, Paragraph{Text: p("report.asks.none")})
	}
	var rows [][]string
	for _, a := range c.Asks {
		rows = append(rows, []string{ask.Words(a.Text), c.text("ask_owner." + string(a.Owner)), c.day(a.From), c.day(a.Due), c.text("ask_state." + string(a.State))})
	}
	return append(blocks, Table{
		Caption: p("report.asks.caption"), Small: true, Lang: method,
		Columns: []Column{{p("column.asked"), 9, false}, {p("column.owner"), 3, false}, {p("column.from"), 3, false}, {p("column.due"), 3, false}, {p("column.state"), 3, false}}, Rows: rows,
	})
}
