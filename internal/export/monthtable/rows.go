package monthtable

import (
	"strconv"

	"afterbeam/internal/export/table"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/statistic"
)

// line is one row before it is cells.
type line struct {
	indicator, subject, by, part, complexity string
	quantity, unit, basis, statistic         string
	value, low, high                         quantity.Opt[float64]
	absent                                   string
	x, n, cases                              quantity.Opt[int]
	note                                     string
}

// rows writes lines until the first error.
type rows struct {
	write func([]table.Value) error
	err   error
}

func (r *rows) add(l line) {
	if r.err != nil {
		return
	}
	text := func(v string) table.Value {
		if v == "" {
			return table.Value{}
		}
		return table.TextOf(v)
	}
	count := func(v quantity.Opt[int]) table.Value {
		if n, ok := v.Get(); ok {
			return table.NumberOf(float64(n))
		}
		return table.Value{}
	}
	r.err = r.write([]table.Value{
		text(l.indicator), text(l.subject), text(l.by), text(l.part), text(l.complexity), text(l.quantity), text(l.unit), text(l.basis), text(l.statistic),
		table.OptNumber(l.value, l.absent), table.OptNumber(l.low, ""), table.OptNumber(l.high, ""), count(l.x), count(l.n), count(l.cases), text(l.note),
	})
}

func (r *rows) all(s summary.Summary) {
	r.completeness(s)
	for _, v := range s.Volume {
		l := line{indicator: "Q3", subject: "volume", by: v.By, part: v.Title, unit: "1", statistic: "count", absent: v.Withheld, note: "before: " + strconv.Itoa(v.Before)}
		if v.Withheld == "" {
			l.value, l.cases = quantity.Some(float64(v.Cases)), quantity.Some(v.Cases)
		} else {
			l.note = ""
		}
		r.add(l)
	}
	for _, c := range s.Classes {
		r.class(c)
	}
	for _, c := range s.Crossings {
		r.share("Q7", "kar_gy at or above "+strconv.FormatFloat(c.Level, 'f', -1, 64), c.Cases, c.Source)
	}
	r.share("Q8", "follow-up level reached", s.Substantial.Rate, "")
	r.share("Q9", "patient told", s.FollowUp.Informed, "")
	r.share("Q9", "contact at about 30 days", s.FollowUp.Contacted, "")
	r.share("Q9", "skin looked at with a result", s.FollowUp.Outcome, "")
	r.share("Q10", "skin looked at", s.Reactions.Looked, "")
	r.share("Q10", "reaction seen", s.Reactions.Seen, "")
	for _, state := range s.Review.States {
		r.count("Q11", "review", string(state.Text), state.Cases)
	}
	for _, c := range s.Cumulative {
		l := line{
			indicator: "Q12", subject: "patients with a sum at a level", by: "window", part: c.Window, quantity: c.Quantity, unit: "1", statistic: "count",
			absent: c.Withheld, note: c.Scheme + ", " + c.Level,
		}
		if c.Withheld == "" {
			l.value = quantity.Some(float64(c.Patients))
		}
		r.add(l)
	}
	for _, m := range s.Meters {
		r.add(line{indicator: "Q13", subject: "factor of the display", by: "device", part: m.Device, quantity: "kar", unit: "1", statistic: "factor", value: m.KermaFactor, absent: m.Status, note: m.Status})
		r.add(line{indicator: "Q13", subject: "factor of the display", by: "device", part: m.Device, quantity: "kap", unit: "1", statistic: "factor", value: m.KAPFactor, absent: m.Status, note: m.Status})
	}
	r.share("Q14", "peak skin dose estimated", s.Estimates.PSD, "")
	r.share("Q14", "effective dose estimated", s.Estimates.Effective, "")
	r.apart(s)
}

func (r *rows) completeness(s summary.Summary) {
	c := s.Completeness
	r.share("Q1", "complete records", c.Records, "")
	for _, q := range c.Quantities {
		r.share("Q1", q.Quantity, q.Known, "")
	}
	if c.Arrival == nil {
		r.add(line{indicator: "Q2", subject: "reports received", by: "all", unit: "1", statistic: "share", absent: c.ArrivalAbsent})
	} else {
		r.share("Q2", "reports received", *c.Arrival, "")
	}
	for _, room := range c.ByRoom {
		l := proportion(room.Records)
		l.indicator, l.subject, l.by, l.part = "Q1", "complete records", "room", room.Room
		r.add(l)
	}
}

func (r *rows) apart(s summary.Summary) {
	r.count("Q15", "cases", "children", s.Counts.Children)
	r.count("Q15", "cases", "pregnant", s.Counts.Pregnant)
	for _, b := range s.Apart.ByWeight {
		band := "no weight"
		if from, ok := b.From.Get(); ok {
			band = "from " + strconv.FormatFloat(from, 'f', -1, 64) + " kg"
		}
		r.group("Q15", b.Class, "weight of children", band, b.Group)
	}
}

func (r *rows) class(c summary.Class) {
	r.group("Q4", c.Class, "all", "", c.All)
	for _, p := range c.Parts {
		for _, g := range p.Groups {
			part := g.Title
			if part == "" {
				part = g.Key
			}
			r.group("Q4", c.Class, p.By, part, g)
		}
	}
	for _, at := range c.Positions {
		r.add(line{
			indicator: "Q5", subject: c.Class, by: "all", complexity: at.Level.Complexity, quantity: at.Level.Quantity, unit: at.Level.Unit, statistic: "level",
			value: quantity.Some(at.Level.Value), n: quantity.Some(at.N), note: "median " + string(at.Verdict) + "; " + at.Level.Kind + "; " + at.Level.Source,
		})
	}
	for _, d := range c.Distributions {
		for _, row := range d.Rows {
			r.add(line{
				indicator: "Q6", subject: c.Class, by: "all", complexity: d.Published.Complexity, quantity: d.Published.Quantity, unit: d.Published.Unit,
				statistic: "published p" + strconv.Itoa(row.Percent), value: quantity.Some(row.Published), note: d.Published.Source,
			})
		}
	}
}

func (r *rows) group(indicator, class, by, part string, g summary.Group) {
	about := line{indicator: indicator, subject: class, by: by, part: part, complexity: g.Complexity, cases: quantity.Some(g.Cases)}
	for _, w := range g.Withheld {
		l := about
		l.statistic, l.absent = w.What, w.Reason
		if w.Reason == "small-group" {
			l.cases = quantity.None[int]()
		}
		r.add(l)
	}
	for _, s := range g.Statistics {
		r.statistic(about, s)
	}
	if g.Substantial != nil {
		l := proportion(*g.Substantial)
		l.indicator, l.subject, l.by, l.part, l.complexity = "Q8", class, by, part, g.Complexity
		r.add(l)
	}
}

// statistic writes the numbers of one quantity; what is not shown is absent with its reason.
func (r *rows) statistic(about line, s summary.Statistic) {
	about.quantity, about.unit, about.basis, about.n, about.cases = s.Quantity, s.Unit, s.Basis, quantity.Some(s.N), quantity.Some(s.Of)
	why := map[string]string{}
	for _, w := range s.Withheld {
		why[w.What] = w.Reason
		if w.Need > 0 {
			why[w.What] += ", wants " + strconv.Itoa(w.Need)
		}
	}
	end := func(name string, v quantity.Opt[float64]) {
		l := about
		l.statistic, l.value, l.absent = name, v, why["range"]
		r.add(l)
	}
	end("min", s.Min)
	for _, q := range []struct {
		name string
		of   *statistic.Quantile
	}{{"p10", s.P10}, {"p25", s.P25}, {"median", s.Median}, {"p75", s.P75}, {"p90", s.P90}, {"p95", s.P95}} {
		l := about
		l.statistic, l.absent = q.name, why[q.name]
		if q.of != nil {
			l.value, l.low, l.high = quantity.Some(q.of.Value), q.of.Low, q.of.High
		}
		r.add(l)
	}
	end("max", s.Max)
	if s.Change != nil {
		l := about
		l.statistic, l.unit, l.value, l.low, l.high = "change of the median", "%", quantity.Some(s.Change.Percent), s.Change.Low, s.Change.High
		r.add(l)
	}
}

func proportion(p summary.Proportion) line {
	l := line{by: "all", unit: "1", statistic: "share", value: p.Share, low: p.Low, high: p.High, absent: p.Withheld}
	if p.Withheld != "" {
		return l
	}
	if p.N == 0 {
		l.absent = "no cases"
	}
	l.x, l.n, l.cases = quantity.Some(p.X), quantity.Some(p.N), quantity.Some(p.N+p.Unknown)
	return l
}

func (r *rows) share(indicator, subject string, p summary.Proportion, note string) {
	l := proportion(p)
	l.indicator, l.subject, l.note = indicator, subject, note
	r.add(l)
}

func (r *rows) count(indicator, subject, part string, n int) {
	r.add(line{indicator: indicator, subject: subject, by: "all", part: part, unit: "1", statistic: "count", value: quantity.Some(float64(n))})
}
