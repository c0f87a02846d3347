package demo

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"afterbeam/internal/procedure"
)

// origin starts the chance of every case; the case's place in the list is the stream.
const origin = 0x5a17_3a25

// press is one press of the pedal.
type press struct {
	step   *step
	mode   mode
	view   view
	pulses int
	start  procedure.Moment
	table  [3]float64 // displayed longitudinal, lateral, height in mm
	at     float64    // place in the step, 0 to 1
}

func chance(stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(origin, stream)) //nolint:gosec // a scenario must come out the same each time
}

// plan lays out the presses of a case in order, with times and table positions.
func (s scene) plan(rng *rand.Rand) []press {
	var all []press
	for i := range s.steps {
		all = append(all, s.steps[i].presses(rng)...)
	}
	s.moveTable(all, rng)
	s.setTimes(all, rng)
	return all
}

// presses mixes the runs of a step evenly over it.
func (st *step) presses(rng *rand.Rand) []press {
	var list []press
	for _, r := range st.runs {
		spread := 0.55
		if r.mode.fixed {
			spread = 0
		}
		for i, share := range shares(r.presses, spread, rng) {
			at := (float64(i) + rng.Float64()) / float64(r.presses)
			if r.mode.kind != procedure.Fluoroscopy {
				at = (float64(i) + 0.5 + 0.5*rng.Float64()) / float64(r.presses) // a look precedes a run
			}
			pulses := max(1, int(math.Round(share*r.seconds*r.mode.rate)))
			list = append(list, press{step: st, mode: r.mode, view: st.viewAt(at), pulses: pulses, at: at})
		}
	}
	slices.SortStableFunc(list, func(a, b press) int {
		switch {
		case a.at < b.at:
			return -1
		case a.at > b.at:
			return 1
		}
		return 0
	})
	return list
}

// viewAt gives the view at a place of the step: the views come one after another, each for its share, pass by pass.
func (st *step) viewAt(at float64) view {
	total := 0.0
	for _, v := range st.views {
		total += v.weight
	}
	_, within := math.Modf(at * float64(max(st.passes, 1)))
	within *= total
	for _, v := range st.views {
		if within < v.weight {
			return v
		}
		within -= v.weight
	}
	return st.views[len(st.views)-1]
}

// moveTable puts the step's place of the body at the isocentre and lets the table wander a little. The table's reference
// point, whose place the display tells, lies under the trunk base of the patient.
func (s scene) moveTable(list []press, rng *rand.Rand) {
	const referenceHeight = 1786
	size := 1.0
	if s.patient.height > 0 {
		size = float64(s.patient.height) / referenceHeight
	}
	var last *step
	var head, left, down, wander, sway float64
	for i := range list {
		st := list[i].step
		if st != last {
			last, wander, sway = st, 6*rng.NormFloat64(), 4*rng.NormFloat64()
			down = s.patient.depth() + s.room.table.mattress + math.Round(5*rng.NormFloat64())
		} else if rng.Float64() < 0.25 {
			wander = limit(wander+7*rng.NormFloat64(), 20)
			sway = limit(sway+4*rng.NormFloat64(), 12)
		}
		// The table moves footward to bring a place nearer the head to the isocentre.
		head, left = -10*st.along*size+wander, -st.left+sway
		t := s.room.table
		list[i].table = [3]float64{
			snap(t.longitudinal.display(head), 0), snap(t.lateral.display(left), 0), snap(t.height.display(down), 0),
		}
	}
}

// setTimes spreads the presses over the length of the case; they never overlap.
func (s scene) setTimes(list []press, rng *rand.Rand) {
	beam := 0.0
	for _, p := range list {
		beam += p.seconds()
	}
	pauses := shares(len(list), 1, rng)
	idle := max(s.minutes*60-beam, float64(len(list)))
	at := 0.0
	for i := range list {
		list[i].start = timed(s.start.Add(time.Duration(math.Ceil(at)) * time.Second))
		at = math.Ceil(at) + list[i].seconds() + pauses[i]*idle
	}
}

func (p press) seconds() float64 { return float64(p.pulses) / p.mode.rate }

// shares cuts 1 into n log-normal pieces.
func shares(n int, sigma float64, rng *rand.Rand) []float64 {
	list := make([]float64, n)
	sum := 0.0
	for i := range list {
		list[i] = math.Exp(sigma * rng.NormFloat64())
		sum += list[i]
	}
	for i := range list {
		list[i] /= sum
	}
	return list
}

func limit(v, most float64) float64 { return max(-most, min(v, most)) }
