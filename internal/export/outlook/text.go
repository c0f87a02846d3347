package outlook

import (
	"fmt"
	"io"
	"strings"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// Text writes the document for a terminal: a number for every field, so that no colour has to be told apart.
func (d Document) Text(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "EARLIER: %d procedures, %d of them on the map\n  highest dose    estimated %s at %s\n", d.Earlier.Procedures, d.Earlier.Mapped,
		gray(d.Earlier.PeakGy), d.Earlier.Place)
	if len(d.Beams) > 0 {
		b.WriteString("\nPLANNED, in this order\n  primary/secondary     kerma   the beam adds   in its field before -> after   highest of all skin after\n")
		for _, o := range d.Beams {
			fmt.Fprintf(&b, "  %-18s %8s %15s %15s -> %-14s %s\n", direction(o.Direction), gray(o.KermaGy), gray(o.AddsGy), gray(o.BeforeGy), gray(o.AfterGy), gray(o.PeakGy))
			fmt.Fprintf(&b, "      most at %s\n", o.AfterPlace)
		}
	}
	if d.Grid != nil {
		d.Grid.text(&b)
	}
	b.WriteString("\n")
	for _, note := range d.Notes {
		fmt.Fprintf(&b, "  %s\n", note)
	}
	for _, one := range d.Assumptions {
		fmt.Fprintf(&b, "  assumed: %s\n", one)
	}
	fmt.Fprintf(&b, "\n%s\n", d.Caution)
	_, err := io.WriteString(w, b.String())
	return err
}

func (g *Grid) text(b *strings.Builder) {
	fmt.Fprintf(b, "\nGRID: %s more from each direction; highest dose in Gy of the skin in the beam afterwards\n  secondary \\ primary", gray(g.KermaGy))
	for _, a := range g.Primary {
		fmt.Fprintf(b, "%7.0f", a)
	}
	b.WriteString("\n")
	for j, s := range g.Secondary {
		fmt.Fprintf(b, "  %19.0f", s)
		for i := range g.Primary {
			o := g.Outlooks[i][j]
			if o == nil {
				fmt.Fprintf(b, "%7s", "-")
				continue
			}
			fmt.Fprintf(b, "%7s", quantity.Below(float64(o.AfterGy), 2, bands()...))
		}
		b.WriteString("\n")
	}
	b.WriteString("  primary: LAO +, RAO -; secondary: cranial +, caudal -; a dash is a direction from which the beam hits no skin of the model\n")
}

// bands are the edges of the tissue-reaction bands in Gy, up to which no dose below them is rounded.
func bands() []float64 { return []float64{1, 2, 3, 5, 10, 15} }

// gray prints a dose: from 1 Gy on with two decimals, below with three significant figures.
func gray(v quantity.Gray) string {
	text := quantity.Significant(float64(v), 3)
	if v >= 1 || strings.HasPrefix(text, "1.0") {
		text = quantity.Below(float64(v), 2, bands()...)
	}
	return text + " Gy"
}

func direction(d skindose.Direction) string {
	side, tilt := "LAO", "cranial"
	if d.Primary < 0 {
		side = "RAO"
	}
	if d.Secondary < 0 {
		tilt = "caudal"
	}
	return fmt.Sprintf("%s %.0f / %s %.0f", side, max(d.Primary, -d.Primary), tilt, max(d.Secondary, -d.Secondary))
}
