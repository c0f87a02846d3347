package skinmap

import (
	"fmt"
	"io"
	"math"

	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgsvg"

	"afterbeam/internal/quantity"
)

// Directions is a grid of the directions that a beam may come from, with the highest dose of the skin in the beam after it.
// It bears no patient data: the texts are the caller's and must not either.
type Directions struct {
	// Dose is by primary (LAO positive, rising) and within it by secondary angle (cranial positive), None where no skin is hit.
	Dose               [][]quantity.Opt[quantity.Gray]
	Primary, Secondary []quantity.Degree
	// Title stands above the picture, Caption under it; Earlier says what the skin had before.
	Title, Caption, Earlier string
}

// DirectionsHeight is the height of the picture in mm; it is Width wide.
const DirectionsHeight = 98.0

// PNG draws the grid as a PNG of 200 dots per inch. It returns ErrNoMap without a dose, else errors of w.
func (d Directions) PNG(w io.Writer) error {
	if d.empty() {
		return ErrNoMap
	}
	c := vgimg.NewWith(vgimg.UseWH(Width*vg.Millimeter, DirectionsHeight*vg.Millimeter), vgimg.UseDPI(dotsPerMap), vgimg.UseBackgroundColor(paper))
	d.draw(newPen(c))
	if _, err := (vgimg.PngCanvas{Canvas: c}).WriteTo(w); err != nil {
		return fmt.Errorf("write grid of directions: %w", err)
	}
	return nil
}

// SVG draws the grid as an SVG document, as SVG of a Figure does.
func (d Directions) SVG(w io.Writer) error {
	if d.empty() {
		return ErrNoMap
	}
	c := &svgCanvas{Canvas: vgsvg.New(Width*vg.Millimeter, DirectionsHeight*vg.Millimeter)}
	p := newPen(c)
	p.fill(paper, []spotOn{{0, 0}, {Width, 0}, {Width, DirectionsHeight}, {0, DirectionsHeight}})
	d.draw(p)
	if _, err := w.Write(c.document(d.Title, d.Earlier+". "+planned+" "+deference)); err != nil {
		return fmt.Errorf("write grid of directions: %w", err)
	}
	return nil
}

func (d Directions) empty() bool {
	for _, column := range d.Dose {
		for _, dose := range column {
			if dose.Present() {
				return false
			}
		}
	}
	return true
}

// planned is the caution of a look ahead.
const planned = "Estimated from earlier dose reports, not a measurement: each number has a range."

// The frame of the grid on the paper, mm.
const (
	gridLeft  = 31.0
	gridRight = Width - margin
	gridLow   = 24.0
	gridHigh  = DirectionsHeight - 32
)

func (d Directions) draw(p *pen) {
	const room = Width - 2*margin
	top := DirectionsHeight - margin
	p.fit(spotOn{margin, top}, style{size: 13, bold: true, y: text.YTop}, room, d.Title)
	p.fit(spotOn{margin, top - 6.5}, style{size: 9.5, y: text.YTop}, room, d.Caption)
	p.fit(spotOn{margin, top - 11.5}, style{size: 9.5, y: text.YTop}, room, d.Earlier)
	p.write(spotOn{margin, margin + 4.2}, style{size: 9, bold: true}, planned)
	p.write(spotOn{margin, margin}, style{size: 8, colour: quiet}, deference)
	low, high := d.span()
	width, height := (gridRight-gridLeft)/float64(len(d.Primary)), (gridHigh-gridLow)/float64(len(d.Secondary))
	for i, column := range d.Dose {
		for j, dose := range column {
			at := spotOn{gridLeft + (float64(i)+0.5)*width, gridHigh - (float64(j)+0.5)*height}
			d.field(p, around(at, width, height), dose, low, high)
		}
	}
	d.axes(p, width, height)
}

// field draws one direction: its shade from the lowest to the highest dose of the grid, and the number.
func (d Directions) field(p *pen, r rectangle, dose quantity.Opt[quantity.Gray], low, high float64) {
	corners := []spotOn{{r.left, r.low}, {r.right, r.low}, {r.right, r.high}, {r.left, r.high}}
	words, st := "-", style{size: 9.5, x: text.XCenter, y: text.YCenter}
	p.fill(skin, corners)
	if v, ok := dose.Get(); ok {
		step := 0
		if high > low {
			step = int(math.Round(shades * (float64(v) - low) / (high - low)))
		}
		p.fill(shade(step, shades+1), corners)
		words = InGray(v)
		if step > shades*3/5 {
			st.colour = paper
		}
	}
	p.line(paper, 0.4, corners, true)
	p.write(spotOn{(r.left + r.right) / 2, (r.low + r.high) / 2}, st, words)
}

// shades is how many even steps of lightness the scale has.
const shades = 20

// span gives the lowest and the highest dose.
func (d Directions) span() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, column := range d.Dose {
		for _, dose := range column {
			if v, ok := dose.Get(); ok {
				low, high = min(low, float64(v)), max(high, float64(v))
			}
		}
	}
	return low, high
}

// axes writes the angles beside the grid.
func (d Directions) axes(p *pen, width, height float64) {
	for i, a := range d.Primary {
		p.write(spotOn{gridLeft + (float64(i)+0.5)*width, gridHigh + 1.5}, style{size: 8.5, x: text.XCenter}, degrees(a, "RAO", "LAO"))
	}
	for j, a := range d.Secondary {
		p.write(spotOn{gridLeft - 2, gridHigh - (float64(j)+0.5)*height}, style{size: 8.5, x: text.XRight, y: text.YCenter}, degrees(a, "caudal", "cranial"))
	}
	p.write(spotOn{(gridLeft + gridRight) / 2, gridHigh + 6}, style{size: 8.5, colour: quiet, x: text.XCenter}, "primary angle, degrees")
	p.write(spotOn{margin + 2, (gridLow + gridHigh) / 2}, style{size: 8.5, colour: quiet, x: text.XCenter, y: text.YCenter, turned: fullTurn / 4}, "secondary angle, degrees")
	p.fit(spotOn{gridLeft, gridLow - 3}, style{size: 8.5, y: text.YTop, colour: quiet}, gridRight-gridLeft,
		"Gy: highest dose of the skin in the beam afterwards. Light to dark: lowest to highest of this grid. A dash: the beam hits no skin.")
}

// degrees names an angle by its side.
func degrees(a quantity.Degree, below, above string) string {
	words := quantity.Fixed(math.Abs(float64(a)), 0)
	switch {
	case a < 0:
		return below + " " + words
	case a > 0:
		return above + " " + words
	}
	return words
}
