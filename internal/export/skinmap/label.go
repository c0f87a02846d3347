package skinmap

import (
	"math"

	"gonum.org/v1/plot/text"
)

// rectangle on the paper, mm.
type rectangle struct{ left, right, low, high float64 }

func around(at spotOn, width, height float64) rectangle {
	return rectangle{at.x - width/2, at.x + width/2, at.y - height/2, at.y + height/2}
}

func (r rectangle) meets(q rectangle) bool {
	return r.left < q.right && q.left < r.right && r.low < q.high && q.low < r.high
}

func (r rectangle) within(q rectangle) bool {
	return r.left >= q.left && r.right <= q.right && r.low >= q.low && r.high <= q.high
}

// panel is the close-up's frame less a hair.
func (v view) panel() rectangle {
	const hair = 0.6
	return rectangle{v.at.x + hair, v.at.x + v.width()*v.scale - hair, v.at.y + hair, v.at.y + v.height()*v.scale - hair}
}

// tag writes words on a light plate and gives the place it takes.
func (s *scene) tag(at spotOn, st style, words string) rectangle {
	r := s.plate(at, st, words)
	s.pen.fill(paper, []spotOn{{r.left, r.low}, {r.right, r.low}, {r.right, r.high}, {r.left, r.high}})
	st.x, st.y = text.XCenter, text.YCenter
	s.pen.write(at, st, words)
	return r
}

func (s *scene) plate(at spotOn, st style, words string) rectangle {
	w, h := s.pen.extent(st, words)
	return around(at, w+1.4, h+0.8)
}

// peakLabel writes the peak's dose beside its mark, on the side with more room.
func (s *scene) peakLabel(v view, peak spotOn, side float64) rectangle {
	st := style{size: 9, bold: true}
	words := s.figure.unit().with(s.figure.Map.PeakDose())
	w, _ := s.pen.extent(st, words)
	at := spotOn{peak.x + 4 + w/2, peak.y}
	if peak.x > v.at.x+side/2 {
		at.x = peak.x - 4 - w/2
	}
	return s.tag(at, st, words)
}

// contourLabels writes each level's dose on one of its lines, where it meets neither another label nor the frame and is
// as far as can be from the lines of other levels. A level that has no such place is left to the legend.
func (s *scene) contourLabels(v view, lines [][][]point, taken []rectangle) {
	st := style{size: 7.5}
	for n := range lines {
		words := s.figure.unit().line(s.levels[n])
		var best spotOn
		room := -1.0
		for _, l := range lines[n] {
			for i := 0; i < len(l); i += 2 {
				at := v.on(l[i])
				r := s.plate(at, st, words)
				if !r.within(v.panel()) || meetsAny(r, taken) {
					continue
				}
				if d := min(clearance(v, at, lines, n), apart(at, taken)); d > room {
					best, room = at, d
				}
			}
		}
		const crowded = 1.2 // mm: nearer to another level's line a label would not tell which one it means
		if room < crowded {
			continue
		}
		taken = append(taken, s.tag(best, st, words))
	}
}

// apart is a share of the distance from a place to the nearest label, so that labels spread out.
func apart(at spotOn, taken []rectangle) float64 {
	const share = 0.4
	least := math.Inf(1)
	for _, t := range taken {
		least = min(least, share*math.Hypot((t.left+t.right)/2-at.x, (t.low+t.high)/2-at.y))
	}
	return least
}

func meetsAny(r rectangle, taken []rectangle) bool {
	for _, t := range taken {
		if r.meets(t) {
			return true
		}
	}
	return false
}

// clearance is the distance from a place to the nearest line of another level, at most a label's width of interest.
func clearance(v view, at spotOn, lines [][][]point, own int) float64 {
	const enough = 8.0
	least := enough
	for n := range lines {
		if n == own {
			continue
		}
		for _, l := range lines[n] {
			for _, p := range l {
				q := v.on(p)
				least = min(least, math.Hypot(q.x-at.x, q.y-at.y))
			}
		}
	}
	return least
}
