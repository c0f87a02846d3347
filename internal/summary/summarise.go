package summary

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/summary/statistic"
)

// Summarise makes the summary of an input. It returns ErrInvalid for a period or a day that is none and for settings that
// cannot be used. The order of the input's lists leaves no trace.
func Summarise(in Input, s Settings) (Summary, error) {
	if err := s.check(); err != nil {
		return Summary{}, err
	}
	period, err := ParsePeriod(in.Period.Name)
	if err != nil {
		return Summary{}, err
	}
	in.Period = period
	if _, err := time.Parse(time.DateOnly, in.AsOf); err != nil {
		return Summary{}, fmt.Errorf("%w: as of %q: want a local date such as 2026-11-02", ErrInvalid, in.AsOf)
	}
	w := worked(in, s)
	out := Summary{
		Schema: Schema, Period: in.Period, Before: in.Period.Before(), AsOf: in.AsOf, Filter: in.Filter,
		Methods: methods(s), Cautions: cautions(), OperatorNames: in.OperatorNames,
	}
	out.Counts = w.counts()
	out.Completeness = w.completeness()
	out.Volume = w.volume()
	out.Classes = w.classes()
	out.Crossings = w.crossings()
	out.Substantial = w.substantial()
	out.FollowUp = w.followUp()
	out.Reactions = w.reactions()
	out.Cumulative = w.cumulative()
	out.Meters = w.meters()
	out.Estimates = w.estimates()
	out.Apart = w.apart()
	out.Charts = w.charts()
	out.Signals = signalsOf(out.Charts)
	out.Review = w.review(out.Charts)
	out.Actions = w.actions()
	out.Indicators = indicators(out)
	return out, nil
}

// work is an input sorted out: what is in the filter, by period and by whom it is about.
type work struct {
	in       Input
	settings Settings
	// all are the cases of patients in order, of every day; now and before those of the period and of the one before.
	all, now, before []*Case
	// adults and adultsBefore are those of the tables of classes.
	adults, adultsBefore []*Case
	performed            []Performed
	tests                int // exposures of test objects in the period
}

func worked(in Input, s Settings) *work {
	w := &work{in: in, settings: s}
	before := in.Period.Before()
	type placed struct {
		day  int
		at   int64
		this *Case
	}
	places := make([]placed, 0, len(in.Cases))
	for i := range in.Cases {
		c := &in.Cases[i]
		switch {
		case !in.Filter.holds(c.Class, c.Room, c.Device):
		case c.Quality:
			if in.Period.Holds(c.Day) {
				w.tests++
			}
		default:
			places = append(places, placed{dayNumber(c.Day), c.Start.UnixNano(), c})
		}
	}
	slices.SortFunc(places, func(a, b placed) int {
		if c := cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(a.at, b.at)); c != 0 {
			return c // most differ here already
		}
		return cmp.Compare(a.this.ID, b.this.ID)
	})
	w.all = make([]*Case, len(places))
	for i, p := range places {
		w.all[i] = p.this
	}
	for _, c := range w.all {
		adult := !w.child(c) && !c.Pregnant
		switch {
		case in.Period.Holds(c.Day):
			w.now = append(w.now, c)
			if adult {
				w.adults = append(w.adults, c)
			}
		case before.Holds(c.Day):
			w.before = append(w.before, c)
			if adult {
				w.adultsBefore = append(w.adultsBefore, c)
			}
		}
	}
	for _, p := range in.Performed {
		if in.Filter.holds(p.Class, p.Room, p.Device) {
			w.performed = append(w.performed, p)
		}
	}
	return w
}

// dayNumber gives a local date as a number that sorts as the date does.
func dayNumber(day string) int {
	number := 0
	for _, letter := range []byte(day) {
		if letter != '-' {
			number = 10*number + int(letter-'0')
		}
	}
	return number
}

func (f Filter) holds(class, room, device string) bool {
	return (f.Class == "" || f.Class == classOf(class)) && (f.Room == "" || f.Room == room) && (f.Device == "" || f.Device == device) &&
		(f.Rooms == nil || slices.Contains(f.Rooms, room))
}

// child tells whether a case is known to be a child's. One without an age is not known to be.
func (w *work) child(c *Case) bool {
	age, known := c.Age.Get()
	return known && age < w.settings.ChildBelow
}

func (w *work) counts() Counts {
	n := Counts{Cases: len(w.now), CasesBefore: len(w.before), Adults: len(w.adults), TestObjects: w.tests, Withheld: []string{}}
	patients := map[string]bool{}
	for _, c := range w.now {
		if c.Patient != "" {
			patients[c.Patient] = true
		}
		switch {
		case c.Pregnant:
			n.Pregnant++
		case w.child(c):
			n.Children++
		case !c.Age.Present():
			n.AgeUnknown++
		}
		if c.Totals {
			n.TotalsOnly++
		}
		if classOf(c.Class) == unclassified {
			n.Unclassified++
		}
	}
	n.Patients = len(patients)
	return n
}

func methods(s Settings) Methods {
	return Methods{
		Percentile:       s.Percentile.String(),
		QuantileInterval: "order statistics, exact binomial, 95 %, at most 2.5 % on either side",
		ShareInterval:    "Wilson score, 95 %",
		MedianChange:     "ratio of medians, normal on the logarithm with variance from order statistics (Price and Bonett 2002), 95 %",
		ShareChange:      "difference of shares, Newcombe 1998 method 10, 95 %",
		ValueChart:       "x-mR on natural logarithms, mean ± 2.66 mean moving range, frozen baseline of at least 20 cases",
		RateChart:        "p, baseline ± 3 standard deviations",
		BetweenChart:     "cases between events (g) or days between events (t) where a month has fewer than 5 events",
		SmallNumbers:     smallNumbers(),
	}
}

func smallNumbers() string {
	text := ""
	for i, step := range statistic.Steps()[1:] {
		if i > 0 {
			text += "; "
		}
		text += fmt.Sprintf("%s from %d", step.Show, step.From)
	}
	return text
}

// cautions are the keys of what has to be printed with a summary.
func cautions() []string {
	return []string{
		"people-decide", "displayed-not-patient-dose", "estimate-with-range", "effective-dose-no-risk", "level-prompts-follow-up",
		"reference-level-for-groups", "unknown-not-below", "signal-prompts-search", "no-ranking",
	}
}
