package web

import (
	"fmt"
	"math"
	"strings"

	"afterbeam/internal/quantity"
)

// caseLine is the course of a case as a drawing: kerma of each event, kerma together, and the angles, over one axis of time.
type caseLine struct {
	// Stems are the events' kerma, Sum what came together; Turns and Tilts are the angles: all as paths of SVG.
	Stems, Sum, Turns, Tilts string
	Panels                   []linePanel
	Ticks                    []lineTick
	// Total is what came together, Most the largest of one event, in Gy; Without counts events that have no kerma, and
	// Untimed tells that the axis is the order of events because times are missing.
	Total, Most float64
	Without     int
	Untimed     bool
	Minutes     float64
}

// linePanel is one of the three stripes with its scale.
type linePanel struct {
	Key       string
	Top       float64
	Low, High string // printed ends of the scale
}

type lineTick struct {
	X    float64
	Text string
}

// The drawing's measures in units of its viewBox.
const (
	lineLeft, lineRight = 96.0, 992.0
	panelHigh           = 96.0
	panelPitch          = 122.0
	panelFirst          = 22.0
)

// newCaseLine draws the events, nil without any.
func newCaseLine(rows []eventRow) *caseLine {
	if len(rows) == 0 {
		return nil
	}
	l := &caseLine{}
	at := l.times(rows)
	for _, r := range rows {
		if r.KermaGy == nil {
			l.Without++
			continue
		}
		l.Total += *r.KermaGy
		l.Most = math.Max(l.Most, *r.KermaGy)
	}
	l.draw(rows, at)
	const steps = 4
	span := l.Minutes
	if l.Untimed {
		span = float64(len(rows))
	}
	for i := range steps + 1 {
		f := float64(i) / steps
		l.Ticks = append(l.Ticks, lineTick{lineLeft + f*(lineRight-lineLeft), quantity.Fixed(f*span, 0)})
	}
	angle := quantity.Fixed(l.widest(rows), 0)
	l.Panels = []linePanel{
		{"each", panelFirst, "0", quantity.Figures(l.Most*1000, 2) + " mGy"},
		{"together", panelFirst + panelPitch, "0", quantity.Figures(l.Total, 3) + " Gy"},
		{"angles", panelFirst + 2*panelPitch, "\u2212" + angle + "°", "+" + angle + "°"},
	}
	return l
}

// times gives the place of each event on the axis: by its time, or by its order where a time is missing.
func (l *caseLine) times(rows []eventRow) []float64 {
	at := make([]float64, len(rows))
	first := rows[0].Start
	for i, r := range rows {
		if r.Start == nil || first == nil {
			l.Untimed = true
			break
		}
		at[i] = r.Start.Sub(*first).Minutes()
		l.Minutes = math.Max(l.Minutes, at[i])
	}
	span := l.Minutes
	if l.Untimed {
		for i := range at {
			at[i] = float64(i)
		}
		span = float64(len(rows))
	}
	for i := range at {
		at[i] = lineLeft + at[i]/math.Max(span, 1e-9)*(lineRight-lineLeft)
		if math.IsNaN(at[i]) || span == 0 {
			at[i] = lineLeft
		}
	}
	return at
}

// widest is the largest angle of all, at least 30 degrees, in steps of 30.
func (l *caseLine) widest(rows []eventRow) float64 {
	const step = 30
	most := 1.0
	for _, r := range rows {
		for _, a := range []*float64{r.PrimaryDeg, r.SecondaryDeg} {
			if a != nil {
				most = math.Max(most, math.Abs(*a))
			}
		}
	}
	return step * math.Ceil(most/step)
}

func (l *caseLine) draw(rows []eventRow, at []float64) {
	var stems, sum, turns, tilts strings.Builder
	to := func(b *strings.Builder, form string, args ...any) { _, _ = fmt.Fprintf(b, form, args...) } // a builder takes all
	base := panelFirst + panelHigh
	middle := panelFirst + 2*panelPitch + panelHigh/2
	wide := l.widest(rows)
	together := 0.0
	to(&sum, "M%.1f %.1f", lineLeft, base+panelPitch)
	for i, r := range rows {
		if r.KermaGy != nil && l.Most > 0 {
			to(&stems, "M%.1f %.1fv-%.1f", at[i], base, math.Max(1, panelHigh**r.KermaGy/l.Most))
			to(&sum, "H%.1f", at[i])
			together += *r.KermaGy
			to(&sum, "V%.1f", base+panelPitch-panelHigh*together/l.Total)
		}
		if r.PrimaryDeg != nil {
			to(&turns, "M%.1f %.1fh0", at[i], middle-panelHigh/2**r.PrimaryDeg/wide)
		}
		if r.SecondaryDeg != nil {
			to(&tilts, "M%.1f %.1fm-3 0h6m-3-3v6", at[i], middle-panelHigh/2**r.SecondaryDeg/wide)
		}
	}
	to(&sum, "H%.1f", lineRight)
	l.Stems, l.Sum, l.Turns, l.Tilts = stems.String(), sum.String(), turns.String(), tilts.String()
}

// Middle and Bottom are heights of a panel.
func (p linePanel) Middle() float64 { return p.Top + panelHigh/2 }
func (p linePanel) Bottom() float64 { return p.Top + panelHigh }
