package body

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// block is the number of patches along each side of a Group.
const block = 8

// row is one ring of patches of a surface, from the anterior midline round the patient's right side and back.
type row struct {
	patches []Patch
	angles  []float64 // parameter of each patch on its outline, for sharing a row out among groups
}

// build cuts the whole skin, part by part, rows from low to high, and lays out the unrolled map. edge is the side of
// the largest patch in mm.
func (b *Body) build(edge float64) {
	d := b.Dimensions
	layout := newLayout(d)
	b.sheets = layout.sheets
	for _, a := range b.arms {
		b.sheets = append(b.sheets, a.sheet(d))
	}
	trunk, head := ellipse{d.TrunkHalfWidth, d.TrunkHalfDepth}, ellipse{d.HeadHalfWidth, d.HeadHalfDepth}
	base := d.TrunkHeight + d.NeckHeight
	surfaces := [][]row{
		cylinder(Trunk, trunk, 0, d.TrunkHeight, layout.trunk, edge),
		annulus(Trunk, trunk, d.NeckRadius, d.TrunkHeight, layout.shoulder, layout.neck, edge),
		cylinder(Neck, ellipse{d.NeckRadius, d.NeckRadius}, d.TrunkHeight, d.NeckHeight, layout.neck, edge),
		annulus(Head, head, d.NeckRadius, base, layout.head, layout.chin, edge),
		cylinder(Head, head, base, d.HeadHeight, layout.head, edge),
		crown(head, base+d.HeadHeight, d.HeadCap, layout.crown, edge),
		leg(LegLeft, 1, d, edge),
		leg(LegRight, -1, d, edge),
	}
	for _, a := range b.arms {
		surfaces = append(surfaces, a.side(edge))
	}
	total := 0
	for _, rows := range surfaces {
		for _, r := range rows {
			total += len(r.patches)
		}
	}
	b.Patches = make([]Patch, 0, total)
	for _, rows := range surfaces {
		b.add(rows)
	}
	for i := range b.Patches {
		b.Patches[i].Region = b.region(&b.Patches[i])
	}
}

// add appends the rows of one surface in blocks of neighbours and records a Group for each.
func (b *Body) add(rows []row) {
	for start := 0; start < len(rows); start += block {
		band := rows[start:min(start+block, len(rows))]
		widest := 0
		for _, r := range band {
			widest = max(widest, len(r.patches))
		}
		sectors := (widest + block - 1) / block
		next := make([]int, len(band))
		for sector := range sectors {
			first := len(b.Patches)
			end := 2*math.Pi*float64(sector+1)/float64(sectors) - math.Pi
			for j, r := range band {
				from := next[j]
				for next[j] < len(r.patches) && (r.angles[next[j]] < end || sector == sectors-1) {
					next[j]++
				}
				b.Patches = append(b.Patches, r.patches[from:next[j]]...)
			}
			if len(b.Patches) > first {
				b.Groups = append(b.Groups, enclose(b.Patches[first:], first))
			}
		}
	}
}

// enclose finds the sphere and the cone of a run of patches.
func enclose(patches []Patch, first int) Group {
	g := Group{First: first, End: first + len(patches), CosHalf: 1}
	for i := range patches {
		g.Centre = r3.Add(g.Centre, patches[i].Centre)
		g.Axis = r3.Add(g.Axis, patches[i].Normal)
	}
	g.Centre = r3.Scale(1/float64(len(patches)), g.Centre)
	g.Axis = r3.Unit(g.Axis)
	for i := range patches {
		g.Radius = max(g.Radius, r3.Norm(r3.Sub(patches[i].Centre, g.Centre)))
		g.CosHalf = min(g.CosHalf, r3.Dot(patches[i].Normal, g.Axis))
	}
	// Room for rounding, so that no patch is rejected with its group wrongly.
	g.Radius *= 1 + 1e-12
	g.CosHalf = max(g.CosHalf-1e-12, -1)
	return g
}

func count(length, edge float64) int { return max(1, int(math.Ceil(length/edge))) }

// cm2 is one square centimetre in mm2.
const cm2 = 100.0

// cylinder cuts the side of an upright elliptic cylinder into equal rectangles, eq. (5.3). up is the map's height at z.
func cylinder(part Part, e ellipse, z, height, up, edge float64) []row {
	around := e.perimeter()
	columns, levels := count(around, edge), count(height, edge)
	width, step := around/float64(columns), height/float64(levels)
	model := row{patches: make([]Patch, columns), angles: make([]float64, columns)}
	for i := range columns {
		s := (float64(i)+0.5)*width - around/2
		t := e.parameter(s)
		sin, cos := math.Sincos(t)
		model.angles[i] = t
		model.patches[i] = Patch{
			Centre: r3.Vec{X: e.a * sin, Y: e.b * cos}, Normal: r3.Unit(r3.Vec{X: sin / e.a, Y: cos / e.b}),
			Area: width * step / cm2, Part: part, Across: s,
		}
	}
	rows := make([]row, levels)
	for j := range levels {
		above := (float64(j) + 0.5) * step
		rows[j] = row{patches: make([]Patch, columns), angles: model.angles}
		copy(rows[j].patches, model.patches)
		for i := range rows[j].patches {
			rows[j].patches[i].Centre.Z = z + above
			rows[j].patches[i].Up = up + above
		}
	}
	return rows
}

// annulus cuts a flat ring between an ellipse and the neck's circle at height z, eq. (5.5). The trunk's ring looks
// headward, the head's footward. The map's height runs from rimUp at the ellipse to neckUp at the circle.
func annulus(part Part, rim ellipse, neck, z, rimUp, neckUp, edge float64) []row {
	normal := r3.Vec{Z: 1}
	if neckUp < rimUp {
		normal.Z = -1
	}
	da, db := rim.a-neck, rim.b-neck
	levels := count(max(da, db), edge)
	rows := make([]row, levels)
	for j := range levels {
		f0, f := float64(j)/float64(levels), (float64(j)+0.5)/float64(levels)
		columns := count(2*math.Pi*max(rim.a-f0*da, rim.b-f0*db), edge)
		dt := 2 * math.Pi / float64(columns)
		e := ellipse{rim.a - f*da, rim.b - f*db}
		r := row{patches: make([]Patch, columns), angles: make([]float64, columns)}
		for i := range columns {
			t := (float64(i)+0.5)*dt - math.Pi
			sin, cos := math.Sincos(t)
			r.angles[i] = t
			r.patches[i] = Patch{
				Centre: r3.Vec{X: e.a * sin, Y: e.b * cos, Z: z}, Normal: normal,
				Area: (da*e.b*sin*sin + db*e.a*cos*cos) * dt / float64(levels) / cm2,
				Part: part, Across: e.arc(t), Up: rimUp + f*(neckUp-rimUp),
			}
		}
		rows[j] = r
	}
	return rows
}

// crown cuts the half ellipsoid on top of the head, eq. (5.6).
func crown(e ellipse, z, height, up, edge float64) []row {
	longest := max(e.a, e.b)
	levels := count(math.Pi/2*max(longest, height), edge)
	dphi := math.Pi / 2 / float64(levels)
	meridian := ellipse{height, math.Sqrt(e.a * e.b)}
	rows := make([]row, levels)
	for j := range levels {
		phi := (float64(j) + 0.5) * dphi
		sinPhi, cosPhi := math.Sincos(phi)
		columns := count(2*math.Pi*longest*math.Cos(float64(j)*dphi), edge)
		dt := 2 * math.Pi / float64(columns)
		r := row{patches: make([]Patch, columns), angles: make([]float64, columns)}
		for i := range columns {
			t := (float64(i)+0.5)*dt - math.Pi
			sin, cos := math.Sincos(t)
			// The cross product of the two tangents: its length is the element of area, its direction the normal.
			n := r3.Vec{X: cosPhi * sin * e.b * height, Y: cosPhi * cos * e.a * height, Z: sinPhi * e.a * e.b}
			r.angles[i] = t
			r.patches[i] = Patch{
				Centre: r3.Vec{X: e.a * cosPhi * sin, Y: e.b * cosPhi * cos, Z: z + height*sinPhi}, Normal: r3.Unit(n),
				Area: r3.Norm(n) * cosPhi * dt * dphi / cm2, Part: Head,
				Across: cosPhi * e.arc(t), Up: up + meridian.arc(phi),
			}
		}
		rows[j] = r
	}
	return rows
}

// leg cuts the side of a leg, a slanting cone, eq. (5.7). side is +1 for the left one.
func leg(part Part, side float64, d Dimensions, edge float64) []row {
	slope := d.TrunkHalfWidth / 2 / d.LegTaper // of the radius along z
	levels := count(d.LegLength*math.Hypot(1, 2*slope), edge)
	step := d.LegLength / float64(levels)
	rows := make([]row, levels)
	for j := range levels {
		z := -d.LegLength + (float64(j)+0.5)*step
		radius := d.TrunkHalfWidth / 2 * (1 + z/d.LegTaper)
		columns := count(2*math.Pi*(radius+slope*step/2), edge)
		dt := 2 * math.Pi / float64(columns)
		r := row{patches: make([]Patch, columns), angles: make([]float64, columns)}
		for i := range columns {
			t := (float64(i)+0.5)*dt - math.Pi
			sin, cos := math.Sincos(t)
			n := r3.Vec{X: sin, Y: cos, Z: -slope * (1 + side*sin)}
			r.angles[i] = t
			r.patches[i] = Patch{
				Centre: r3.Vec{X: radius * (side + sin), Y: radius * cos, Z: z}, Normal: r3.Unit(n),
				Area: r3.Norm(n) * radius * dt * step / cm2, Part: part, Across: radius * t, Up: z,
			}
		}
		rows[j] = r
	}
	return rows
}
