package paperpdf

import "afterbeam/internal/followup/paper"

// grid is a table being set: its columns in mm and its rows broken into lines.
type grid struct {
	look   look
	pad    float64
	widths []float64
	right  []bool
}

// table sets a table. Its titles stand again at the head of each page; a row is broken by the end of a page only where it is
// higher than a page.
func (p *printer) table(b paper.Table) {
	g := grid{look: look{"", 9, 4.3, 2, 0}, pad: 1}
	if p.d.Kind == paper.PatientSheet && !b.Small {
		g = grid{look: p.body(), pad: 1.8}
	}
	if b.Small {
		g.look, g.pad = look{"", 7.8, 3.6, 2.2, 0}, 0.9
	}
	total := 0.0
	for _, c := range b.Columns {
		total += c.Width
	}
	titled := false
	titles := make([]string, len(b.Columns))
	for i, c := range b.Columns {
		g.widths, g.right = append(g.widths, p.width()*c.Width/total), append(g.right, c.Right)
		titles[i], titled = c.Title, titled || c.Title != ""
	}
	head := func() {
		if titled {
			p.row(g, titles, true)
		}
	}
	if b.Whole {
		p.need(p.tableHeight(g, titles, b.Rows))
	}
	if len(b.Rows) > 0 {
		p.need(p.rowHeight(g, titles, true) + p.rowHeight(g, b.Rows[0], false))
	}
	p.line(p.f.GetY())
	head()
	for _, row := range b.Rows {
		if p.need(p.rowHeight(g, row, false)) {
			p.line(p.f.GetY())
			head()
		}
		p.row(g, row, false)
	}
	p.f.SetY(p.f.GetY() + g.look.next + 0.6)
}

// tableHeight is how much a table takes on one page, 0 for one that no page holds.
func (p *printer) tableHeight(g grid, titles []string, rows [][]string) float64 {
	height := p.rowHeight(g, titles, true)
	for _, row := range rows {
		height += p.rowHeight(g, row, false)
	}
	if height > p.sheet.height-top-bottom {
		return 0
	}
	return height
}

func (p *printer) line(y float64) {
	p.f.SetDrawColor(150, 150, 150)
	p.f.SetLineWidth(0.15)
	p.f.Line(p.x(), y, p.x()+p.width(), y)
}

// styled gives the style of a cell: titles and, in tables for reading along a row, the first cell are bold.
func styled(column, columns int, title bool) string {
	const wide = 5 // from so many columns on a table is read down
	if title || (column == 0 && columns < wide) {
		return "B"
	}
	return ""
}

func (p *printer) rowHeight(g grid, cells []string, title bool) float64 {
	most := 1
	for i, cell := range cells {
		p.font(styled(i, len(cells), title), g.look.points, 0)
		most = max(most, len(p.lines(cell, g.widths[i]-2*g.pad)))
	}
	return float64(most)*g.look.line + 2*g.pad
}

// row sets one row; the cells come in the order of reading, each with all its lines.
func (p *printer) row(g grid, cells []string, title bool) {
	height := p.rowHeight(g, cells, title)
	y, x := p.f.GetY(), p.x()
	for i, cell := range cells {
		p.font(styled(i, len(cells), title), g.look.points, g.look.grey)
		align := "L"
		if g.right[i] {
			align = "R"
		}
		for n, text := range p.lines(cell, g.widths[i]-2*g.pad) {
			p.at(x+g.pad, y+g.pad+g.look.line*float64(n))
			p.cell(g.widths[i]-2*g.pad, g.look.line, text, align)
		}
		x += g.widths[i]
	}
	p.f.SetXY(p.x(), y+height)
	p.line(y + height)
}
