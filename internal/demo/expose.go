package demo

import (
	"math"
	"strconv"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// The rules below stand in for automatic exposure control. They are invented for the demonstration: smooth, of the right
// order, and no property of any equipment.

// path is the way of the central ray through the trunk in cm: the chord through the middle of an ellipse, longer by the
// secondary angle. Source of the reference half-axes and size: Cristy and Eckerman, ORNL/TM-8381, 1987, adult; memory.
func (s subject) path(primary, secondary float64) float64 {
	const halfWidth, halfDepth, height, weight = 20, 10, 1786, 73
	sin, cos := math.Sincos(primary * math.Pi / 180)
	inPlane := math.Sqrt(float64(s.weight) / weight / (float64(s.height) / height))
	chord := 2 * inPlane / math.Hypot(sin/halfWidth, cos/halfDepth)
	return chord / math.Cos(secondary*math.Pi/180)
}

// depth is from the middle of the patient to the back, in mm.
func (s subject) depth() float64 {
	if s.height == 0 {
		return 100
	}
	return s.path(0, 0) * 10 / 2
}

// demand is how much more kerma a pulse needs through cm of tissue than through 22 cm, limited as equipment limits it.
func demand(cm float64) float64 { return min(math.Exp(0.11*(cm-22)), 4.5) }

// voltage grows with the tissue, in kV.
func voltage(cm float64) float64 { return min(max(46+1.35*cm, 55), 118) }

// output is the air kerma in mGy that 1 mA s gives at 1 m behind copper in mm.
func output(kV, copper float64) float64 {
	return 0.075 * math.Pow(kV/80, 2.2) * math.Exp(-2.4*math.Pow(copper, 0.75))
}

// copper is the filter in mm that a mode puts in for cm of tissue: between, it takes the next thinner of the usual plates.
func (m mode) copper(cm float64) float64 {
	share := min(max((cm-20)/14, 0), 1)
	want := m.thin + share*(m.thick-m.thin)
	best := 0.0
	for _, plate := range []float64{0.1, 0.2, 0.3, 0.6, 0.9} {
		if plate <= want+1e-9 {
			best = plate
		}
	}
	return best
}

// exposed is an event before its kerma is settled: the kerma in mGy is what exposure control would ask for.
type exposed struct {
	event procedure.Event
	asked float64
	tube  tube
}

// expose makes the event of one tube for one press of the pedal.
func (s scene) expose(t tube, v view, p press, jitter func() float64) exposed {
	m := p.mode
	primary, secondary := v.primary, v.secondary
	if m.arc > 0 {
		primary, secondary = -m.arc, 0
	} else if s.patient.height > 0 {
		primary, secondary = snap(primary+0.6*jitter(), 1), snap(secondary+0.6*jitter(), 1)
	}
	cm := s.tissue(p.step, m, primary, secondary)
	kV := math.Round(voltage(cm*p.step.density) + jitter())
	distance := m.distance
	if distance == 0 {
		distance = 10 * math.Round((t.toIso+cm*10/2+110+8*jitter())/10)
	}
	height, width := t.height, t.width
	if !m.wholeField {
		height = min(2*math.Round((p.step.height*(1+0.06*jitter()))/2), t.height)
		width = min(2*math.Round((p.step.width*(1+0.06*jitter()))/2), t.width)
	}
	e := procedure.Event{
		Plane: t.plane, Start: p.start, Type: m.kind, Protocol: m.protocol, Target: p.step.region,
		Attitude: recumbent(), Direction: procedure.HeadFirst, Posture: procedure.Supine,
		RefPoint: referencePoint(), Technique: technique(m, p.pulses, kV), Filters: filters(m.copper(cm * p.step.density)),
		Field: procedure.Field{
			Area:   quantity.Some(quantity.SquareMetre(snap(height*width*1e-6, 6))),
			Height: quantity.Some(quantity.Millimetre(height)),
			Width:  quantity.Some(quantity.Millimetre(width)),
		},
		Mechanics: procedure.Mechanics{
			Primary: quantity.Some(quantity.Degree(primary)), Secondary: quantity.Some(quantity.Degree(secondary)),
			SourceToIsocentre: quantity.Some(quantity.Millimetre(t.toIso)),
			SourceToReference: quantity.Some(quantity.Millimetre(t.toRef())),
			SourceToDetector:  quantity.Some(quantity.Millimetre(distance)),
			TableLongitudinal: quantity.Some(quantity.Millimetre(p.table[0])),
			TableLateral:      quantity.Some(quantity.Millimetre(p.table[1])),
			TableHeight:       quantity.Some(quantity.Millimetre(p.table[2])),
		},
	}
	if m.arc > 0 {
		e.Mechanics.PrimaryEnd = quantity.Some(quantity.Degree(m.arc))
		e.Mechanics.SecondaryEnd = quantity.Some(quantity.Degree(0))
	}
	e.Technique.WaterEquiv = quantity.Some(quantity.Millimetre(math.Round(cm * p.step.density * 10)))
	asked := float64(p.pulses) * m.kerma * demand(cm*p.step.density) * (1 + 0.08*jitter())
	return exposed{e, asked, t}
}

// tissue is the path in cm that exposure control sees; on a rotation the mean of back and side.
func (s scene) tissue(st *step, m mode, primary, secondary float64) float64 {
	switch {
	case st.thickness > 0:
		return st.thickness
	case m.arc > 0:
		return (s.patient.path(0, 0) + s.patient.path(90, 0)) / 2
	}
	return s.patient.path(primary, secondary)
}

func technique(m mode, pulses int, kV float64) procedure.Technique {
	t := procedure.Technique{
		Pulses:       quantity.Some(float64(pulses)),
		PulseWidths:  []quantity.Second{quantity.Second(m.width / 1000)},
		Duration:     quantity.Some(quantity.Second(float64(pulses) / m.rate)),
		Voltages:     []quantity.Kilovolt{quantity.Kilovolt(kV)},
		ExposureTime: quantity.Some(quantity.Second(snap(float64(pulses)*m.width, 1) / 1000)),
		FocalSpot:    quantity.Some(quantity.Millimetre(m.focus)),
		Anode:        sct("26194003", "Tungsten"),
	}
	// PS3.16 TID 10003B rows 5 and 6: mode and rate belong to fluoroscopy.
	if m.kind == procedure.Fluoroscopy {
		t.PulsedKnown, t.Pulsed = true, true
		t.PulseRate = quantity.Some(quantity.PerSecond(m.rate))
	}
	return t
}

// filters lists the fixed aluminium, which shows that the filtration is known, and the copper when there is any.
func filters(copper float64) []procedure.Filter {
	flat := func(metal procedure.Metal, material procedure.Code, mm float64) procedure.Filter {
		thickness := quantity.Some(quantity.Millimetre(mm))
		return procedure.Filter{
			Type: procedure.FilterFlat, Metal: metal, Material: material, Min: thickness, Max: thickness,
		}
	}
	list := []procedure.Filter{flat(procedure.Aluminium, sct("12503006", "Aluminum"), 1)}
	if copper > 0 {
		list = append(list, flat(procedure.Copper, sct("66925006", "Copper"), copper))
	}
	return list
}

// settle gives the event its kerma: the kerma asked for times factor, the KAP through the field at the reference point,
// and the tube current that makes that kerma.
func (x exposed) settle(factor float64) procedure.Event {
	e := x.event
	kerma := snap(x.asked*factor*1e-3, 8)
	distance, _ := e.Mechanics.SourceToDetector.Get()
	area, _ := e.Field.Area.Get()
	shrink := x.tube.toRef() / float64(distance)
	e.RefKerma = quantity.Some(quantity.Gray(kerma))
	e.KAP = quantity.Some(quantity.GraySquareMetre(snap(kerma*float64(area)*shrink*shrink, 10)))

	copper := 0.0
	if len(e.Filters) > 1 {
		copper = float64(e.Filters[1].Max.Or(0))
	}
	perMilliampereSecond := output(float64(e.Technique.Voltages[0]), copper) * math.Pow(1000/x.tube.toRef(), 2)
	beamOn := float64(e.Technique.ExposureTime.Or(0))
	current := snap(kerma*1e3/perMilliampereSecond/beamOn, 1)
	e.Technique.Currents = []quantity.Milliampere{quantity.Milliampere(current)}
	e.Technique.MeanCurrent = quantity.Some(quantity.Milliampere(current))
	perPulse := snap(current*float64(e.Technique.PulseWidths[0]), 6)
	e.Technique.Exposures = []quantity.MilliampereSecond{quantity.MilliampereSecond(perPulse)}
	return e
}

// snap rounds to a number of decimals, as equipment does before it writes.
func snap(v float64, decimals int) float64 {
	p, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', decimals, 64), 64)
	if err != nil || p == 0 {
		return 0 // never -0, and no number of the tables is out of range
	}
	return p
}
