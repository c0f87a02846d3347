package skindose

import (
	"math"
	"slices"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// Doubt is one standard deviation of each input of an estimate, common to all beams. Zero is no doubt.
type Doubt struct {
	// Display, Distance, Table, Backscatter and Tissue are those of the dose of a frontal beam, the parts of Budget.
	Display, Distance, Table, Backscatter, Tissue quantity.Percent
	// TableInFactor tells that the table is in the calibration factor: its part then holds for all beams.
	TableInFactor bool
	// Play moves skin and beams against each other.
	Play exposure.Play
	// Arc is that of the kerma at the end of an arc against its mean, relative.
	Arc float64
}

// arcDoubt: automatic control changes the kerma along an arc with the patient's thickness (judgement).
const arcDoubt = 0.2

// doubtOf takes from the budget what it says of factors, and from the course what moves.
func doubtOf(b Budget, k exposure.Knowledge, cal calibration) Doubt {
	return Doubt{
		Display: b[0].Percent, Distance: b[1].Percent, Table: b[2].Percent, Backscatter: b[3].Percent, Tissue: b[4].Percent,
		TableInFactor: cal.behindTable, Play: k.Play, Arc: arcDoubt,
	}
}

// input is one coordinate of a sample.
type input int

const (
	byDisplay input = iota
	byDistance
	byHeight
	bySize
	byTable
	byBackscatter
	byAcross
	byAlong
	byField
	byTilt
	byBow
	byTissue
	inputs
)

// usualDistance is that from focus to skin at which parts of a distance are turned into mm: 5 cm are 16 %, eq. (7.6).
const usualDistance = 630.0

// logs gives the standard deviation of the logarithm that belongs to a part.
func logs(p quantity.Percent) float64 { return math.Log1p(float64(p) / 100) }

// height is the standard deviation in mm of the patient's height for a beam: half of the variance of the distance is
// that of the equipment, half the patient's, less what the patient's depth adds to a beam from below, eq. (7.6).
func (d Doubt) height(s *exposure.Shot, depth float64) float64 {
	half := logs(d.Distance) * usualDistance / 2 / math.Sqrt2
	if s.Anchored {
		return half
	}
	own := d.Play.BodySize * depth
	return math.Sqrt(max(0, half*half-own*own))
}

// log is the standard deviation of the logarithm of the dose for the inputs that multiply every dose alike; the others
// are 0 here.
func (d Doubt) log(i input) float64 {
	switch i {
	case byDisplay:
		return logs(d.Display)
	case byDistance:
		return logs(d.Distance) / math.Sqrt2
	case byBackscatter:
		return logs(d.Backscatter)
	case byTissue:
		return logs(d.Tissue)
	case byTable:
		if d.TableInFactor {
			return logs(d.Table)
		}
	case byHeight, bySize, byAcross, byAlong, byField, byTilt, byBow, inputs:
	}
	return 0
}

// moves tells whether an input changes where beams and skin are, or what single rays meet.
func (d Doubt) moves(i input) bool {
	switch i {
	case byHeight:
		return d.Distance > 0
	case bySize:
		return d.Play.BodySize > 0
	case byTable:
		return d.Table > 0 && !d.TableInFactor
	case byAcross:
		return d.Play.Across > 0
	case byAlong:
		return d.Play.Along > 0
	case byField:
		return d.Play.FieldSide > 0
	case byTilt, byBow:
		return d.Arc > 0
	case byDisplay, byDistance, byBackscatter, byTissue, inputs:
	}
	return false
}

// name names an input for people; the two shapes of an arc have one name.
func (i input) name() string {
	return [inputs]string{
		byDisplay: "air kerma display", byDistance: "distances of the equipment", byHeight: "height of the patient in the beam",
		bySize: "width and depth of the patient", byTable: "table attenuation and scatter", byBackscatter: "backscatter",
		byAcross: "place across the table", byAlong: "place along the table", byField: "field edges",
		byTilt: "kerma along arcs", byBow: "kerma along arcs", byTissue: "tissue",
	}[i]
}

// active lists the inputs that are uncertain and move something.
func (s *sampler) active() []input {
	var out []input
	for k := range inputs {
		if s.doubt.log(k) > 0 || s.acts(k) {
			out = append(out, k)
		}
	}
	return out
}

// acts tells whether an input moves anything in these samples.
func (s *sampler) acts(i input) bool {
	switch i {
	case byTilt, byBow:
		return s.doubt.moves(i) && slices.ContainsFunc(s.shots, func(x exposure.Shot) bool { return x.OnArc != 0 })
	case byTable:
		return s.doubt.moves(i) && len(s.tables) > 0
	case byDisplay, byDistance, byHeight, bySize, byBackscatter, byAcross, byAlong, byField, byTissue, inputs:
	}
	return s.doubt.moves(i)
}

// varied tells one standard deviation of an input in words.
func (s *sampler) varied(i input) string {
	d := s.doubt
	percent := func(v float64) string { return quantity.Significant(v, 2) + " %" }
	switch i {
	case byDisplay:
		return percent(float64(d.Display))
	case byDistance:
		return percent(100*math.Expm1(d.log(byDistance))) + " of the kerma at the skin"
	case byHeight:
		return quantity.Fixed(slices.Max(s.height), 0) + " mm"
	case bySize:
		return percent(100 * d.Play.BodySize)
	case byTable:
		return percent(float64(d.Table)) + " of what passes it at right angles"
	case byBackscatter:
		return percent(float64(d.Backscatter))
	case byAcross:
		return quantity.Fixed(float64(d.Play.Across), 0) + " mm"
	case byAlong:
		return quantity.Fixed(float64(d.Play.Along), 0) + " mm"
	case byField:
		return percent(100*d.Play.FieldSide) + " of the sides"
	case byTilt, byBow:
		return percent(100*d.Arc) + " of the mean at the ends, and at the ends against the middle"
	case byTissue:
		return percent(float64(d.Tissue))
	case inputs:
	}
	return ""
}
