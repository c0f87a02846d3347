package paperpdf

import (
	"bytes"
	"fmt"
	"strings"

	"codeberg.org/go-pdf/fpdf"

	"afterbeam/internal/followup/paper"
)

// look is how a kind of text is set: size in points, height of a line and what follows it in mm, grey.
type look struct {
	style              string
	points, line, next float64
	grey               int
}

// body is the size of running text: larger for patients.
func (p *printer) body() look {
	if p.d.Kind == paper.PatientSheet {
		return look{"", 11, 5.1, 1.5, 0}
	}
	return look{"", 10, 4.8, 1.8, 0}
}

func (p *printer) looks(s paper.Style) look {
	body := p.body()
	switch s {
	case paper.Small:
		return look{"", 8.5, 4, 1.8, 50}
	case paper.Large:
		return look{"B", body.points + 1.5, body.line + 0.6, 1.6, 0}
	case paper.Plain, paper.Caution:
	}
	return body
}

func headingLook(level int) look {
	switch level {
	case 1:
		return look{"B", 15, 6.6, 3, 0}
	case 2:
		return look{"B", 12, 5.6, 1.4, 0}
	}
	return look{"B", 10, 4.8, 1.2, 0}
}

func (p *printer) blocks(all []paper.Block) {
	for i, b := range all {
		switch b := b.(type) {
		case paper.Heading:
			p.heading(b, i == 0, p.first(all[i+1:]))
		case paper.Paragraph:
			if i+1 < len(all) {
				if _, signed := all[i+1].(paper.Signature); signed {
					p.need(p.body().line + p.body().next + signatureSpace + signatureUnder)
				}
			}
			p.paragraph(b)
		case paper.List:
			p.list(b)
		case paper.Table:
			p.table(b)
		case paper.Box:
			p.box(b)
		case paper.Picture:
			p.picture(b)
		case paper.Drawing:
			p.drawing(b)
		case paper.Signature:
			p.signature(b)
		}
	}
}

// first is how much of what follows a heading stays with it, mm.
func (p *printer) first(all []paper.Block) float64 {
	const some = 14.0
	if len(all) == 0 {
		return some
	}
	switch b := all[0].(type) {
	case paper.Table:
		if p.probing || len(b.Rows) == 0 {
			return some
		}
		if !b.Whole {
			b.Rows = b.Rows[:1]
		}
		return p.height([]paper.Block{b}, p.inset)
	case paper.List:
		return p.height([]paper.Block{b}, p.inset)
	case paper.Drawing:
		return b.Height
	case paper.Paragraph:
		if len(all) > 1 {
			switch all[1].(type) {
			case paper.Table, paper.Heading:
				if !p.probing {
					return some + p.first(all[1:])
				}
			}
		}
	case paper.Heading:
		return some + p.first(all[1:])
	case paper.Picture, paper.Box, paper.Signature:
	}
	return some
}

func (p *printer) heading(h paper.Heading, first bool, follows float64) {
	l := headingLook(h.Level)
	p.font(l.style, l.points, l.grey)
	lines := p.lines(h.Text, p.width())
	const most, before = 70.0, 2.2 // more than most may be parted
	if !p.need(before+l.line*float64(len(lines))+l.next+min(follows, most)) && !first && h.Level > 1 {
		p.f.SetY(p.f.GetY() + before)
	}
	p.font(l.style, l.points, l.grey)
	p.set(lines, l, p.x(), "L")
	p.f.SetY(p.f.GetY() + l.next)
}

// set writes lines one under the other, on new pages where this one ends.
func (p *printer) set(lines []string, l look, x float64, align string) {
	for _, line := range lines {
		if p.need(l.line) {
			p.font(l.style, l.points, l.grey)
		}
		y := p.f.GetY()
		p.at(x, y)
		p.cell(p.width()-(x-p.x()), l.line, line, align)
		p.f.SetXY(p.x(), y+l.line)
	}
}

func (p *printer) paragraph(b paper.Paragraph) {
	l := p.looks(b.Style)
	x, width, from := p.x(), p.width(), p.f.GetY()
	const bar = 3.0
	if b.Style == paper.Caution {
		x, width = x+bar, width-bar
	}
	p.font(l.style, l.points, l.grey)
	lines, lead := p.led(b.Lead, b.Text, width)
	if len(lines) <= 4 {
		p.need(l.line * float64(len(lines)))
		from = p.f.GetY()
	}
	page := p.f.PageNo()
	for i, line := range lines {
		if p.need(l.line) {
			from = p.f.GetY()
		}
		y := p.f.GetY()
		p.at(x, y)
		if i == 0 && lead != "" {
			p.font("B", l.points, l.grey)
			p.cell(p.f.GetStringWidth(lead+" "), l.line, lead+" ", "L")
		}
		p.font(l.style, l.points, l.grey)
		p.cell(0, l.line, line, "L")
		p.f.SetXY(p.x(), y+l.line)
	}
	if b.Style == paper.Caution {
		if page != p.f.PageNo() {
			from = top
		}
		p.f.SetFillColor(0, 0, 0)
		p.f.Rect(p.x(), from+0.6, 0.9, p.f.GetY()-from-1.2, "F")
	}
	p.f.SetY(p.f.GetY() + l.next)
}

// led breaks a text whose first line begins with a lead in bold.
func (p *printer) led(lead, text string, width float64) (lines []string, shown string) {
	if lead == "" {
		return p.lines(text, width), ""
	}
	_, points := p.f.GetFontSize()
	lead = composed(lead)
	size, _ := p.f.GetFontSize()
	p.f.SetFont(family, "B", size)
	taken := p.f.GetStringWidth(lead + " ")
	p.f.SetFont(family, "", size)
	if taken > width-4*points {
		return append([]string{""}, p.lines(text, width)...), lead
	}
	first, rest := p.cut(composed(text), width-taken)
	return append([]string{first}, p.lines(rest, width)...), lead
}

// cut takes the words off a text that fit on one line.
func (p *printer) cut(text string, width float64) (line, rest string) {
	words := strings.Split(text, " ")
	n := 1
	for n < len(words) && p.f.GetStringWidth(strings.Join(words[:n+1], " ")) <= width {
		n++
	}
	return strings.Join(words[:n], " "), strings.Join(words[n:], " ")
}

// lines breaks a text at its spaces, and inside a word that is wider than the line.
func (p *printer) lines(text string, width float64) []string {
	var out []string
	for part := range strings.SplitSeq(composed(text), "\n") {
		for part != "" {
			line, rest := p.cut(part, width)
			if p.f.GetStringWidth(line) > width {
				line, rest = p.torn(part, width)
			}
			out, part = append(out, line), rest
		}
	}
	return out
}

// torn breaks inside the first word: no line holds it.
func (p *printer) torn(text string, width float64) (line, rest string) {
	runes := []rune(text)
	n := 1
	for n < len(runes) && p.f.GetStringWidth(string(runes[:n+1])) <= width {
		n++
	}
	return string(runes[:n]), string(runes[n:])
}

func (p *printer) list(b paper.List) {
	l := p.body()
	if b.Small {
		l = p.looks(paper.Small)
	}
	const indent, most = 4.5, 60.0
	if !p.probing {
		if whole := p.height([]paper.Block{b}, p.inset); whole <= most {
			p.need(whole - l.next)
		}
	}
	for _, item := range b.Items {
		p.font(l.style, l.points, l.grey)
		lines := p.lines(item, p.width()-indent)
		if len(lines) <= 3 {
			p.need(l.line * float64(len(lines)))
		} else {
			p.need(2 * l.line)
		}
		p.font(l.style, l.points, l.grey)
		y := p.f.GetY()
		p.at(p.x()+0.8, y)
		p.cell(indent, l.line, "•", "L")
		p.at(p.x(), y)
		p.set(lines, l, p.x()+indent, "L")
	}
	p.f.SetY(p.f.GetY() + l.next)
}

// box puts a frame round blocks. They stay on one page; none is as high as that.
func (p *printer) box(b paper.Box) {
	const inset = 3.5
	height := p.height(b.Blocks, inset) + 2*inset
	p.need(height)
	from := p.f.GetY()
	p.inset = inset
	p.f.SetY(from + inset)
	p.blocks(b.Blocks)
	p.inset = 0
	p.f.SetDrawColor(90, 90, 90)
	p.f.SetLineWidth(0.3)
	p.f.Rect(left, from, p.width(), p.f.GetY()-from+inset-1.5, "D")
	p.f.SetY(p.f.GetY() + inset + 1.5)
}

// height is how much blocks take, set on a page without an end.
func (p *printer) height(blocks []paper.Block, inset float64) float64 {
	if p.probe == nil {
		p.probe = newPrinter(p.d, p.sheet, 0)
		p.probe.probing = true
		p.probe.f.AddPage()
	}
	p.probe.f.SetY(top)
	p.probe.inset = inset
	p.probe.blocks(blocks)
	return p.probe.f.GetY() - top
}

func (p *printer) picture(b paper.Picture) {
	name := fmt.Sprintf("picture of %d bytes", len(b.PNG))
	options := fpdf.ImageOptions{ImageType: "PNG", ReadDpi: false}
	info := p.f.RegisterImageOptionsReader(name, options, bytes.NewReader(b.PNG))
	if p.f.Err() || info.Width() <= 0 {
		return
	}
	width := min(b.Width, p.width())
	height := width * info.Height() / info.Width()
	l := p.looks(paper.Small)
	p.font(l.style, l.points, l.grey)
	caption := p.lines(b.Caption, p.width())
	p.need(height + l.line*float64(len(caption)) + 2)
	y := p.f.GetY()
	p.f.ImageOptions(name, p.x(), y, width, height, false, options, 0, "")
	p.f.SetXY(p.x(), y+height+1)
	p.font(l.style, l.points, l.grey)
	p.set(caption, l, p.x(), "L")
	p.f.SetY(p.f.GetY() + l.next)
}

func (p *printer) drawing(b paper.Drawing) {
	p.need(b.Height + 2)
	x0, y0 := p.x()+(p.width()-b.Width)/2, p.f.GetY()
	grey := func(v float64) int { return int(255*v + 0.5) }
	for _, s := range b.Shapes {
		points := make([]fpdf.PointType, len(s.Points))
		for i, at := range s.Points {
			points[i] = fpdf.PointType{X: x0 + at.X, Y: y0 + at.Y}
		}
		p.f.SetFillColor(grey(s.Fill), grey(s.Fill), grey(s.Fill))
		p.f.SetDrawColor(grey(s.Line), grey(s.Line), grey(s.Line))
		p.f.SetLineWidth(0.25)
		if s.Bold {
			p.f.SetLineWidth(0.6)
		}
		p.f.Polygon(points, "DF")
	}
	p.font("", 9, 0)
	for _, label := range b.Labels {
		const width, height = 40.0, 4.0
		p.at(x0+label.At.X-width/2, y0+label.At.Y-height/2)
		p.cell(width, height, label.Text, "C")
	}
	p.f.SetXY(p.x(), y0+b.Height+1)
}

// How much a signature takes over and under its line, mm.
const signatureSpace, signatureUnder = 12.0, 10.0

func (p *printer) signature(b paper.Signature) {
	const line, gap = 75.0, 8.0
	p.need(signatureSpace + signatureUnder)
	y := p.f.GetY() + signatureSpace
	p.f.SetDrawColor(0, 0, 0)
	p.f.SetLineWidth(0.2)
	p.font("", 8.5, 50)
	for i, under := range b.Under {
		x := p.x() + float64(i)*(line+gap)
		p.f.Line(x, y, x+line, y)
		for n, text := range p.lines(under, line) {
			p.at(x, y+1+4*float64(n))
			p.cell(line, 4, text, "L")
		}
	}
	p.f.SetXY(p.x(), y+12)
}
