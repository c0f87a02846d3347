package organ

import (
	"fmt"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Input is a procedure whose beams have been placed on a body.
type Input struct {
	Procedure procedure.Procedure
	Course    exposure.Course
	Body      *body.Body
	// ArmsAlongside tells that the arms lay beside the trunk.
	ArmsAlongside bool
	// KAPFactor is a signed calibration factor that is in date on the day of the procedure.
	KAPFactor quantity.Opt[procedure.Factor]
	// Key names the procedure and its version.
	Key string
}

// leastCovered is the share of kerma-area product that must have a beam: with a fifth missing the number would no longer
// stand for the procedure. Judgement.
const leastCovered = 0.8

// displayPercent is one standard deviation of a display without a signed factor.
// Source: IEC 60601-2-43, dosimetric indications within 35 %, as two standard deviations; known from memory.
const displayPercent quantity.Percent = 17.5

// Plan makes the case of a procedure, or gives the reason why there is none. What part of the displayed kerma-area product has
// no beam is made up for by the others where it is under a fifth, and said.
func Plan(in Input) (c Case, reason string) {
	c = Case{Body: in.Body, Key: in.Key, Doubt: in.doubt()}
	whole, ok := in.Procedure.CaseDose().KAP.Get()
	switch {
	case in.Procedure.Purpose == procedure.PurposeQualityControl:
		return c, "the report is about a test object, not a patient"
	case !ok || in.Procedure.CaseDose().Suspicion.Has(procedure.SuspectKAP):
		return c, "the kerma-area product of the procedure is not known or not believed"
	case len(in.Course.Shots) == 0:
		return c, "no event has a geometry that can be placed on the body"
	}
	shots, placed := in.shots(&c)
	if placed <= 0 {
		return c, "no event with a geometry has a kerma-area product"
	}
	part := min(1, placed/whole.Gycm2())
	c.Covered = quantity.Percent(100 * part)
	if part < leastCovered {
		return c, fmt.Sprintf("only %s %% of the kerma-area product has a geometry: at least 80 %% is needed", quantity.Significant(100*part, 2))
	}
	if part < 1-rounding {
		c.note("%s %% of the kerma-area product has no geometry: it is taken to irradiate as the rest does", quantity.Significant(100*(1-part), 2))
	}
	w := &window{body: in.Body, tubes: map[beam.Quality]*tube{}}
	all := make([]seen, 0, len(shots))
	for _, s := range shots {
		e, err := w.enter(s.shot, s.shown/part*in.factor())
		if err != nil {
			return c, err.Error()
		}
		all = append(all, see(s.shot, e))
	}
	var err error
	if c.Beams, err = join(all, in.ArmsAlongside); err != nil {
		return c, err.Error()
	}
	return c, ""
}

// rounding is the relative difference of total and sum that the printing of decimal numbers explains.
const rounding = 1e-6

func (c *Case) note(format string, values ...any) {
	c.Notes = append(c.Notes, fmt.Sprintf(format, values...))
}

func (in *Input) factor() float64 {
	if f, ok := in.KAPFactor.Get(); ok && !f.IncludesTable {
		return f.Value
	}
	return 1
}

func (in *Input) doubt() Doubt {
	d := Doubt{Display: displayPercent, Table: in.Course.Knowledge.Table.Percent, BodySize: in.Course.Knowledge.Play.BodySize}
	if f, ok := in.KAPFactor.Get(); ok && !f.IncludesTable {
		d.Display = max(3, f.Uncertainty)
	}
	return d
}

// shown is a shot with the kerma-area product displayed for it, in Gy cm2.
type shown struct {
	shot  *exposure.Shot
	shown float64
}

// shots shares the kerma-area product of each event among its shots by kerma. Where an event tells none, it is reference air
// kerma times the field there.
func (in *Input) shots(c *Case) (list []shown, placed float64) {
	kerma := map[int]float64{}
	count := map[int]int{}
	for _, s := range in.Course.Shots {
		kerma[s.Event] += float64(s.Kerma)
		count[s.Event]++
	}
	without := map[int]bool{}
	for i := range in.Course.Shots {
		s := &in.Course.Shots[i]
		event := in.Procedure.Events[s.Event]
		part := 1 / float64(count[s.Event])
		if kerma[s.Event] > 0 {
			part = float64(s.Kerma) / kerma[s.Event]
		}
		kap, ok := event.KAP.Get()
		v := kap.Gycm2() * part
		if !ok || event.Suspicion.Has(procedure.SuspectKAP) {
			without[s.Event] = true
			d := float64(s.RefDistance) / 10 // cm
			v = float64(s.Kerma) * 4 * s.HalfWidth * s.HalfHeight * d * d
		}
		placed += v
		list = append(list, shown{s, v})
	}
	if len(without) > 0 {
		c.note("%d events without a kerma-area product of their own: reference air kerma times the field there", len(without))
	}
	return list, placed
}
