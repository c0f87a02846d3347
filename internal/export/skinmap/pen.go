package skinmap

import (
	"image/color"
	"strings"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// The greys of lines and words.
var (
	ink   = color.NRGBA{0x1c, 0x1c, 0x1c, 0xff}
	quiet = color.NRGBA{0x5a, 0x5a, 0x5a, 0xff}
	faint = color.NRGBA{0xb4, 0xb4, 0xb4, 0xff}
	skin  = color.NRGBA{0xfb, 0xfb, 0xf9, 0xff}
	paper = color.NRGBA{0xff, 0xff, 0xff, 0xff}
)

// pen draws on a canvas in mm from its lower left corner.
type pen struct {
	canvas draw.Canvas
	words  text.Plain
}

func newPen(c vg.CanvasSizer) *pen {
	return &pen{canvas: draw.New(c), words: text.Plain{Fonts: font.NewCache(liberation.Collection())}}
}

// spotOn is a place on the paper in mm.
type spotOn struct{ x, y float64 }

func (s spotOn) point() vg.Point {
	return vg.Point{X: vg.Length(s.x) * vg.Millimeter, Y: vg.Length(s.y) * vg.Millimeter}
}

func path(points []spotOn, closed bool) vg.Path {
	var p vg.Path
	for i, at := range points {
		if i == 0 {
			p.Move(at.point())
		} else {
			p.Line(at.point())
		}
	}
	if closed {
		p.Close()
	}
	return p
}

// fill fills what several closed lines enclose together; a line turned the other way cuts a hole.
func (p *pen) fill(c color.Color, outlines ...[]spotOn) {
	var all vg.Path
	for _, o := range outlines {
		all = append(all, path(o, true)...)
	}
	if len(all) == 0 {
		return
	}
	p.canvas.SetColor(c)
	p.canvas.Fill(all)
}

// line strokes with a width in mm; dash lengths in mm may follow.
func (p *pen) line(c color.Color, width float64, points []spotOn, closed bool, dash ...float64) {
	p.canvas.SetColor(c)
	p.canvas.SetLineWidth(vg.Length(width) * vg.Millimeter)
	lengths := make([]vg.Length, len(dash))
	for i, d := range dash {
		lengths[i] = vg.Length(d) * vg.Millimeter
	}
	p.canvas.SetLineDash(lengths, 0)
	p.canvas.Stroke(path(points, closed))
}

func (p *pen) circle(c color.Color, width float64, centre spotOn, radius float64) {
	var ring vg.Path
	at := centre.point()
	r := vg.Length(radius) * vg.Millimeter
	ring.Move(vg.Point{X: at.X + r, Y: at.Y})
	ring.Arc(at, r, 0, fullTurn)
	ring.Close()
	p.canvas.SetColor(c)
	p.canvas.SetLineWidth(vg.Length(width) * vg.Millimeter)
	p.canvas.SetLineDash(nil, 0)
	p.canvas.Stroke(ring)
}

// style of words: size in points and where their anchor lies in them.
type style struct {
	size   float64
	bold   bool
	colour color.Color
	x      text.XAlignment
	y      text.YAlignment
	turned float64 // radians
}

func (s style) of(p *pen) text.Style {
	f := font.Font{Typeface: "Liberation", Variant: "Sans", Size: font.Length(s.size)}
	if s.bold {
		f.Weight = xfont.WeightBold
	}
	colour := s.colour
	if colour == nil {
		colour = ink
	}
	return text.Style{Color: colour, Font: f, XAlign: s.x, YAlign: s.y, Rotation: s.turned, Handler: p.words}
}

func (p *pen) write(at spotOn, s style, words string) {
	p.canvas.FillText(s.of(p), at.point(), words)
}

// fit writes words no wider than room mm: smaller if need be, and cut short when they would become too small to read.
func (p *pen) fit(at spotOn, s style, room float64, words string) {
	const smallest = 6.5
	width, _ := p.extent(s, words)
	if width > room {
		s.size = max(s.size*room/width*0.999, smallest)
	}
	letters := []rune(words)
	for width, _ = p.extent(s, words); width > room && len(letters) > 0; width, _ = p.extent(s, words) {
		letters = letters[:len(letters)-1]
		words = strings.TrimRight(string(letters), " ,;") + "\u2026"
	}
	p.write(at, s, words)
}

// extent gives width and height of words in mm.
func (p *pen) extent(s style, words string) (width, height float64) {
	t := s.of(p)
	return float64(t.Width(words) / vg.Millimeter), float64(t.FontExtents().Ascent / vg.Millimeter)
}
