package organ

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/transport"
)

// Beam is a group of shots that differ so little that their means stand for them, eq. (10.2).
type Beam struct {
	Source transport.Source
	Arms   transport.Arms
	// KAPGycm2 is the kerma-area product that reaches the patient, ShownGycm2 what was displayed for it, in Gy cm2.
	KAPGycm2, ShownGycm2 float64
	// TablePart is the share of KAPGycm2 that came through the table.
	TablePart float64
	// Shots is how many were joined.
	Shots int
}

// The bins in which shots are joined: within one the effective dose per kerma-area product changes by 10 % at the worst, and
// the weighted means of the members make what is left second order.
// Source: computed by the project: E/KAP of chest beams at 0, 45 and -30 degrees, 0.288, 0.333 and 0.364 mSv per Gy cm2.
const (
	angleBin    = 10.0 // degrees
	placeBin    = 20.0 // mm, of the point the axis goes through in the middle of the body
	sideBin     = 20.0 // mm, of the field's sides there
	distanceBin = 50.0 // mm, from the focus to there
)

// steep is the angle to the front-back axis in degrees from which arms alongside would lie in the beam.
// Source: common practice, no source; the angle is judgement.
const steep = 20.0

// seen is a shot as grouping sees it.
type seen struct {
	shot   *exposure.Shot
	centre r3.Vec // on the axis, nearest to the axis of the body
	depth  float64
	entry  entry
	key    [9]int
}

func see(s *exposure.Shot, e entry) seen {
	level := s.Toward.X*s.Toward.X + s.Toward.Y*s.Toward.Y
	depth := float64(s.RefDistance) + beyondReference
	if level > 0.01 { // else the beam runs along the body
		depth = -(s.Focus.X*s.Toward.X + s.Focus.Y*s.Toward.Y) / level
	}
	v := seen{shot: s, depth: depth, centre: r3.Add(s.Focus, r3.Scale(depth, s.Toward)), entry: e}
	bin := func(x, width float64) int { return int(math.Floor(x/width + 0.5)) }
	primary := math.Atan2(s.Toward.X, -s.Toward.Y) * 180 / math.Pi
	secondary := math.Asin(max(-1, min(1, s.Toward.Z))) * 180 / math.Pi
	turned := math.Atan2(s.Across.Z, s.Along.Z) * 180 / math.Pi
	v.key = [9]int{
		bin(primary, angleBin), bin(secondary, angleBin), bin(v.centre.X, placeBin), bin(v.centre.Y, placeBin), bin(v.centre.Z, placeBin),
		bin(2*s.HalfWidth*depth, sideBin), bin(2*s.HalfHeight*depth, sideBin), bin(depth, distanceBin), bin(turned, 3*angleBin),
	}
	return v
}

// beyondReference is how far the isocentre lies behind the reference point of a C-arm, in mm.
// Source: IEC 60601-2-43:2010, patient entrance reference point; known from memory.
const beyondReference = 150

// join makes the beams of all shots, in the order of their keys.
func join(all []seen, alongside bool) ([]Beam, error) {
	slices.SortStableFunc(all, func(a, b seen) int { return slices.Compare(a.key[:], b.key[:]) })
	var beams []Beam
	for first := 0; first < len(all); {
		end := first + 1
		for end < len(all) && all[end].key == all[first].key {
			end++
		}
		b, err := joined(all[first:end])
		if err != nil {
			return nil, err
		}
		b.Arms = armsFor(b.Source.Toward, alongside)
		beams = append(beams, b)
		first = end
	}
	return beams, nil
}

// joined is the beam of shots of one key: the means of their geometry weighted by kerma-area product, and the mixture of
// their spectra, which is exact.
func joined(group []seen) (Beam, error) {
	b := Beam{Shots: len(group)}
	var focus, centre, along r3.Vec
	var width, height, table, weights float64
	mixture := newMixture()
	for _, v := range group {
		w := v.entry.through + v.entry.beside
		b.KAPGycm2 += w
		b.ShownGycm2 += v.entry.shown
		table += v.entry.through
		w = max(w, tinyGycm2) // a group without dose still has a place
		weights += w
		focus, centre = r3.Add(focus, r3.Scale(w, v.shot.Focus)), r3.Add(centre, r3.Scale(w, v.centre))
		along = r3.Add(along, r3.Scale(w, v.shot.Along))
		width, height = width+w*v.shot.HalfWidth*v.depth, height+w*v.shot.HalfHeight*v.depth
		mixture.add(v.entry)
	}
	focus, centre = r3.Scale(1/weights, focus), r3.Scale(1/weights, centre)
	axis := r3.Sub(centre, focus)
	depth := r3.Norm(axis)
	if !(depth > 0) {
		return Beam{}, fmt.Errorf("beam of event %d: its focus lies in the middle of the body", group[0].shot.Event+1)
	}
	toward := r3.Scale(1/depth, axis)
	along = r3.Unit(r3.Sub(along, r3.Scale(r3.Dot(along, toward), toward)))
	b.Source = transport.Source{
		Focus: focus, Toward: toward, Along: along, Across: r3.Cross(along, toward),
		HalfWidth: width / weights / depth, HalfHeight: height / weights / depth, Spectrum: mixture.photons(),
	}
	if b.KAPGycm2 > 0 {
		b.TablePart = table / b.KAPGycm2
	}
	return b, nil
}

const tinyGycm2 = 1e-12

// armsFor chooses the body: arms alongside when somebody says so; else raised, and for steep beams the narrower trunk without
// the tissue of arms.
func armsFor(toward r3.Vec, alongside bool) transport.Arms {
	switch {
	case alongside:
		return transport.ArmsAlongside
	case math.Abs(toward.Y) < math.Cos(steep*math.Pi/180):
		return transport.ArmsAway
	}
	return transport.ArmsRaised
}

// byKAP sorts beams so that those that give most come first.
func byKAP(a, b Beam) int { return cmp.Compare(b.KAPGycm2, a.KAPGycm2) }
