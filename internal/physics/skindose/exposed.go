package skindose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// reach is how far from the edges of a field, in the plane perpendicular to the beam, the skin beside it is given the
// field's scatter, mm. Judgement: farther out a field of 10 cm gives at most 3 % of the dose in its middle, a large one 5 %.
const reach = 50.0

// mostSlant is the slant up to which doubt of the table grows with the way through it (judgement).
const mostSlant = 2

// exposed is one shot on one body.
type exposed struct {
	shot   *exposure.Shot
	optics *optics
	body   *body.Body
	// table is what the logarithm of the table's transmission is off at a slant of 1.
	table float64
	skull bool
	// core is the shot whose field scatters, at its middle, where the field has been grown to see what it may reach; nil
	// where the field is the shot's own.
	core *exposure.Shot
	// clear tells that no other part of the body can lie before the patches that are looked at.
	clear bool
	// What is worked out when the first patch needs it: whether the field meets the body, and the beam beside the table,
	// behind it, and on its way through.
	meets        answer
	open, behind *quality
	paths        *beam.Paths
	passage      exposure.Passage
}

// aim makes it a shot.
func (x *exposed) aim(s *exposure.Shot, o *optics) {
	x.shot, x.optics, x.meets, x.open, x.behind, x.paths = s, o, unasked, nil, nil, nil
	x.passage = s.Table.From(s.Focus)
}

// answer to a question that is put off until it matters.
type answer uint8

const (
	unasked answer = iota
	yes
	no
)

// where a patch lies to a field.
type where uint8

const (
	missed where = iota
	beside       // outside the field, within reach of its scatter
	inside
)

// place of a patch in a field: depth along the axis in mm and square of the tangent off the axis.
type place struct{ depth, off float64 }

// onto adds the shot's dose to every patch it reaches. It tells where the shot enters the skin, if any lies in its field.
func (x *exposed) onto(dose []quantity.Gray) (e entry, hit bool) {
	field := sidesOf(x.shot)
	beyond := reach
	if x.core != nil {
		beyond = 0
	}
	nearest, depth := math.Inf(1), 0.0
	for g := range x.body.Groups {
		group := &x.body.Groups[g]
		if field.misses(x.shot, group, beyond) {
			continue
		}
		x.clear = !x.body.MayBlock(group, x.shot.Focus)
		for i := group.First; i < group.End; i++ {
			d, at, where := x.at(i)
			dose[i] += d
			if where == inside && at.off < nearest {
				nearest, depth = at.off, at.depth
			}
		}
	}
	x.clear = false
	area := 4 * x.shot.HalfWidth * x.shot.HalfHeight * depth * depth
	return entry{x.shot.Event, x.shot.Kerma, area}, !math.IsInf(nearest, 1)
}

// at gives the dose of the shot in one patch and where the patch lies. To get any it faces the focus and is not shadowed
// by another part of the body; beside the field it gets what the field scatters into it, eq. (6.4).
func (x *exposed) at(patch int) (quantity.Gray, place, where) {
	s, p := x.shot, &x.body.Patches[patch]
	ray := r3.Sub(p.Centre, s.Focus)
	depth, facing := r3.Dot(ray, s.Toward), -r3.Dot(ray, p.Normal)
	if depth <= 0 || facing <= 0 {
		return 0, place{}, missed
	}
	across, along := r3.Dot(ray, s.Across), r3.Dot(ray, s.Along)
	halfWidth, halfHeight := s.HalfWidth*depth, s.HalfHeight*depth
	outX, outY := math.Abs(across)-halfWidth, math.Abs(along)-halfHeight
	lies := inside
	if outX > 0 || outY > 0 {
		if outX < 0 {
			outX = 0
		}
		if outY < 0 {
			outY = 0
		}
		if x.core != nil || outX*outX+outY*outY > reach*reach || !x.lands() {
			return 0, place{}, missed
		}
		lies = beside
	}
	if x.hidden(patch, ray) {
		return 0, place{}, missed
	}
	var off float64
	square := r3.Norm2(ray)
	length := math.Sqrt(square)
	per := 1 / length
	to := point{cosine: facing * per, inside: lies == inside, skull: x.skull && p.Part == body.Head && p.Normal.Z > -0.5}
	if to.inside {
		off = (across*across + along*along) / (depth * depth)
		to.slant, to.gap, to.crosses = x.passage.Crossing(ray, p.Centre, length)
	} else { // what scatters has come through the nearest part of the field
		shift := r3.Add(r3.Scale(math.Copysign(outX, across), s.Across), r3.Scale(math.Copysign(outY, along), s.Along))
		ray, at := r3.Sub(ray, shift), r3.Sub(p.Centre, shift)
		to.slant, to.gap, to.crosses = x.passage.Crossing(ray, at, math.Sqrt(r3.Norm2(ray)))
	}
	if x.core != nil {
		halfWidth, halfHeight, across, along = x.core.HalfWidth*depth, x.core.HalfHeight*depth, 0, 0
	}
	to.left, to.right, to.below, to.above = halfWidth+across, halfWidth-across, halfHeight+along, halfHeight-along
	to.side = 4 * halfWidth * halfHeight / (halfWidth + halfHeight)
	kerma := float64(s.Kerma) * (float64(s.RefDistance) * per) * (float64(s.RefDistance) * per)
	return quantity.Gray(kerma * x.per(&to)), place{depth, off}, lies
}

// hidden tells whether another part of the body lies before a patch.
func (x *exposed) hidden(patch int, ray r3.Vec) bool {
	return !x.clear && x.body.Blocked(patch, x.shot.Focus, ray)
}

// per gives the absorbed dose at a point per air kerma free in air at its distance, eq. (6.1).
func (x *exposed) per(to *point) float64 {
	if !to.crosses {
		if x.open == nil {
			x.open = x.optics.open()
		}
		return x.open.scattered(to) * x.open.tissue
	}
	if x.behind == nil {
		x.behind, x.paths = x.optics.behind(), x.optics.paths()
	}
	through := x.paths.Transmission(to.slant)
	if x.table != 0 {
		through *= math.Exp(x.table * min(to.slant, mostSlant))
	}
	return through * (x.behind.scattered(to) + fromTable(x.optics.mass, to)) * x.behind.tissue
}

// lands tells whether any part of the field meets the body: its axis, or one of eight rays along its edges. A field that
// passes by scatters nowhere. Skin without a body behind it goes on without end.
func (x *exposed) lands() bool {
	if x.meets == unasked {
		x.meets = no
		if x.body.Dimensions == (body.Dimensions{}) || x.enters() {
			x.meets = yes
		}
	}
	return x.meets == yes
}

func (x *exposed) enters() bool {
	s := x.shot
	for _, t := range [...][2]float64{{0, 0}, {1, 0}, {-1, 0}, {0, 1}, {0, -1}, {1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
		ray := r3.Add(s.Toward, r3.Add(r3.Scale(t[0]*s.HalfWidth, s.Across), r3.Scale(t[1]*s.HalfHeight, s.Along)))
		if _, ok := x.body.Enter(s.Focus, r3.Unit(ray)); ok {
			return true
		}
	}
	return false
}
