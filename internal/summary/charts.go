package summary

import (
	"cmp"
	"maps"
	"slices"
	"strings"

	"afterbeam/internal/summary/trend"
)

// The rates that are charted, each of what should be rare.
const (
	rateRecords     = "incomplete-records"
	rateArrival     = "missing-reports"
	rateSubstantial = "follow-up-level"
	rateReactions   = "reactions"
)

// charts gives the control charts of the period: rates first, then values by class and device.
func (w *work) charts() []trend.Chart {
	frozen := map[string]*trend.Baseline{}
	for i := range w.in.Baselines {
		b := &w.in.Baselines[i]
		if before := frozen[b.Key]; before == nil || newer(b, before) {
			frozen[b.Key] = b
		}
	}
	return append(w.rates(frozen), w.values(frozen)...)
}

// newer tells which of two baselines of one key holds: the one frozen later.
func newer(a, b *trend.Baseline) bool {
	return cmp.Or(cmp.Compare(a.FrozenOn, b.FrozenOn), cmp.Compare(a.To, b.To), cmp.Compare(a.Centre, b.Centre)) > 0
}

func (w *work) scope() trend.Scope { return trend.Scope{From: w.in.Period.From, To: w.in.Period.To} }

// values charts KAP and Ka,r of the adults of each class at each device that had a case in the period. Fluoroscopy time is
// never charted alone.
func (w *work) values(frozen map[string]*trend.Baseline) []trend.Chart {
	type place struct{ class, device string }
	series, inPeriod := map[place][]*Case{}, map[place]*Case{}
	for _, c := range w.all {
		if w.child(c) || c.Pregnant || c.Day > w.in.Period.To || c.Day < w.in.History {
			continue
		}
		k := place{classOf(c.Class), c.Device}
		series[k] = append(series[k], c)
		if w.in.Period.Holds(c.Day) {
			inPeriod[k] = c
		}
	}
	out := []trend.Chart{}
	places := slices.SortedFunc(maps.Keys(inPeriod), func(a, b place) int {
		return cmp.Or(cmp.Compare(a.class, b.class), cmp.Compare(a.device, b.device))
	})
	for _, k := range places {
		last := inPeriod[k]
		for _, m := range []measure{measureKAP(), measureKerma()} {
			head := trend.Chart{
				Key:   strings.Join([]string{string(trend.ValueAndRange), m.name, k.class, k.device}, "|"),
				Title: titleOf(k.class) + ", " + cmp.Or(last.DeviceName, k.device), Class: k.class, Room: last.Room, Device: k.device,
				Quantity: m.name, Unit: m.unit,
			}
			values := make([]trend.Value, 0, len(series[k]))
			for i, c := range series[k] {
				v, left := m.of(c)
				if left != "" {
					head.LeftOut++
					continue
				}
				values = append(values, trend.Value{Case: c.ID, Day: c.Day, Order: int64(i), Value: v})
			}
			out = append(out, trend.Values(head, values, frozen[head.Key], w.scope(), w.settings.Trend))
		}
	}
	return out
}

// rates charts what should be rare, of all patients in the filter.
func (w *work) rates(frozen map[string]*trend.Baseline) []trend.Chart {
	records, substantial := []occurrence{}, []occurrence{}
	for i, c := range w.all {
		if c.Day < w.in.History {
			continue
		}
		records = append(records, occurrence{c.ID, c.Day, int64(i), opposite(recorded(c))})
		substantial = append(substantial, occurrence{c.ID, c.Day, int64(i), substantialOf(c)})
	}
	arrivals := make([]occurrence, 0, len(w.performed))
	for _, p := range w.performed {
		arrivals = append(arrivals, occurrence{"", p.Day, 0, opposite(arrived(p))})
	}
	slices.SortFunc(arrivals, func(a, b occurrence) int { return cmp.Or(cmp.Compare(a.day, b.day), cmp.Compare(b.event, a.event)) })
	for i := range arrivals {
		arrivals[i].order = int64(i)
	}
	out := []trend.Chart{}
	for _, rate := range []struct {
		name string
		of   []occurrence
	}{{rateRecords, records}, {rateArrival, arrivals}, {rateSubstantial, substantial}} {
		if len(rate.of) > 0 {
			out = append(out, w.rate(rate.name, rate.of, frozen))
		}
	}
	if c, any := w.reactionChart(frozen); any {
		out = append(out, c)
	}
	return out
}

// occurrence is one case of a rate, with whether it is an event.
type occurrence struct {
	id, day string
	order   int64
	event   answer
}

func opposite(a answer) answer {
	switch a {
	case yes:
		return no
	case no:
		return yes
	case aside, unknown:
	}
	return a
}

// rate charts shares of months, or cases between events where events are rare; a frozen baseline of either kind decides.
func (w *work) rate(name string, of []occurrence, frozen map[string]*trend.Baseline) trend.Chart {
	head := func(kind trend.Kind) trend.Chart {
		f := w.in.Filter
		return trend.Chart{Key: w.rateKey(kind, name), Title: name, Class: f.Class, Room: f.Room, Device: f.Device, Quantity: name}
	}
	months, earlier, cases, left := w.monthsOf(of)
	shares, between := head(trend.Share), head(trend.CasesBetween)
	rare := trend.Rare(earlier)
	if frozen[shares.Key] != nil || frozen[between.Key] != nil {
		rare = frozen[shares.Key] == nil
	}
	if !rare {
		c := trend.Shares(shares, months, frozen[shares.Key], w.scope(), w.settings.Trend)
		c.LeftOut = left
		return c
	}
	c := trend.Between(between, cases, frozen[between.Key], w.scope(), w.settings.Trend)
	c.LeftOut, c.Rare = left, true
	return c
}

// monthsOf counts the events of each month, from the first with a case to the last of the period; earlier are those before
// the period. Left are the cases that could not be told.
func (w *work) monthsOf(of []occurrence) (months, earlier []trend.MonthCount, cases []trend.Case, left int) {
	at := map[string]*trend.MonthCount{}
	for _, o := range of {
		if o.day > w.in.Period.To || len(o.day) < len("2006-01") {
			continue
		}
		switch o.event {
		case aside:
			continue
		case unknown:
			left++
			continue
		case yes, no:
		}
		month := o.day[:len("2006-01")]
		if at[month] == nil {
			at[month] = &trend.MonthCount{Month: month}
		}
		at[month].N++
		if o.event == yes {
			at[month].X++
		}
		cases = append(cases, trend.Case{Case: o.id, Day: o.day, Order: o.order, Event: o.event == yes})
	}
	for _, month := range slices.Sorted(maps.Keys(at)) {
		months = append(months, *at[month])
		if month < w.in.Period.From[:len("2006-01")] {
			earlier = append(earlier, *at[month])
		}
	}
	return months, earlier, cases, left
}

// reactionChart charts the days between reactions: how many patients were looked at is not known well enough for a rate.
func (w *work) reactionChart(frozen map[string]*trend.Baseline) (trend.Chart, bool) {
	events := []trend.Case{}
	for _, c := range w.all {
		worst := slices.MaxFunc(append([]Reaction{{}}, c.Reactions...), func(a, b Reaction) int {
			return cmp.Or(cmp.Compare(a.Grade, b.Grade), cmp.Compare(b.Day, a.Day))
		})
		if worst.Grade > 0 && c.Day >= w.in.History {
			events = append(events, trend.Case{Case: c.ID, Day: worst.Day, Event: true})
		}
	}
	slices.SortFunc(events, func(a, b trend.Case) int { return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Case, b.Case)) })
	for i := range events {
		events[i].Order = int64(i)
	}
	key, f := w.rateKey(trend.DaysBetween, rateReactions), w.in.Filter
	head := trend.Chart{Key: key, Title: rateReactions, Class: f.Class, Room: f.Room, Device: f.Device, Quantity: rateReactions}
	c := trend.Days(head, events, frozen[key], w.scope(), w.settings.Trend)
	c.Rare = true
	return c, len(events) > 0
}

// rateKey names the chart of a rate, which depends on what the summary is narrowed to.
func (w *work) rateKey(kind trend.Kind, name string) string {
	f := w.in.Filter
	rooms := "every room"
	if f.Rooms != nil {
		rooms = strings.Join(slices.Compact(slices.Sorted(slices.Values(f.Rooms))), ";")
	}
	return strings.Join([]string{string(kind), name, f.Class, f.Room, f.Device, rooms}, "|")
}

// signalsOf lists the signals of all charts in the order of the charts.
func signalsOf(charts []trend.Chart) []Signal {
	out := []Signal{}
	for _, c := range charts {
		for _, s := range c.Signals {
			out = append(out, Signal{Chart: c.Key, Title: c.Title, Quantity: c.Quantity, Rule: s.Rule, From: s.From, To: s.To, Count: s.Count})
		}
	}
	return out
}
