package skinmap

import (
	"bytes"
	"fmt"
	"html"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgsvg"
)

// svgCanvas notes how wide each run of words is, in points.
type svgCanvas struct {
	*vgsvg.Canvas
	widths []float64
}

// FillString draws words and notes their width.
func (c *svgCanvas) FillString(face font.Face, at vg.Point, words string) {
	c.widths = append(c.widths, face.Width(words).Points())
	c.Canvas.FillString(face, at, words)
}

// document gives the SVG with fallback fonts, each run of words held at its width, and a title and description for
// screen readers.
func (c *svgCanvas) document(title, description string) []byte {
	var raw bytes.Buffer
	_, _ = c.WriteTo(&raw) // a buffer takes all
	svg := bytes.ReplaceAll(raw.Bytes(), []byte("font-family:Liberation Sans"),
		[]byte("font-family:'Liberation Sans',Arimo,Arial,Helvetica,sans-serif"))
	head, rest, _ := bytes.Cut(svg, []byte("xmlns=\"http://www.w3.org/2000/svg\""))
	var out bytes.Buffer
	out.Write(head)
	out.WriteString("xmlns=\"http://www.w3.org/2000/svg\" role=\"img\"")
	attributes, body, _ := bytes.Cut(rest, []byte(">"))
	out.Write(attributes)
	fmt.Fprintf(&out, "><title>%s</title><desc>%s</desc>", html.EscapeString(title), html.EscapeString(description))
	runs := bytes.Split(body, []byte("<text "))
	out.Write(runs[0])
	for i, run := range runs[1:] {
		fmt.Fprintf(&out, `<text textLength="%.5g" lengthAdjust="spacingAndGlyphs" `, c.widths[i])
		out.Write(run)
	}
	return out.Bytes()
}
