package skinmap

import (
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
)

// What was assumed is set in small lines under the picture, which grows by them.
const (
	assumedSize = 7.0 // points
	assumedLine = 3.1 // mm
)

// assumed breaks the assumptions into lines as wide as the page.
func (f Figure) assumed() []string {
	if len(f.Assumed) == 0 {
		return nil
	}
	ruler := &pen{words: text.Plain{Fonts: font.NewCache(liberation.Collection())}}
	const room = Width - 2*margin
	var lines []string
	line := "Assumed:"
	for _, word := range strings.Fields(strings.Join(f.Assumed, "; ") + ".") {
		longer := line + " " + word
		if width, _ := ruler.extent(style{size: assumedSize}, longer); width > room {
			lines = append(lines, line)
			longer = word
		}
		line = longer
	}
	return append(lines, line)
}

// below is how much the page grows by so many lines, in mm.
func below(lines int) float64 {
	if lines == 0 {
		return 0
	}
	return margin + assumedLine*float64(lines)
}

// drawPage draws the figure and, under it, what was assumed.
func (f Figure) drawPage(p *pen, lines []string) {
	if len(lines) == 0 {
		f.draw(p)
		return
	}
	p.canvas.Translate(vg.Point{Y: vg.Length(below(len(lines))) * vg.Millimeter})
	f.draw(p)
	for i, l := range lines {
		p.write(spotOn{margin, -assumedLine * float64(i)}, style{size: assumedSize, colour: quiet, y: text.YTop}, l)
	}
}
