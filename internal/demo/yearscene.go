package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// doses are the three that a case of the year is to show.
type doses struct{ kerma, kap, minutes float64 } // Gy, Gy cm2, of fluoroscopy

// together is how much of each dose's logarithm is what the doses of a case have in common: their correlation is its square, 0.77.
// Source of 0.7 to 0.8: judgement beside 0.83 (kerma-area product and kerma) and 0.79 (time and kerma) of the RAD-IR study.
const together = 0.877

// doses draws what a visit is to show.
func (v visit) doses(rng *rand.Rand) doses {
	one := func(s spread) float64 {
		z := together*v.g + math.Sqrt(1-together*together)*rng.NormFloat64()
		return s.median * math.Exp(s.sigma*limit(z, 2.6))
	}
	d := doses{one(v.kind.kerma), one(v.kind.kap), one(v.kind.fluoro)}
	if v.changed() {
		d.kerma, d.kap = d.kerma*changeFactor, d.kap*changeFactor
	}
	return d
}

// The change of a protocol in Cath 2: new software brought fluoroscopy at 15 in place of 7.5 pulses a second, and somebody saw it
// in the chart of September. Invented.
const (
	changeFrom, changeTo = "2026-09-01", "2026-10-07"
	changeFactor         = 1.8
)

func (v visit) day() string { return v.start.Format("2006-01-02") }

func (v visit) changed() bool {
	return v.pattern.room.device.Station == cath2().device.Station && v.day() >= changeFrom && v.day() <= changeTo
}

// scene tells the visit as a table would tell it.
func (v visit) scene(number int, s subject, d doses) scene {
	told := scene{
		file:  fmt.Sprintf("year-%s-%s-%04d.dcm", v.day(), strings.ToLower(v.pattern.room.device.Name), number),
		title: v.word + " (synthetic)", room: v.pattern.room, patient: s, description: v.word + " (synthetic)",
		accession: fmt.Sprintf("SYNY-%05d", number), start: v.start, minutes: v.minutes, kerma: quantity.Gray(d.kerma),
		operators: v.team(number), intent: v.pattern.intent,
	}
	if told.room.device.Station == cath2().device.Station && v.day() >= changeFrom {
		told.room.device.Software = "synthetic 1.1"
	}
	if len(v.pattern.steps) == 0 {
		told.totalsOnly = []procedure.PlaneTotal{d.alone()}
		return told
	}
	told.steps = v.stretched(d)
	told.minutes = max(told.minutes, 1.6*d.minutes)
	return told
}

// team names who did it: a case has one of the class's operators, and a radiographer.
func (v visit) team(number int) []procedure.Person {
	who := cardiologist
	if v.pattern.surgeons {
		who = surgeon
	}
	letter := v.pattern.team[number*7%len(v.pattern.team)]
	return []procedure.Person{who(string(letter)), radiographer(string("RSTU"[number%4]))}
}

// stretched gives the steps with the fluoroscopy that the case has; what is acquired grows with the kerma.
func (v visit) stretched(d doses) []step {
	shares := 0.0
	for _, s := range v.pattern.steps {
		for _, r := range s.runs {
			if r.mode.kind == procedure.Fluoroscopy {
				shares += r.seconds
			}
		}
	}
	steps := slices.Clone(v.pattern.steps)
	for i := range steps {
		steps[i].runs = slices.Clone(steps[i].runs)
		for j := range steps[i].runs {
			r := &steps[i].runs[j]
			if r.mode.kind != procedure.Fluoroscopy {
				r.seconds *= d.kerma / v.kind.kerma.median
				continue
			}
			r.seconds *= d.minutes * 60 / shares
			if v.changed() {
				r.mode.rate = 15
			}
		}
	}
	return steps
}

// fitted gives the report whose kerma-area product is the drawn one: the fields are opened or closed until it is, as far as the
// detector goes.
func (s scene) fitted(stream uint64, kap float64) procedure.Report {
	r := s.report(stream)
	for range 2 {
		sum := 0.0
		for _, p := range r.Planes {
			sum += p.KAP.Or(0).Gycm2()
		}
		if len(s.steps) == 0 || sum == 0 {
			break
		}
		side := math.Sqrt(kap / sum)
		s.steps = slices.Clone(s.steps)
		for i := range s.steps {
			s.steps[i].height, s.steps[i].width = max(s.steps[i].height*side, 40), max(s.steps[i].width*side, 40)
		}
		r = s.report(stream)
	}
	return r
}

// alone gives the totals of equipment that tells nothing else.
func (d doses) alone() procedure.PlaneTotal {
	const acquired = 0.09 // share of what is not fluoroscopy
	kerma := func(share float64) quantity.Opt[quantity.Gray] {
		return quantity.Some(quantity.Gray(snap(d.kerma*share, 6)))
	}
	kap := func(share float64) quantity.Opt[quantity.GraySquareMetre] {
		return quantity.Some(quantity.GraySquareMetre(snap(d.kap*share*1e-4, 8)))
	}
	return procedure.PlaneTotal{
		Plane: procedure.PlaneSingle, KAP: kap(1), RefKerma: kerma(1), FluoroKAP: kap(1 - acquired), FluoroKerma: kerma(1 - acquired),
		FluoroTime: quantity.Some(quantity.Second(math.Round(d.minutes * 60))), AcquisitionKAP: kap(acquired), AcquisitionKerma: kerma(acquired),
		AcquisitionTime: quantity.Some(quantity.Second(6)), Frames: quantity.Some(45.0), RefPoint: referencePoint(),
	}
}
