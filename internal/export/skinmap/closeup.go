package skinmap

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/text"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

// lineColour is that of contour n of count: dark on light bands, light on dark ones.
func lineColour(n, count int) color.Color {
	if count > 1 && n > 0 && float64(n)/float64(count-1) > 0.7 {
		return color.NRGBA{0xff, 0xff, 0xff, 0xff}
	}
	return color.NRGBA{0x3a, 0x2a, 0x24, 0xff}
}

// closeUp draws the surroundings of the peak with labelled contour lines and rulers in cm.
func (s *scene) closeUp(zoom window) {
	side := closeRight - closeLeft
	low := panelLow + (panelHigh-panelLow-side)/2
	frame := []spotOn{{closeLeft, low}, {closeRight, low}, {closeRight, low + side}, {closeLeft, low + side}}
	if s.figure.Map.Peak < 0 {
		s.pen.line(faint, 0.3, frame, true)
		s.pen.write(spotOn{(closeLeft + closeRight) / 2, low + side/2}, style{size: 10, colour: quiet, x: text.XCenter, y: text.YCenter}, "no dose to show")
		return
	}
	v := view{window: zoom, at: spotOn{closeLeft, low}, scale: side / zoom.width()}
	patch := s.figure.Map.Body.Patches[s.figure.Map.Peak]
	sh := &s.sheets[s.sheetOf(patch.Part)]
	lines := s.skin(v, 0.25)
	if x := -sh.Midline; x > zoom.left && x < zoom.right {
		s.pen.line(quiet, 0.25, v.all([]point{{x: x, y: max(zoom.low, sh.Low)}, {x: x, y: min(zoom.high, sh.High)}}), false, 1, 1)
	}
	s.pen.line(ink, 0.4, frame, true)
	s.rulers(v, sh, low, side)
	peak := v.on(spot(s.sheets, patch))
	taken := []rectangle{around(peak, 4.5, 4.5)}
	s.mark(peak, 1.8)
	taken = append(taken, s.peakLabel(v, peak, side))
	s.contourLabels(v, lines, taken)
}

// rulers put cm from the posterior midline below and cm along the body on the left of the close-up.
func (s *scene) rulers(v view, sh *sheet, low, side float64) {
	step := 50.0
	if v.width() > 400 {
		step = 100
	}
	number := style{size: 7.5, x: text.XCenter, y: text.YTop}
	for x := math.Ceil((v.left+sh.Midline)/step) * step; x <= v.right+sh.Midline; x += step {
		at := v.on(point{x: x - sh.Midline, y: v.low})
		s.pen.line(ink, 0.25, []spotOn{at, {at.x, at.y - 1.2}}, false)
		s.pen.write(spotOn{at.x, at.y - 1.8}, number, quantity.Fixed(math.Abs(x)/10, 0))
	}
	number = style{size: 7.5, x: text.XRight, y: text.YCenter}
	zero := 0.0
	if sh.Part == body.Head || sh.Part == body.Neck {
		zero = sh.Low
	}
	for y := math.Ceil((v.low-zero)/step) * step; y <= v.high-zero; y += step {
		at := v.on(point{x: v.left, y: y + zero})
		s.pen.line(ink, 0.25, []spotOn{at, {at.x - 1.2, at.y}}, false)
		s.pen.write(spotOn{at.x - 1.8, at.y}, number, quantity.Fixed(math.Abs(y)/10, 0))
	}
	s.pen.write(spotOn{closeLeft + side/2, low - 6}, style{size: 8, x: text.XCenter, y: text.YTop}, s.acrossWords(sh.Part))
	s.pen.write(spotOn{closeLeft - 8.5, low + side/2}, style{size: 8, x: text.XCenter, y: text.YBottom, turned: fullTurn / 4}, s.rulerWords(sh.Part))
	s.compass(v, sh, low, side)
}

func (s *scene) rulerWords(part body.Part) string {
	switch part {
	case body.LegLeft, body.LegRight:
		return "cm from the trunk base"
	case body.Head:
		return "cm along the skin from the base of the skull"
	case body.Neck:
		return "cm along the skin from the base of the neck"
	case body.UpperArmLeft, body.UpperArmRight, body.ForearmLeft, body.ForearmRight:
		return "cm along the arm, level with the trunk base at 0"
	case body.Trunk:
	}
	return "cm along the skin from the trunk base"
}

func (s *scene) acrossWords(part body.Part) string {
	switch part {
	case body.LegLeft, body.LegRight:
		return "cm along the skin from the middle of the leg's back"
	case body.UpperArmLeft, body.UpperArmRight, body.ForearmLeft, body.ForearmRight:
		return "cm along the skin from the middle of the arm's back"
	case body.Head:
		return "cm along the skin from the midline of the back of the head"
	case body.Trunk, body.Neck:
	}
	return "cm along the skin from the midline of the back"
}

// compass says around the close-up where left, right and head are.
func (s *scene) compass(v view, sh *sheet, low, side float64) {
	top := low + side
	bold := style{size: 9, bold: true, y: text.YBottom}
	s.pen.write(spotOn{closeLeft, top + 1.2}, bold, "LEFT")
	bold.x = text.XRight
	s.pen.write(spotOn{closeRight, top + 1.2}, bold, "RIGHT")
	const corners = 30.0 // of the side, for the words in the corners
	s.pen.fit(spotOn{closeLeft + side/2, top + 1.2}, style{size: 8, colour: quiet, x: text.XCenter, y: text.YBottom}, side-corners, s.facing(v, sh))
}

// facing names the parts of the circumference that the close-up shows, from the viewer's left.
func (s *scene) facing(v view, sh *sheet) string {
	up := min(max((v.low+v.high)/2, sh.Low), sh.High)
	half := sh.half(up)
	if half == 0 {
		return "head up"
	}
	fraction := func(x float64) float64 { return -(x + sh.Midline) / half }
	from, to := fraction(v.left), fraction(v.right)
	if from >= 1 && to <= -1 {
		return "all around, cut open in front; head up"
	}
	names := []struct {
		low, high float64
		words     string
	}{{0.75, 1, "front"}, {0.3, 0.75, "left side"}, {-0.3, 0.3, "back"}, {-0.75, -0.3, "right side"}, {-1, -0.75, "front"}}
	text := ""
	for _, n := range names {
		const some = 0.08
		if min(from, n.high)-max(to, n.low) > some {
			if text != "" {
				text += ", "
			}
			text += n.words
		}
	}
	return text + "; head up"
}
