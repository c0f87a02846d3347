package skinmap

import (
	"strings"

	"gonum.org/v1/plot/text"

	"afterbeam/internal/physics/body"
)

// whole draws the overview: all sheets, head up, with the window of the close-up.
func (s *scene) whole(zoom window) {
	b := s.bounds()
	const words = 6.0 // mm of paper left for the words around
	width, height := wholeRight-margin-2*words, panelHigh-panelLow-words
	scale := min(width/b.width(), height/b.height())
	v := view{window: b, scale: scale, at: spotOn{
		margin + words + (width-b.width()*scale)/2, panelLow + words + (height-b.height()*scale)/2,
	}}
	s.skin(v, 0.12)
	for i := range s.sheets {
		s.sheetWords(v, &s.sheets[i], zoom)
	}
	middle := v.on(point{x: 0, y: 0})
	top := v.on(point{x: 0, y: b.high})
	left, right := v.on(point{x: b.left}), v.on(point{x: b.right})
	s.pen.write(spotOn{left.x, top.y}, style{size: 9, bold: true, x: text.XLeft, y: text.YTop}, "LEFT")
	s.pen.write(spotOn{right.x, top.y}, style{size: 9, bold: true, x: text.XRight, y: text.YTop}, "RIGHT")
	s.pen.write(spotOn{middle.x, v.at.y - 5}, style{size: 7.5, colour: quiet, x: text.XCenter, y: text.YTop},
		"whole skin, seen from outside, cut open along the front")
	if s.figure.Map.Peak < 0 {
		return
	}
	box := v.all([]point{{x: zoom.left, y: zoom.low}, {x: zoom.right, y: zoom.low}, {x: zoom.right, y: zoom.high}, {x: zoom.left, y: zoom.high}})
	s.pen.line(ink, 0.35, box, true, 1.2, 0.8)
	s.mark(v.on(spot(s.sheets, s.figure.Map.Body.Patches[s.figure.Map.Peak])), 1)
}

// sheetWords draws a sheet's midline and says which side is where.
func (s *scene) sheetWords(v view, sh *sheet, zoom window) {
	s.pen.line(faint, 0.2, v.all([]point{{x: -sh.Midline, y: sh.Low}, {x: -sh.Midline, y: sh.High}}), false, 0.8, 0.8)
	name := style{size: 7, colour: quiet, x: text.XCenter, y: text.YTop}
	switch sh.Part {
	case body.Trunk:
		name.y = text.YBottom
		up := s.quietHeight(sh, zoom)
		at := func(fraction float64) spotOn { return v.on(point{x: sh.x(fraction, up), y: up}) }
		left, right := "left flank", "right flank"
		const room = 18.0 // mm of paper that half the skin needs for these words
		if v.scale*sh.half(up) < room {
			left, right = "left", "right"
		}
		s.pen.write(at(0), name, "back")
		s.pen.write(at(0.5), name, left)
		s.pen.write(at(-0.5), name, right)
		middle := (sh.Low + sh.High) / 2
		from, to := v.on(point{x: sh.x(1, sh.Low), y: middle}), v.on(point{x: sh.x(-1, sh.Low), y: middle})
		s.turned(spotOn{from.x - 1.8, from.y}, "front")
		s.turned(spotOn{to.x + 1.8, to.y}, "front")
	case body.LegLeft, body.LegRight:
		at := v.on(point{x: -sh.Midline, y: sh.Low})
		s.pen.write(spotOn{at.x, at.y - 0.8}, name, sh.Name)
	case body.UpperArmLeft, body.UpperArmRight:
		name.y = text.YBottom
		at := v.on(point{x: -sh.Midline, y: sh.High})
		s.pen.write(spotOn{at.x, at.y + 0.8}, name, strings.Replace(sh.Name, "upper ", "", 1))
	case body.ForearmLeft, body.ForearmRight: // named by the upper arm
	case body.Head:
		middle := (sh.Low + sh.High) / 2
		at := v.on(point{x: sh.x(-1, middle), y: middle})
		s.pen.write(spotOn{at.x + 1.5, at.y}, style{size: 7, colour: quiet, y: text.YCenter}, "head")
	case body.Neck:
	}
}

// quietHeight finds a height of the trunk where the words for its sides meet neither dose nor the close-up's frame; low
// down when there is none.
func (s *scene) quietHeight(sh *sheet, zoom window) float64 {
	const above, step = 14.0, 50.0
	for up := sh.Low + above; len(s.levels) > 0 && sh.half(up+step) > 0.99*sh.half(sh.Low); up += step {
		highest := 0.0
		for f := -0.7; f <= 0.7; f += 0.05 {
			highest = max(highest, sh.at(f, up), sh.at(f, up+step))
		}
		framed := up < zoom.high && up+step > zoom.low
		if highest < float64(s.levels[0]) && !framed {
			return up
		}
	}
	return sh.Low + above
}

func (s *scene) turned(at spotOn, words string) {
	s.pen.write(at, style{size: 7, colour: quiet, x: text.XCenter, y: text.YCenter, turned: fullTurn / 4}, words)
}
