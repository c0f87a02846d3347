package skinmap

import (
	"slices"

	"gonum.org/v1/plot/text"

	"afterbeam/internal/quantity"
)

// The legend's place and pitch, mm.
const (
	legendLeft = closeRight + 5
	legendBox  = 5.0
	legendStep = 6.2
)

// legend lists the bands, the highest dose on top, then the sign of the peak and the areas of skin.
func (s *scene) legend() {
	y := panelHigh - 3
	s.pen.write(spotOn{legendLeft, y}, style{size: 8.5, bold: true}, "Skin dose")
	y -= 8
	for i, words := range slices.Backward(s.bands()) {
		colour := skin
		if i > 0 {
			colour = shade(i-1, len(s.levels))
		}
		square := []spotOn{{legendLeft, y}, {legendLeft + legendBox, y}, {legendLeft + legendBox, y + legendBox}, {legendLeft, y + legendBox}}
		s.pen.fill(colour, square)
		s.pen.line(quiet, 0.2, square, true)
		s.entry(y, words)
		y -= legendStep
	}
	if s.figure.Map.Peak < 0 {
		return
	}
	y -= 1
	s.mark(spotOn{legendLeft + legendBox/2, y + legendBox/2}, 1.6)
	s.entry(y, "peak")
	s.areas(y - legendStep)
}

func (s *scene) entry(y float64, words string) {
	s.pen.write(spotOn{legendLeft + legendBox + 1.5, y + legendBox/2}, style{size: 8, y: text.YCenter}, words)
}

// bands names the bands from the lowest dose.
func (s *scene) bands() []string {
	u := s.figure.unit()
	switch {
	case s.figure.Map.Peak < 0:
		return []string{"no dose"}
	case len(s.levels) == 0:
		return []string{"below " + u.line(series[0]) + " " + u.name}
	}
	rows := []string{"below " + u.line(s.levels[0]) + " " + u.name}
	for i, l := range s.levels {
		if i+1 < len(s.levels) {
			rows = append(rows, u.line(l)+" to "+u.line(s.levels[i+1])+" "+u.name)
		} else {
			rows = append(rows, "from "+u.line(l)+" "+u.name)
		}
	}
	return rows
}

// areas lists how much skin has at least 1, 2, 3 and 5 Gy, as far as the peak goes.
func (s *scene) areas(y float64) {
	const line = 4.2
	first := true
	for _, level := range []quantity.Gray{1, 2, 3, 5} {
		if s.figure.Map.PeakDose() < level {
			break
		}
		if first {
			s.pen.write(spotOn{legendLeft, y}, style{size: 8.5, bold: true}, "Skin area from")
			y -= line + 1
			first = false
		}
		area := quantity.Significant(s.figure.Map.AreaAbove(level).Cm2(), 2)
		s.pen.write(spotOn{legendLeft, y}, style{size: 8}, quantity.Fixed(float64(level), 0)+" Gy")
		s.pen.write(spotOn{Width - margin, y}, style{size: 8, x: text.XRight}, area+" cm\u00b2")
		y -= line
	}
}
