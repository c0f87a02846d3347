package web

import (
	"fmt"
	"math"
	"slices"

	"afterbeam/internal/export/skinmap"
)

// caseFlat is the picture of the flat skin, drawn twice: whole and around the peak.
type caseFlat struct {
	skinmap.Flat
	Whole, Close flatView
}

// flatView is one drawing of the flat skin.
type flatView struct {
	skinmap.Window
	// Scale is how many mm of skin are one pixel where the drawing has its full size.
	Scale float64
	Here  bool
}

// The sizes at which the drawings are laid out, in CSS pixels.
const (
	wholeHigh = 660
	closeWide = 440
)

func newCaseFlat(f skinmap.Flat) caseFlat {
	const rim = 50 // mm, for the words around
	whole := f.Whole
	whole.Left, whole.Top, whole.Width, whole.Height = whole.Left-rim, whole.Top-2*rim, whole.Width+2*rim, whole.Height+4*rim
	c := caseFlat{Flat: f, Whole: flatView{Window: whole, Scale: whole.Height / wholeHigh, Here: true}}
	if f.Close != nil {
		c.Close = flatView{Window: *f.Close, Scale: f.Close.Width / closeWide, Here: true}
	}
	return c
}

// Box is the viewBox of SVG.
func (w flatView) Box() string {
	return fmt.Sprintf("%.0f %.0f %.0f %.0f", w.Left, w.Top, w.Width, w.Height)
}

// Px gives so many pixels in mm of skin.
func (w flatView) Px(n float64) float64 { return math.Round(10*n*w.Scale) / 10 }

// Add and Less are for places beside others.
func (flatView) Add(a, b float64) float64  { return a + b }
func (flatView) Less(a, b float64) float64 { return a - b }

// Right and Bottom are the far sides.
func (w flatView) Right() float64  { return w.Left + w.Width }
func (w flatView) Bottom() float64 { return w.Top + w.Height }

// Legend lists the bands, the highest first.
func (c caseFlat) Legend() []skinmap.FlatBand {
	bands := slices.Clone(c.Bands)
	slices.Reverse(bands)
	return bands
}

// Steps lists the lowest doses of the bands with their colours for the script that draws the body.
func (c caseFlat) Steps() string {
	text := c.Skin
	for _, b := range c.Bands {
		text += fmt.Sprintf(" %g:%s", b.FromGy, b.Colour)
	}
	return text
}
