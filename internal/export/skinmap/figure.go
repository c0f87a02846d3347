package skinmap

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// ErrNoMap marks a figure without a map to draw.
var ErrNoMap = errors.New("no skin map to draw")

// Figure is what a picture shows. It bears no patient data: Title and Caption are the caller's and must not either.
type Figure struct {
	Map *skindose.Map
	// Title stands above the picture, such as the class of procedure and the date.
	Title string
	// Caption is a line under the title, such as the method.
	Caption string
	// Low and High are the range (k=2) of the peak, for the line of caution.
	Low, High quantity.Opt[quantity.Gray]
	// Assumed are the assumptions of the estimate, listed under the picture: the page grows by them.
	Assumed []string
}

// Width and Height of the picture in mm, without what is listed under it.
const (
	Width  = 200.0
	Height = 140.0
)

const (
	fullTurn   = 2 * math.Pi
	dotsPerMap = 200 // per inch, of a PNG
)

// PNG draws the figure as a PNG of 200 dots per inch. It returns ErrNoMap without a map, else errors of w.
func PNG(w io.Writer, f Figure) error {
	if f.Map == nil || f.Map.Body == nil {
		return ErrNoMap
	}
	lines := f.assumed()
	c := vgimg.NewWith(vgimg.UseWH(Width*vg.Millimeter, vg.Length(Height+below(len(lines)))*vg.Millimeter), vgimg.UseDPI(dotsPerMap), vgimg.UseBackgroundColor(paper))
	f.drawPage(newPen(c), lines)
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(w); err != nil {
		return fmt.Errorf("write skin map: %w", err)
	}
	return nil
}

// SVG draws the figure as an SVG document. Words stay words: where Liberation Sans is missing, another sans-serif font
// takes its place at the same width. It returns ErrNoMap without a map, else errors of w.
func SVG(w io.Writer, f Figure) error {
	if f.Map == nil || f.Map.Body == nil {
		return ErrNoMap
	}
	lines := f.assumed()
	high := Height + below(len(lines))
	c := &svgCanvas{Canvas: vgsvg.New(Width*vg.Millimeter, vg.Length(high)*vg.Millimeter)}
	p := newPen(c)
	p.fill(paper, []spotOn{{0, 0}, {Width, 0}, {Width, high}, {0, high}})
	f.drawPage(p, lines)
	if _, err := w.Write(c.document(f.Title, f.peakWords()+". "+f.caution()+" "+strings.Join(append([]string{deference}, lines...), " "))); err != nil {
		return fmt.Errorf("write skin map: %w", err)
	}
	return nil
}

func (f Figure) peakWords() string {
	if f.Map.Peak < 0 {
		return "No skin of this body lies in the beams"
	}
	return fmt.Sprintf("Estimated peak skin dose %s: %s", f.unit().with(f.Map.PeakDose()), skindose.PlaceOf(f.Map.Body, f.Map.Peak))
}

func (f Figure) caution() string {
	low, okLow := f.Low.Get()
	high, okHigh := f.High.Get()
	words := "Estimate, not a measurement"
	if okLow && okHigh && f.Map.Peak >= 0 {
		words += fmt.Sprintf("; range of the peak %s to %s (k=2)", f.unit().number(low), f.unit().with(high))
	}
	return words + "."
}

const deference = "It informs and does not decide: the medical physicist, licensed practice and local rules come first."

// The frames on the paper, mm.
const (
	margin     = 6.0
	panelLow   = 21.0
	panelHigh  = Height - 24
	wholeRight = 78.0
	closeLeft  = 93.0
	closeRight = 167.0
)

func (f Figure) draw(p *pen) {
	const room = Width - 2*margin
	p.fit(spotOn{margin, Height - margin}, style{size: 13, bold: true, y: text.YTop}, room, f.Title)
	p.fit(spotOn{margin, Height - margin - 6.5}, style{size: 9.5, y: text.YTop}, room, f.peakWords())
	p.fit(spotOn{margin, Height - margin - 11}, style{size: 8, colour: quiet, y: text.YTop}, room, f.Caption)
	p.write(spotOn{margin, margin + 4.2}, style{size: 9, bold: true}, f.caution())
	p.write(spotOn{margin, margin}, style{size: 8, colour: quiet}, deference)
	s := scene{pen: p, figure: f, sheets: sheetsOf(f.Map), levels: Levels(f.Map.PeakDose())}
	for i := range s.sheets {
		s.grids = append(s.grids, s.sheets[i].grid())
	}
	zoom := s.surroundings()
	s.whole(zoom)
	s.closeUp(zoom)
	s.legend()
}
