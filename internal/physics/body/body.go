package body

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrPatch marks a size of patch that cannot be built.
var ErrPatch = errors.New("size of patch out of range")

// DefaultPatch is the largest area of a patch, in cm2, when none is asked for.
const DefaultPatch = 1.0

// The range of the largest area of a patch in cm2: finer gives millions of patches, coarser no map.
const minPatch, maxPatchArea = 0.01, 100.0

// Group is a run of neighbouring patches of one part with what is needed to reject them all at once: a sphere that holds their
// centres and a cone that holds their normals.
type Group struct {
	// First and End are the run: patches First up to but not including End.
	First, End int
	Centre     r3.Vec  // mm, body axes
	Radius     float64 // mm
	Axis       r3.Vec  // unit
	CosHalf    float64 // cosine of the half-angle of the cone
}

// Body is the outside of one patient. It does not change after New.
type Body struct {
	// Name says which body it is, such as "adult 73 kg 178.6 cm, scaled to 90 kg 180 cm".
	Name string
	// Patches are the skin; a patch's index is its identity within this body.
	Patches []Patch
	// Groups cover Patches in order.
	Groups []Group
	// Assumptions are what had to be taken for granted, in plain words.
	Assumptions []string
	// Dimensions are the scaled lengths.
	Dimensions Dimensions
	// Fitted tells that both height and weight were given, could be believed, and were used.
	Fitted bool

	solids []solid
	sheets []Sheet
	arms   []arm
}

// New makes the body of a patient, with patches of at most maxPatch cm2 (0 is DefaultPatch). A height, weight or age
// that a person cannot have counts as absent and is listed in Assumptions. It returns ErrPatch for a size of patch
// outside 0.01 to 100 cm2.
func New(size Size, maxPatch float64) (*Body, error) {
	if maxPatch == 0 {
		maxPatch = DefaultPatch
	}
	if !(maxPatch >= minPatch && maxPatch <= maxPatchArea) {
		return nil, fmt.Errorf("%w: %v cm2, want 0.01 to 100 cm2", ErrPatch, maxPatch)
	}
	size, said := size.believed()
	m, chosen := choose(size.AgeYears)
	if chosen != "" {
		said = append(said, chosen)
	}
	dimensions, name, missing := m.scaled(size)
	said = append(said, missing...)
	said = append(said, size.armWords())
	b := &Body{
		Name: name, Assumptions: said, Dimensions: dimensions, solids: solids(dimensions),
		Fitted: size.Height.Present() && size.Weight.Present(),
	}
	if size.ArmsAlongside {
		b.Name += ", arms alongside"
		b.arms = armsOf(dimensions)
		for _, a := range b.arms {
			b.solids = append(b.solids, a.solid())
		}
	}
	b.build(10 * math.Sqrt(maxPatch))
	return b, nil
}

// Facing tells whether the patch looks towards the focus.
func (b *Body) Facing(patch int, focus r3.Vec) bool {
	p := &b.Patches[patch]
	return p.Normal.X*(focus.X-p.Centre.X)+p.Normal.Y*(focus.Y-p.Centre.Y)+p.Normal.Z*(focus.Z-p.Centre.Z) > 0
}

// Shadowed tells whether the body itself lies between focus and patch: the part the patch belongs to, when the patch
// looks away, or another part. Every part is convex, so a patch that faces the focus is never in its own shadow.
func (b *Body) Shadowed(patch int, focus r3.Vec) bool {
	if !b.Facing(patch, focus) {
		return true
	}
	return b.Blocked(patch, focus, r3.Sub(b.Patches[patch].Centre, focus))
}

// Blocked tells of a patch that faces the focus whether another part lies on the ray from there to it.
func (b *Body) Blocked(patch int, focus, ray r3.Vec) bool {
	part := b.Patches[patch].Part
	for i := range b.solids {
		s := &b.solids[i]
		if s.part != part && s.blocks(focus, ray) {
			return true
		}
	}
	return false
}

// MayBlock tells whether a part can lie between the focus and any patch of a group, by heights alone. It may say true where none
// does, never false where one does.
func (b *Body) MayBlock(g *Group, focus r3.Vec) bool {
	part := b.Patches[g.First].Part
	low, high := min(focus.Z, g.Centre.Z-g.Radius), max(focus.Z, g.Centre.Z+g.Radius)
	for i := range b.solids {
		s := &b.solids[i]
		if s.part != part && high > s.low && low < s.high {
			return true
		}
	}
	return false
}

// Inside tells whether a point of the body axes is within the body.
func (b *Body) Inside(p r3.Vec) bool {
	for i := range b.solids {
		if b.solids[i].holds(p) {
			return true
		}
	}
	return false
}

// Enter gives the distance in mm from a point along a unit direction to where the ray first meets the body, and
// whether it does; 0 when the point is inside.
func (b *Body) Enter(from, direction r3.Vec) (float64, bool) {
	best, found := 0.0, false
	for i := range b.solids {
		if t, ok := b.solids[i].enter(from, direction); ok && (!found || t < best) {
			best, found = t, true
		}
	}
	return best, found
}

// HalfDepth gives half the front-back depth in mm of the trunk, neck, head or leg at height z, never of an arm; 0 beyond
// the body.
func (b *Body) HalfDepth(z float64) float64 {
	d := b.Dimensions
	return b.outline(z, d.TrunkHalfDepth, d.NeckRadius, d.HeadHalfDepth, d.TrunkHalfWidth/2)
}

// HalfWidth gives half the left-right width in mm of the trunk, neck, head or both legs at height z, without arms; 0
// beyond the body.
func (b *Body) HalfWidth(z float64) float64 {
	d := b.Dimensions
	return b.outline(z, d.TrunkHalfWidth, d.NeckRadius, d.HeadHalfWidth, d.TrunkHalfWidth)
}

func (b *Body) outline(z, trunk, neck, head, leg float64) float64 {
	d := b.Dimensions
	top := d.TrunkHeight + d.NeckHeight + d.HeadHeight
	switch {
	case z < -d.LegLength || z > top+d.HeadCap:
		return 0
	case z < 0:
		return leg * (1 + z/d.LegTaper)
	case z <= d.TrunkHeight:
		return trunk
	case z <= d.TrunkHeight+d.NeckHeight:
		return neck
	case z <= top:
		return head
	}
	f := (z - top) / d.HeadCap
	return head * math.Sqrt(1-f*f)
}
