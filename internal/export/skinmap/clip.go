package skinmap

// window is a rectangle of the picture's plane, mm.
type window struct{ left, right, low, high float64 }

func (w window) width() float64  { return w.right - w.left }
func (w window) height() float64 { return w.high - w.low }

// area cuts a closed line to the window side by side; what it encloses inside the window stays enclosed.
func (w window) area(l loop) loop {
	sides := []func(point) float64{
		func(p point) float64 { return p.x - w.left }, func(p point) float64 { return w.right - p.x },
		func(p point) float64 { return p.y - w.low }, func(p point) float64 { return w.high - p.y },
	}
	for _, inside := range sides {
		var kept loop
		for i, p := range l {
			q := l[(i+1)%len(l)]
			dp, dq := inside(p), inside(q)
			if dp >= 0 {
				kept = append(kept, p)
			}
			if dp >= 0 != (dq >= 0) {
				t := dp / (dp - dq)
				kept = append(kept, point{x: p.x + t*(q.x-p.x), y: p.y + t*(q.y-p.y)})
			}
		}
		if l = kept; len(l) == 0 {
			return nil
		}
	}
	return l
}

// lines cuts a closed line to the window and leaves out what runs along the rim of its sheet.
func (w window) lines(l loop) [][]point {
	var out [][]point
	var line []point
	end := func() {
		if len(line) > 1 {
			out = append(out, line)
		}
		line = nil
	}
	for i := range l {
		p, q := l[i], l[(i+1)%len(l)]
		if p.border && q.border {
			end()
			continue
		}
		a, b, ok := w.piece(p, q)
		if !ok {
			end()
			continue
		}
		if len(line) == 0 {
			line = append(line, a)
		}
		line = append(line, b)
		if b.x != q.x || b.y != q.y {
			end()
		}
	}
	end()
	return out
}

// piece cuts the stretch from p to q to the window.
func (w window) piece(p, q point) (a, b point, ok bool) {
	t0, t1 := 0.0, 1.0
	dx, dy := q.x-p.x, q.y-p.y
	for _, s := range [4][2]float64{{-dx, p.x - w.left}, {dx, w.right - p.x}, {-dy, p.y - w.low}, {dy, w.high - p.y}} {
		switch {
		case s[0] == 0 && s[1] < 0:
			return a, b, false
		case s[0] < 0:
			t0 = max(t0, s[1]/s[0])
		case s[0] > 0:
			t1 = min(t1, s[1]/s[0])
		}
	}
	if t0 > t1 {
		return a, b, false
	}
	a, b = p, q
	if t0 > 0 {
		a = point{x: p.x + t0*dx, y: p.y + t0*dy}
	}
	if t1 < 1 {
		b = point{x: p.x + t1*dx, y: p.y + t1*dy}
	}
	return a, b, true
}
