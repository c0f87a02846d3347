package body

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Excerpt gives a body with some patches of the skin alone, in the same order, between the same parts that cast shadows.
// keep has one entry for each patch.
func (b *Body) Excerpt(keep []bool) *Body {
	out := *b
	out.Patches, out.Groups = nil, nil
	for _, g := range b.Groups {
		first := len(out.Patches)
		for i := g.First; i < g.End; i++ {
			if keep[i] {
				out.Patches = append(out.Patches, b.Patches[i])
			}
		}
		if len(out.Patches) > first {
			out.Groups = append(out.Groups, enclose(out.Patches[first:], first))
		}
	}
	return &out
}

// Widened gives the body wider and deeper by a positive factor, its skin patch by patch and its parts alike; lengths along
// the body, names and the unrolled map stay.
func (b *Body) Widened(by float64) *Body {
	out := *b
	out.Patches = make([]Patch, len(b.Patches))
	for i, p := range b.Patches {
		p.Centre.X, p.Centre.Y = by*p.Centre.X, by*p.Centre.Y
		if p.Normal.Z != 0 {
			p.Normal = r3.Unit(r3.Vec{X: p.Normal.X / by, Y: p.Normal.Y / by, Z: p.Normal.Z})
		}
		out.Patches[i] = p
	}
	out.Groups = make([]Group, len(b.Groups))
	for i, g := range b.Groups {
		out.Groups[i] = g.widened(out.Patches[g.First:g.End], by)
	}
	out.solids = make([]solid, len(b.solids))
	for i, s := range b.solids {
		s.a, s.b, s.x0 = by*s.a, by*s.b, by*s.x0
		out.solids[i] = s
	}
	d := &out.Dimensions
	for _, v := range []*float64{&d.TrunkHalfWidth, &d.TrunkHalfDepth, &d.NeckRadius, &d.HeadHalfWidth, &d.HeadHalfDepth} {
		*v *= by
	}
	return &out
}

// widened gives a group of patches that were widened. On an upright part the normals stay as they are, and no distance
// grows by more than the factor.
func (g Group) widened(patches []Patch, by float64) Group {
	for i := range patches {
		if patches[i].Normal.Z != 0 {
			return enclose(patches, g.First)
		}
	}
	g.Centre.X, g.Centre.Y = by*g.Centre.X, by*g.Centre.Y
	g.Radius *= max(by, 1) * (1 + 1e-12)
	return g
}

// Split gives the body with each patch cut into equal pieces of at most area cm2, laid out around its centre in its
// plane: on curved skin a piece lies within a hair of it.
func (b *Body) Split(area float64) *Body {
	out := *b
	out.Patches, out.Groups = nil, nil
	for _, g := range b.Groups {
		first := len(out.Patches)
		for i := g.First; i < g.End; i++ {
			out.Patches = append(out.Patches, b.Patches[i].pieces(area)...)
		}
		out.Groups = append(out.Groups, enclose(out.Patches[first:], first))
	}
	return &out
}

// pieces cuts a patch into n by n.
func (p Patch) pieces(area float64) []Patch {
	n := count(math.Sqrt(p.Area), math.Sqrt(area))
	along := r3.Vec{Y: 1}
	if p.Normal.Z*p.Normal.Z < 0.99 {
		along = r3.Unit(r3.Sub(r3.Vec{Z: 1}, r3.Scale(p.Normal.Z, p.Normal)))
	}
	around := r3.Cross(along, p.Normal)
	edge := math.Sqrt(p.Area*cm2) / float64(n)
	out := make([]Patch, 0, n*n)
	for i := range n {
		for j := range n {
			x, y := edge*(float64(i)-float64(n-1)/2), edge*(float64(j)-float64(n-1)/2)
			piece := p
			piece.Area /= float64(n * n)
			piece.Centre = r3.Add(p.Centre, r3.Add(r3.Scale(x, around), r3.Scale(y, along)))
			piece.Across, piece.Up = p.Across+x, p.Up+y
			out = append(out, piece)
		}
	}
	return out
}
