package transport

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
)

// ErrDetector marks a detector that cannot be.
var ErrDetector = errors.New("impossible detector")

// Detector scores the kerma of photons that cross a plane, in rings and squares about a point: eq. (9.7). Lengths in mm.
type Detector struct {
	// At is a point of the plane, Normal its unit normal.
	At, Normal r3.Vec
	// U and V turn the place from At into coordinates: u = place . U, v = place . V. Unit vectors make rings round; U and V
	// perpendicular to a slanting beam measure the field as the beam does.
	U, V r3.Vec
	// Circles are rising radii of u2 + v2, Squares rising half sides of max(|u|, |v|): scored is what lies within each.
	Circles, Squares []float64
	// Media are those in which kerma is scored.
	Media []beam.Material
}

// grazing is the cosine under which a crossing counts as half of it: the usual cut of an estimator with 1/cos; its error
// is a small part of the share of photons that graze so much.
const grazing = 0.01

// plate is a detector in a plan: its scores begin at first and lie as [medium][primary, scattered][bin].
type plate struct {
	Detector
	squared   []float64 // radii squared
	absorbers []*absorber
	first     int
	bins      int
}

func newPlate(d Detector, first int) (*plate, error) {
	p := &plate{Detector: d, first: first, bins: len(d.Circles) + len(d.Squares)}
	for _, list := range [][]float64{d.Circles, d.Squares} {
		for i, v := range list {
			if !(v > 0) || i > 0 && v <= list[i-1] {
				return nil, fmt.Errorf("%w: radii or half sides %v, want rising positive lengths", ErrDetector, list)
			}
		}
	}
	if p.bins == 0 || len(d.Media) == 0 || !(math.Abs(r3.Norm2(d.Normal)-1) < 1e-9) {
		return nil, fmt.Errorf("%w: it needs a ring or a square, a medium and a unit normal", ErrDetector)
	}
	for _, r := range d.Circles {
		p.squared = append(p.squared, r*r)
	}
	for _, m := range d.Media {
		a, err := newAbsorber(m)
		if err != nil {
			return nil, err
		}
		p.absorbers = append(p.absorbers, a)
	}
	return p, nil
}

func (p *plate) scores() int { return len(p.Media) * 2 * p.bins }

// flight scores a photon that flies from a point over a length, which may be infinite.
func (p *plate) flight(scores []float64, from, to [3]float64, length, weighted float64, at place, scattered int) {
	slope := to[0]*p.Normal.X + to[1]*p.Normal.Y + to[2]*p.Normal.Z
	height := (from[0]-p.At.X)*p.Normal.X + (from[1]-p.At.Y)*p.Normal.Y + (from[2]-p.At.Z)*p.Normal.Z
	if height*slope >= 0 {
		return // on its way from the plane, or along it
	}
	way := -height / slope
	if way > length {
		return
	}
	x, y, z := from[0]+way*to[0]-p.At.X, from[1]+way*to[1]-p.At.Y, from[2]+way*to[2]-p.At.Z
	u := x*p.U.X + y*p.U.Y + z*p.U.Z
	v := x*p.V.X + y*p.V.Y + z*p.V.Z
	cos := math.Abs(slope)
	if cos < grazing {
		cos = grazing / 2
	}
	for m, a := range p.absorbers {
		score := weighted * a.at(at) / cos
		row := scores[p.first+(2*m+scattered)*p.bins:]
		p.into(row[:p.bins], u, v, score)
	}
}

// into adds a score to the smallest ring and the smallest square that hold the point.
func (p *plate) into(row []float64, u, v, score float64) {
	square := u*u + v*v
	for i, r := range p.squared {
		if square <= r {
			row[i] += score
			break
		}
	}
	far := max(math.Abs(u), math.Abs(v))
	for i, h := range p.Squares {
		if far <= h {
			row[len(p.squared)+i] += score
			break
		}
	}
}
