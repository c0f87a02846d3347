package exposure

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Part is how well one factor of the estimate is known.
type Part struct {
	// Percent is one standard deviation.
	Percent quantity.Percent
	// Words say why.
	Words string
}

// Knowledge is how well each part of the estimate is known that the way of the beam decides; the air kerma display is
// known or not by its calibration, elsewhere. The standard deviations are judgement, near published
// budgets: Source: Krajinovic M, Vujisic M, Ciraj-Bjelac O 2021, Radiat Prot Dosim 195:129-135, expanded 13, 28 and
// 61 % for three states of control; read in an index of it.
type Knowledge struct {
	Distance, Table, Backscatter, Tissue, Place Part
	// Play is how far the patient and the beams may be from where they are taken to be.
	Play Play
	// LittleKnown tells that the geometry cannot be as reported, such as a skin nearer than the equipment allows.
	LittleKnown bool
}

// Play is one standard deviation of what cannot be given as a part of the dose: it moves skin and beams against each
// other. All events share it but for Between.
type Play struct {
	// BodySize is that of width and depth of the patient, relative.
	BodySize float64
	// Across and Along are those of the patient's place on the table, in mm.
	Across, Along quantity.Millimetre
	// Between is that of one event's place against the others', across and along, in mm.
	Between quantity.Millimetre
	// FieldSide is that of the sides of the fields, relative.
	FieldSide float64
}

// play gives the standard deviations by what is known, all judgement: 1 cm of 40 cm across with a measured thickness,
// the spread of builds at one height and weight, and that of people; a table's zero and how a patient lies on it; blades
// within some 5 mm at the detector.
func (t *tracer) play() Play {
	p := Play{BodySize: 0.15, Across: 40, Along: 60, Between: 30, FieldSide: 0.10}
	if _, measured := positive(t.facts.PatientThickness); measured {
		p.BodySize = 0.04
	} else if t.body.Fitted {
		p.BodySize = 0.08
	}
	switch all := t.known.all; {
	case all.fixed:
		p.Across, p.Along, p.Between = 10, 20, 2
	case all.related:
		p.Across, p.Along, p.Between = 20, 40, 5
	}
	if !t.known.all.sited {
		p.Along = 100
	}
	if t.known.all.size {
		p.FieldSide = 0.02
	}
	return p
}

// seen is what one event showed of its geometry and beam.
type seen struct {
	height   bool // the table top's height against the isocentre
	related  bool // lateral and longitudinal motion of the table
	fixed    bool // and their zeros
	sited    bool // the place along the body
	beam     bool // voltage and filter
	inherent bool // inherent filtration
	size     bool // the field's two sides and their distance from the focus
	// distances tells that source to isocentre and reference point are known.
	distances bool
}

// and joins what all events showed.
func (s seen) and(o seen) seen {
	return seen{
		s.height && o.height, s.related && o.related, s.fixed && o.fixed, s.sited && o.sited,
		s.beam && o.beam, s.inherent && o.inherent, s.size && o.size, s.distances && o.distances,
	}
}

// evidence gathers over the placed events what Knowledge asks for.
type evidence struct {
	all             seen
	events          int
	kerma, ofHead   quantity.Gray
	headBeginsAbove float64 // mm, body axes
}

func (v *evidence) add(now seen, kerma quantity.Gray, height float64) {
	if v.events == 0 {
		v.all = now
	}
	v.all = v.all.and(now)
	v.events++
	v.kerma += kerma
	if height > v.headBeginsAbove {
		v.ofHead += kerma
	}
}

// knowledge sums up what was known.
func (t *tracer) knowledge() Knowledge {
	return Knowledge{
		Distance: t.distanceKnown(), Table: t.tableKnown(), Backscatter: t.backscatterKnown(),
		Tissue: Part{1, "tissue factor of soft tissue"}, Place: t.placeKnown(), LittleKnown: t.littleKnown, Play: t.play(),
	}
}

func (t *tracer) distanceKnown() Part {
	_, measured := positive(t.facts.PatientThickness)
	switch {
	case !t.known.all.distances:
		return Part{16, "distance from focus to isocentre or reference point assumed"}
	case t.known.all.height && measured:
		return Part{3, "table height against the isocentre known, patient thickness measured"}
	case t.known.all.height && t.body.Fitted:
		return Part{8, "table height against the isocentre known, patient height and weight known"}
	case t.known.all.height:
		return Part{16, "table height against the isocentre known, patient height or weight unknown"}
	}
	return Part{16, "table height against the isocentre unknown"}
}

func (t *tracer) tableKnown() Part {
	switch {
	case len(t.profile.Layers) > 0 && t.profile.LayersKnown == procedure.TableMeasured:
		return Part{3, "table and mattress measured"}
	case len(t.profile.Layers) > 0:
		return Part{6, "table and mattress by typed layers"}
	}
	return Part{12, "table and mattress by default"}
}

func (t *tracer) backscatterKnown() Part {
	all := t.known.all
	switch {
	case t.known.ofHead > t.known.kerma/2:
		return Part{6, "backscatter of the head, taken as of water"}
	case all.beam && all.inherent && all.size:
		return Part{3, "backscatter with voltage, filters, inherent filtration and field known"}
	case all.beam:
		return Part{4, "backscatter with voltage and filters known"}
	}
	return Part{6, "backscatter with voltage or filters assumed"}
}

func (t *tracer) placeKnown() Part {
	all := t.known.all
	switch {
	case !all.sited:
		return Part{15, "place along the body unknown"}
	case all.fixed:
		return Part{2, "zeros of the table positions known"}
	case all.related:
		return Part{8, "motion of the table known, its zeros not"}
	}
	return Part{15, "motion of the table unknown"}
}
