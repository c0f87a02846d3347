package skinmap

import (
	"cmp"
	"math"
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
)

// The plane of the picture is in mm of skin: x runs to the viewer's right, y headward. The skin is seen from outside, so
// the patient's left, which is positive on the body's map, is on the viewer's left.

// sheet is one part of the skin with the dose on it.
type sheet struct {
	body.Sheet
	rows []ring
}

// ring is one row of patches round the body, by ascending place across, with their doses.
type ring struct {
	up, half     float64
	across, dose []float64
}

// spacing of the nodes that contour lines are traced on, mm: half the edge of a patch of 1 cm2.
const spacing = 5.0

func sheetsOf(m *skindose.Map) []sheet {
	list := m.Body.Sheets()
	sheets := make([]sheet, len(list))
	for i, s := range list {
		sheets[i] = sheet{Sheet: s, rows: rings(m, s)}
	}
	return sheets
}

func rings(m *skindose.Map, s body.Sheet) []ring {
	var on []int
	for i := range m.Body.Patches {
		if m.Body.Patches[i].Part == s.Part {
			on = append(on, i)
		}
	}
	slices.SortFunc(on, func(a, b int) int {
		p, q := &m.Body.Patches[a], &m.Body.Patches[b]
		return cmp.Or(cmp.Compare(p.Up, q.Up), cmp.Compare(p.Across, q.Across), cmp.Compare(a, b))
	})
	var rows []ring
	for _, i := range on {
		p := &m.Body.Patches[i]
		if n := len(rows); n == 0 || rows[n-1].up != p.Up {
			rows = append(rows, ring{up: p.Up, half: s.HalfWidth(p.Up)})
		}
		r := &rows[len(rows)-1]
		r.across, r.dose = append(r.across, p.Across), append(r.dose, float64(m.Dose[i]))
	}
	return rows
}

// at gives the dose at a fraction of the half-width from the posterior midline, -1 to 1, round the ring.
func (r *ring) at(fraction float64) float64 {
	x, n := fraction*r.half, len(r.across)
	upper, _ := slices.BinarySearch(r.across, x)
	lower := upper - 1
	var from, to float64
	switch {
	case lower < 0:
		lower, from, to = n-1, r.across[n-1]-2*r.half, r.across[0]
	case upper == n:
		upper, from, to = 0, r.across[n-1], r.across[0]+2*r.half
	default:
		from, to = r.across[lower], r.across[upper]
	}
	if to <= from {
		return r.dose[lower]
	}
	return r.dose[lower] + (x-from)/(to-from)*(r.dose[upper]-r.dose[lower])
}

// at gives the dose at a place of the sheet, linear between patches.
func (s *sheet) at(fraction, up float64) float64 {
	upper, _ := slices.BinarySearchFunc(s.rows, up, func(r ring, up float64) int { return cmp.Compare(r.up, up) })
	if upper == 0 {
		return s.rows[0].at(fraction)
	}
	if upper == len(s.rows) {
		return s.rows[upper-1].at(fraction)
	}
	a, b := &s.rows[upper-1], &s.rows[upper]
	t := (up - a.up) / (b.up - a.up)
	return (1-t)*a.at(fraction) + t*b.at(fraction)
}

// grid samples the sheet. Columns are fractions of the half-width, so that a contour closes along the outline.
func (s *sheet) grid() grid {
	widest := 0.0
	for _, r := range s.rows {
		widest = max(widest, r.half)
	}
	columns, levels := 2*max(2, int(math.Ceil(widest/spacing))), max(2, int(math.Ceil((s.High-s.Low)/spacing)))
	g := grid{x: rimmed(-1, 1, columns), y: rimmed(s.Low, s.High, levels)}
	g.at = make([]float64, len(g.x)*len(g.y))
	for r := 1; r < len(g.y)-1; r++ {
		for c := 1; c < len(g.x)-1; c++ {
			g.at[r*len(g.x)+c] = s.at(g.x[c], g.y[r])
		}
	}
	return g
}

// rimmed gives n steps from low to high with the ends doubled for the rim.
func rimmed(low, high float64, n int) []float64 {
	out := make([]float64, 0, n+3)
	out = append(out, low)
	for i := range n + 1 {
		out = append(out, low+(high-low)*float64(i)/float64(n))
	}
	return append(out, high)
}

// loops traces a level on the sheet in the picture's plane.
func (s *sheet) loops(g *grid, level float64) []loop {
	loops := g.contours(level)
	for _, l := range loops {
		for i := range l {
			l[i].x = s.x(l[i].x, l[i].y)
		}
	}
	return loops
}

// x gives the place in the picture's plane of a fraction of the half-width.
func (s *sheet) x(fraction, up float64) float64 { return -(s.Midline + fraction*s.half(up)) }

// half is the half-width, held at the ends against rounding.
func (s *sheet) half(up float64) float64 { return s.HalfWidth(min(max(up, s.Low), s.High)) }

// outline is the sheet's border in the picture's plane.
func (s *sheet) outline() loop {
	const steps = 60
	var l loop
	for i := range steps + 1 {
		up := s.Low + (s.High-s.Low)*float64(i)/steps
		l = l.on(point{x: s.x(-1, up), y: up})
	}
	for i := range steps + 1 {
		up := s.High - (s.High-s.Low)*float64(i)/steps
		l = l.on(point{x: s.x(1, up), y: up})
	}
	return l
}

// on adds a point, in place of the last one where that lies on the straight way to it.
func (l loop) on(p point) loop {
	if n := len(l); n > 1 {
		a, b := l[n-2], l[n-1]
		const straight = 1e-6 // mm2
		if math.Abs((b.x-a.x)*(p.y-a.y)-(b.y-a.y)*(p.x-a.x)) < straight {
			l = l[:n-1]
		}
	}
	return append(l, p)
}

// spot is a patch's place in the picture's plane.
func spot(sheets []sheet, p body.Patch) point {
	for i := range sheets {
		if sheets[i].Part == p.Part {
			return point{x: -(sheets[i].Midline + p.Across), y: p.Up}
		}
	}
	return point{x: -p.Across, y: p.Up}
}
