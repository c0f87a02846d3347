package paperpdf

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"

	"afterbeam/internal/followup/paper"
)

// Size is the size of the sheet.
type Size string

// The sizes.
const (
	A4     Size = "a4"
	Letter Size = "letter"
)

// Sizes lists the sizes.
func Sizes() []Size { return []Size{A4, Letter} }

// ErrSize marks a size that there is none of.
var ErrSize = errors.New("no such size of paper")

// sheet is what a size means, in mm. The window of an envelope and the folds of A4 are those of DIN 5008:2020, form B (memory);
// Letter folds in thirds for a window at the same place (common practice, no source).
type sheet struct {
	fpdf          fpdf.SizeType
	width, height float64
	folds         []float64
}

func sheetOf(s Size) (sheet, error) {
	switch s {
	case A4:
		return sheet{fpdf.SizeType{Wd: 210, Ht: 297}, 210, 297, []float64{105, 210}}, nil
	case Letter:
		return sheet{fpdf.SizeType{Wd: 215.9, Ht: 279.4}, 215.9, 279.4, []float64{93.1, 186.3}}, nil
	}
	return sheet{}, fmt.Errorf("%w: %q, wanted is %s or %s", ErrSize, s, A4, Letter)
}

// The edges of what is written, mm.
const (
	left, right   = 25.0, 20.0
	topFirst, top = 15.0, 24.0
	bottom        = 22.0
)

// Write writes a document. It returns ErrSize, ErrUndrawable for any text of it, and errors of w.
func Write(w io.Writer, d paper.Document, size Size) error {
	s, err := sheetOf(size)
	if err != nil {
		return err
	}
	for _, text := range d.Texts() {
		if err := Drawable(text); err != nil {
			return err
		}
	}
	// Set twice: how many pages there are is known at the end of the first time.
	p := newPrinter(d, s, 0)
	if err := p.print(); err != nil {
		return err
	}
	p = newPrinter(d, s, p.f.PageCount())
	if err := p.print(); err != nil {
		return err
	}
	var out bytes.Buffer
	if err := p.f.Output(&out); err != nil {
		return fmt.Errorf("write paper: %w", err)
	}
	_, err = w.Write(out.Bytes())
	return err
}

// printer sets one document. The library keeps the first error; later calls do nothing.
type printer struct {
	f     *fpdf.Fpdf
	d     paper.Document
	sheet sheet
	pages int // 0 for not known yet
	// inset is how far the frame that is being filled lies inside of the edges.
	inset float64
	// probing tells that blocks are set to see how high they are, on a page without an end; probe is the one who does it.
	probing bool
	probe   *printer
}

func newPrinter(d paper.Document, s sheet, pages int) *printer {
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: s.fpdf})
	f.SetCatalogSort(true) // else the order of fonts and pictures is that of a map
	f.SetCompression(true)
	f.SetCreationDate(d.Made.UTC())
	f.SetModificationDate(d.Made.UTC())
	f.SetTitle(composed(d.Title), true)
	f.SetLang(d.Language)
	f.SetCreator("afterbeam "+d.Program, true)
	f.SetProducer("afterbeam "+d.Program, true)
	f.SetAuthor(composed(d.Centre), true)
	f.AddUTF8FontFromBytes(family, "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes(family, "B", liberationsansbold.TTF)
	f.SetMargins(left, top, right)
	f.SetAutoPageBreak(false, bottom)
	f.SetCellMargin(0)
	return &printer{f: f, d: d, sheet: s, pages: pages}
}

func (p *printer) print() error {
	p.f.SetHeaderFunc(p.header)
	p.f.SetFooterFunc(p.footer)
	p.f.AddPage()
	p.blocks(p.d.Blocks)
	if err := p.f.Error(); err != nil {
		return fmt.Errorf("set paper: %w", err)
	}
	// The last page gets its foot.
	p.f.Close()
	return p.f.Error()
}

func (p *printer) width() float64 { return p.sheet.width - left - right - 2*p.inset }
func (p *printer) x() float64     { return left + p.inset }

// room is how much of the page is left.
func (p *printer) room() float64 { return p.sheet.height - bottom - p.f.GetY() }

// need begins a new page when less than so much is left of this one.
func (p *printer) need(mm float64) bool {
	if p.probing || mm <= p.room() || p.f.GetY() <= top+0.1 {
		return false
	}
	p.f.AddPage()
	return true
}

// header is the letterhead of the first page and the patient's banner on the others.
func (p *printer) header() {
	if p.f.PageNo() > 1 {
		p.font("", 8.5, 60)
		lines := p.lines(p.d.Banner, p.sheet.width-left-right)
		for i, line := range lines {
			p.at(left, 18-4*float64(len(lines)-i))
			p.cell(p.sheet.width-left-right, 4, line, "L")
		}
		p.rule(19)
		p.f.SetY(top)
		return
	}
	p.font("B", 11, 0)
	p.at(left, topFirst)
	p.cell(100, 5, p.d.Centre, "L")
	p.font("", 9, 60)
	p.at(left, topFirst+5.5)
	p.cell(100, 4, p.d.Department, "L")
	for i, line := range p.d.Contact {
		p.at(p.sheet.width-right-70, topFirst+0.5+4*float64(i))
		p.cell(70, 4, line, "R")
	}
	y := max(topFirst+11, topFirst+2+4*float64(len(p.d.Contact)))
	p.rule(y)
	p.f.SetY(y + 5)
	if p.d.Return != "" {
		p.address()
	}
}

// address fills the window of an envelope and marks where to fold.
func (p *printer) address() {
	const x, y, width = 25.0, 50.0, 80.0
	p.font("", 6.5, 60)
	lines := p.lines(p.d.Return, width)
	for i, line := range lines[:min(len(lines), 2)] {
		p.at(x, y-2.8*float64(min(len(lines), 2)-1-i))
		p.cell(width, 2.8, line, "L")
	}
	const points = 10.5
	for i, line := range p.d.Address {
		p.font("", points, 0)
		// An address is never cut: a line that is too wide is set smaller.
		if wide := p.f.GetStringWidth(composed(line)); wide > width {
			p.font("", points*width/wide, 0)
		}
		p.at(x, y+6+5*float64(i))
		p.cell(width, 5, line, "L")
	}
	p.f.SetDrawColor(120, 120, 120)
	p.f.SetLineWidth(0.2)
	for _, fold := range p.sheet.folds {
		p.f.Line(4, fold, 9, fold)
	}
	p.f.SetY(98)
}

func (p *printer) footer() {
	y := p.sheet.height - 18
	p.rule(y)
	p.font("", 7, 60)
	width := p.sheet.width - left - right
	const number = 28.0
	lines := p.lines(p.d.Foot, width-number)
	for i, line := range lines {
		p.at(left, y+1.5+3.2*float64(i))
		p.cell(width-number, 3.2, line, "L")
	}
	if p.pages > 0 {
		p.at(p.sheet.width-right-number, y+1.5)
		p.cell(number, 3.2, pageOf(p.d.PageOf, p.f.PageNo(), p.pages), "R")
	}
}

func (p *printer) rule(y float64) {
	p.f.SetDrawColor(150, 150, 150)
	p.f.SetLineWidth(0.2)
	p.f.Line(left, y, p.sheet.width-right, y)
}

func (p *printer) at(x, y float64) { p.f.SetXY(x, y) }

func (p *printer) font(style string, points float64, grey int) {
	p.f.SetFont(family, style, points)
	p.f.SetTextColor(grey, grey, grey)
}

// cell writes one line at the place that was set.
func (p *printer) cell(width, height float64, text, align string) {
	p.f.CellFormat(width, height, composed(text), "", 0, align+"M", false, 0, "")
}
