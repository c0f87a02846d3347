package commission

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// The limits of the comparison with a dosimeter.
const (
	// LeastReadings have a spread that can be told; judgement.
	LeastReadings = 3
	// SpreadLimit is how far the largest ratio may be above the smallest; judgement: a display that differs more between beams
	// has no factor.
	SpreadLimit quantity.Percent = 25
	// DisplayLimit is the largest deviation of a display that is allowed. Source: IEC 60601-2-43:2010, 21 CFR 1020.32(k)(6);
	// known from memory.
	DisplayLimit quantity.Percent = 35
	// coverage is the probability of k=2 of a normal distribution.
	coverage = 0.9545
)

// What is taken for a part of the budget that the record does not give.
const (
	defaultEnergy     quantity.Percent    = 5
	defaultDistance   quantity.Millimetre = 5
	defaultSide       quantity.Millimetre = 2
	defaultUniformity quantity.Percent    = 3
)

// displayed is one quantity of the display and how a reading is brought to it.
type displayed struct {
	question string
	// value is what an event tells of it; measured what the reading says it should be, or why it cannot.
	value    func(*procedure.Event) (float64, bool)
	measured func(*procedure.Event, Reading) (v float64, why string)
	budget   func(Dosimeter, []Reading) []Component
}

// kermaDisplay brings the reading to the reference point by the inverse square law, eq. (11.4).
func kermaDisplay() displayed {
	return displayed{
		question: "factor of the displayed air kerma (measured over displayed)",
		value: func(e *procedure.Event) (float64, bool) {
			k, ok := e.RefKerma.Get()
			return float64(k), ok && k > 0 && !e.Suspicion.Has(procedure.SuspectKerma)
		},
		measured: func(e *procedure.Event, r Reading) (float64, string) {
			at, ok := exposure.ReferenceDistance(e)
			if !ok || e.Suspicion.Has(procedure.SuspectDistance) {
				return 0, "without a believable distance to the reference point"
			}
			ratio := float64(r.Distance / at)
			return float64(r.Kerma) * ratio * ratio, ""
		},
		budget: func(d Dosimeter, readings []Reading) []Component {
			u := d.Distance.Or(defaultDistance)
			nearest := slices.MinFunc(readings, func(a, b Reading) int { return int(a.Distance - b.Distance) }).Distance
			return []Component{{
				fmt.Sprintf("distance focus to chamber, %s mm of %s mm, squared", quantity.Fixed(float64(u), 1), whole(nearest)),
				quantity.Percent(200 * u / nearest), given(d.Distance.Present(), "judgement: a tape from the mark of the focal spot"),
			}}
		},
	}
}

// kapDisplay multiplies the reading with the field's area at the chamber, eq. (11.5), which is the same at every distance.
func kapDisplay() displayed {
	return displayed{
		question: "factor of the displayed kerma-area product (measured over displayed)",
		value: func(e *procedure.Event) (float64, bool) {
			k, ok := e.KAP.Get()
			return float64(k), ok && k > 0 && !e.Suspicion.Has(procedure.SuspectKAP)
		},
		measured: func(_ *procedure.Event, r Reading) (float64, string) {
			w, ok := r.Width.Get()
			h, also := r.Height.Get()
			if !ok || !also {
				return 0, "without the sides of the field at the chamber"
			}
			return float64(r.Kerma) * float64(w/quantity.Metre) * float64(h/quantity.Metre), ""
		},
		budget: func(d Dosimeter, readings []Reading) []Component {
			u := d.Side.Or(defaultSide)
			least := quantity.Millimetre(math.Inf(1))
			for _, r := range readings {
				least = min(least, r.Width.Or(least), r.Height.Or(least))
			}
			return []Component{
				{
					fmt.Sprintf("field area, %s mm on each side of %s mm", quantity.Fixed(float64(u), 1), whole(least)),
					quantity.Percent(100 * math.Sqrt2 * float64(u/least)), given(d.Side.Present(), "judgement: edges on film or image"),
				},
				{
					"mean kerma over the field against its middle", d.Uniformity.Or(defaultUniformity),
					given(d.Uniformity.Present(), "judgement: heel effect of 5 to 10 % along the tube axis (from memory)"),
				},
			}
		},
	}
}

func given(ok bool, otherwise string) string {
	if ok {
		return "given in the record"
	}
	return otherwise
}

// meters compares both displays with the readings.
func (r *Result) meters(report *procedure.Report) error {
	for _, m := range []struct {
		to   *Meter
		what displayed
	}{{&r.Kerma, kermaDisplay()}, {&r.KAP, kapDisplay()}} {
		m.to.Question, m.to.Unit = m.what.question, "%"
		if err := m.to.compare(r, report, m.what); err != nil {
			return err
		}
	}
	return nil
}

// compare makes the factor of the readings without the table, or of those behind it when there are not enough others.
func (m *Meter) compare(r *Result, report *procedure.Report, what displayed) error {
	if len(r.Record.Readings) == 0 {
		m.Says = "no reading of a dosimeter"
		return nil
	}
	byTable := map[bool][]Ratio{}
	used := map[bool][]Reading{}
	for _, reading := range r.Record.Readings {
		e, err := r.event(report, reading.Event)
		if err != nil {
			return err
		}
		shown, ok := what.value(e)
		measured, why := what.measured(e, reading)
		if !ok {
			why = "without a believable displayed value"
		}
		if why != "" {
			r.say("%s: the reading of event %d is %s and is left out", what.question, reading.Event, why)
			continue
		}
		behind := reading.BehindTable
		byTable[behind] = append(byTable[behind], Ratio{reading.Event, measured, shown, measured / shown, behind})
		used[behind] = append(used[behind], reading)
	}
	behind := len(byTable[false]) < LeastReadings && len(byTable[true]) >= LeastReadings
	m.Ratios = byTable[behind]
	if len(m.Ratios) < LeastReadings {
		m.Says = fmt.Sprintf("%d readings without the table and %d behind it can be used, at least %d of one kind are wanted",
			len(byTable[false]), len(byTable[true]), LeastReadings)
		return nil
	}
	slices.SortStableFunc(m.Ratios, func(a, b Ratio) int { return a.Event - b.Event })
	m.settle(r, what.budget(r.Record.Dosimeter, used[behind]))
	if len(byTable[true]) >= LeastReadings && !behind {
		through, _ := stat.MeanStdDev(ratios(byTable[true]), nil)
		free, _ := stat.MeanStdDev(ratios(m.Ratios), nil)
		r.say("%s: readings behind table and mattress are %s of those without (broad beam, with forward scatter)", what.question, quantity.Fixed(through/free, 3))
	}
	return nil
}

func ratios(all []Ratio) []float64 {
	var out []float64
	for _, r := range all {
		out = append(out, r.Ratio)
	}
	return out
}

// settle makes factor and budget of the ratios, eq. (11.6) and (11.7).
func (m *Meter) settle(r *Result, parts []Component) {
	values := ratios(m.Ratios)
	n := float64(len(values))
	mean, deviation := stat.MeanStdDev(values, nil)
	m.Spread = quantity.Percent(100 * deviation / mean)
	for _, x := range m.Ratios {
		m.Events = append(m.Events, x.Event)
	}
	m.Events = slices.Compact(m.Events)
	lo, hi := slices.Min(values), slices.Max(values)
	span := quantity.Percent(100 * (hi/lo - 1))
	if span > SpreadLimit {
		m.State = Contradicted
		m.Says = fmt.Sprintf("the ratios lie between %s and %s: no one factor", quantity.Fixed(lo, 3), quantity.Fixed(hi, 3))
		return
	}
	calibration, ok := r.Record.Dosimeter.Calibration.Get()
	if !ok {
		m.Says = fmt.Sprintf("the mean ratio is %s, but without calibration_percent of the dosimeter it has no uncertainty and is no factor", quantity.Fixed(mean, 3))
		return
	}
	student := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile((1 + coverage) / 2)
	m.Budget = append([]Component{
		{"calibration of the dosimeter", calibration / 2, "its certificate, k=2 halved"},
		{
			"response to beam quality, even within its limits", r.Record.Dosimeter.Energy.Or(defaultEnergy) / quantity.Percent(math.Sqrt(3)),
			given(r.Record.Dosimeter.Energy.Present(), "limits of 5 %, IEC 61674:2012, known from memory"),
		},
		{
			fmt.Sprintf("spread of %d ratios, as of one more beam", len(values)), m.Spread * quantity.Percent(math.Sqrt(1+1/n)*student/2),
			"computed, widened by Student's t for the number of readings",
		},
	}, parts...)
	var sum float64
	for _, c := range m.Budget {
		sum += float64(c.Percent * c.Percent)
	}
	standard := quantity.Percent(math.Sqrt(sum))
	m.Expanded = 2 * standard
	// Written as people read it: to a thousandth, the uncertainty rounded up.
	value, uncertainty := math.Round(mean*1000)/1000, quantity.Percent(math.Ceil(float64(standard)*10)/10)
	factor := procedure.Factor{Value: value, Uncertainty: uncertainty, From: r.Record.Day, Until: lastDay(r.Record.Day), IncludesTable: m.Ratios[0].BehindTable}
	if mean < 1.0/3 || mean > 3 || standard > 50 {
		m.State = Contradicted
		m.Says = fmt.Sprintf("the mean ratio is %s +- %s %% (k=2): beyond what a factor may be, have the display seen to", quantity.Fixed(mean, 3), quantity.Fixed(float64(m.Expanded), 1))
		return
	}
	m.State, m.Factor = Shown, quantity.Some(factor)
	place := "without the table in the beam"
	if factor.IncludesTable {
		place = "behind the table, so never used together with table transmission"
	}
	m.Residual, m.Limit = quantity.Some(float64(span)), quantity.Some(float64(SpreadLimit))
	m.Says = fmt.Sprintf("%s +- %s %% (k=2), %s, proposed from %s until %s (a year: common practice, no source)",
		quantity.Fixed(mean, 3), quantity.Fixed(float64(m.Expanded), 1), place, factor.From, factor.Until)
	if off := quantity.Percent(100 * math.Abs(1/mean-1)); off > DisplayLimit {
		r.say("%s: the display is off by %s %%, more than the %s %% allowed (IEC 60601-2-43:2010, 21 CFR 1020.32(k)(6), known from memory); have it serviced before a factor is signed",
			m.Question, quantity.Fixed(float64(off), 0), quantity.Fixed(float64(DisplayLimit), 0))
	}
}

// lastDay is the last of the year that begins with a day.
func lastDay(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return ""
	}
	return t.AddDate(1, 0, -1).Format(time.DateOnly)
}
