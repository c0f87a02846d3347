package skinmap

import (
	"math"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/quantity"
)

// scene is a figure being drawn.
type scene struct {
	pen    *pen
	figure Figure
	sheets []sheet
	grids  []grid
	levels []quantity.Gray
}

// view puts a window of the picture's plane onto the paper.
type view struct {
	window
	at    spotOn // of the window's lower left corner, mm of paper
	scale float64
}

func (v view) on(p point) spotOn {
	return spotOn{v.at.x + (p.x-v.left)*v.scale, v.at.y + (p.y-v.low)*v.scale}
}

func (v view) all(points []point) []spotOn {
	out := make([]spotOn, len(points))
	for i, p := range points {
		out[i] = v.on(p)
	}
	return out
}

// surroundings gives the square window of the close-up: the peak with as much as fits of the dosed skin around it.
func (s *scene) surroundings() window {
	const least, most, around = 300.0, 560.0, 30.0
	if s.figure.Map.Peak < 0 {
		return window{}
	}
	peak := spot(s.sheets, s.figure.Map.Body.Patches[s.figure.Map.Peak])
	box := window{peak.x, peak.x, peak.y, peak.y}
	for _, l := range s.around(peak) {
		for _, p := range l {
			box.left, box.right = min(box.left, p.x), max(box.right, p.x)
			box.low, box.high = min(box.low, p.y), max(box.high, p.y)
		}
	}
	side := min(max(max(box.width(), box.height())+2*around, least), most)
	centre := func(low, high, peak float64) float64 {
		c, reach := (low+high)/2, side/2-2*around
		return min(max(c, peak-reach), peak+reach)
	}
	x, y := centre(box.left, box.right, peak.x), centre(box.low, box.high, peak.y)
	// Beyond head and feet there is nothing to see.
	all := s.bounds()
	if side < all.height() {
		y = min(max(y, all.low+side/2), all.high-side/2)
	}
	return window{x - side/2, x + side/2, y - side/2, y + side/2}
}

// around gives the lines of the lowest level about the peak.
func (s *scene) around(peak point) []loop {
	if len(s.levels) == 0 {
		return nil
	}
	sh := s.sheetOf(s.figure.Map.Body.Patches[s.figure.Map.Peak].Part)
	return slices.DeleteFunc(s.sheets[sh].loops(&s.grids[sh], float64(s.levels[0])), func(l loop) bool { return !l.encloses(peak) })
}

// sheetOf gives the index of a part's sheet.
func (s *scene) sheetOf(part body.Part) int {
	return max(0, slices.IndexFunc(s.sheets, func(sh sheet) bool { return sh.Part == part }))
}

// skin draws the sheets of a view with their bands of dose, and gives back the contour lines by level.
func (s *scene) skin(v view, contour float64) [][][]point {
	lines := make([][][]point, len(s.levels))
	for i := range s.sheets {
		if outline := v.area(s.sheets[i].outline()); len(outline) > 0 {
			s.pen.fill(skin, v.all(outline))
		}
		for n, level := range s.levels {
			loops := s.sheets[i].loops(&s.grids[i], float64(level))
			var areas [][]spotOn
			for _, l := range loops {
				if a := v.area(l); len(a) > 2 {
					areas = append(areas, v.all(a))
				}
			}
			s.pen.fill(shade(n, len(s.levels)), areas...)
			for _, l := range loops {
				lines[n] = append(lines[n], v.lines(l)...)
			}
		}
	}
	for n := range lines {
		for _, l := range lines[n] {
			s.pen.line(lineColour(n, len(lines)), contour, v.all(l), false)
		}
	}
	for i := range s.sheets {
		for _, l := range v.lines(s.sheets[i].outline()) {
			s.pen.line(quiet, 0.25, v.all(l), false)
		}
	}
	return lines
}

// bounds of all sheets in the picture's plane.
func (s *scene) bounds() window {
	b := window{math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)}
	for i := range s.sheets {
		for _, p := range s.sheets[i].outline() {
			b.left, b.right = min(b.left, p.x), max(b.right, p.x)
			b.low, b.high = min(b.low, p.y), max(b.high, p.y)
		}
	}
	return b
}

// mark is the sign of the peak: a ring with a cross, light around dark, seen on any shade.
func (s *scene) mark(at spotOn, r float64) {
	strokes := func(c style, width float64) {
		s.pen.circle(c.colour, width, at, r)
		s.pen.line(c.colour, width, []spotOn{{at.x - 1.7*r, at.y}, {at.x - 0.4*r, at.y}}, false)
		s.pen.line(c.colour, width, []spotOn{{at.x + 0.4*r, at.y}, {at.x + 1.7*r, at.y}}, false)
		s.pen.line(c.colour, width, []spotOn{{at.x, at.y - 1.7*r}, {at.x, at.y - 0.4*r}}, false)
		s.pen.line(c.colour, width, []spotOn{{at.x, at.y + 0.4*r}, {at.x, at.y + 1.7*r}}, false)
	}
	strokes(style{colour: paper}, 0.9)
	strokes(style{colour: ink}, 0.4)
}
