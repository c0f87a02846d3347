package paper

import (
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// least writes a reported value, what is known of it where a plane is missing, or a dash with the reason.
func least[T ~float64](c *composer, whole, known quantity.Opt[T], missing []string, print func(T) string) string {
	if v, ok := whole.Get(); ok {
		return c.measure(print(v))
	}
	reason := c.text("not_reported")
	if len(missing) > 0 {
		reason = c.text("missing_for", "planes", strings.Join(missing, ", "))
	}
	if v, ok := known.Get(); ok {
		return c.text("at_least", "value", c.measure(print(v)), "reason", reason)
	}
	return c.dash(reason)
}

func (c *composer) kap() string {
	d := c.Assessment.Dose
	return least(c, d.KAP, d.LeastKAP, d.KAPMissing, func(v quantity.GraySquareMetre) string { return quantity.ShowKAP(v, c.edges.KAP...) })
}

func (c *composer) fluoroscopy() string {
	d := c.Assessment.Dose
	return least(c, d.FluoroTime, d.LeastTime, d.TimeMissing, quantity.ShowMinutes)
}

// doubt says that a reported quantity contradicts others.
func (c *composer) doubt(s procedure.Suspicion) string {
	if c.Assessment.Dose.Suspicion.Has(s) {
		return " " + c.text("not_believed")
	}
	return ""
}

// skinDose is the estimated peak skin dose with its range, or a dash with the reason.
func (c *composer) skinDose() string {
	e := c.Assessment.SkinDose
	return c.spread(e.Value, e.Low, e.High, e.LowerBound, c.text("no_estimate"), c.edges)
}

func (c *composer) spread(value, low, high quantity.Opt[quantity.Gray], lower bool, reason string, edges level.Edges) string {
	v, ok := value.Get()
	if !ok {
		return c.dash(reason)
	}
	text, from, to, unit := quantity.ShowSkin(v, low.Or(v), high.Or(v), edges.PSD...)
	form := "estimated"
	if lower {
		form = "estimated_at_least"
	}
	if !low.Present() || !high.Present() {
		form += "_bound"
	}
	return c.text(form, "value", c.measure(text+" "+unit), "low", c.measure(from), "high", c.measure(to+" "+unit))
}

// wider gives the sums that hold other procedures, each only where it holds more than the window before.
func (c *composer) wider() (sums []assessment.Sum) {
	last := 1
	for _, s := range c.Sums {
		if s.Procedures > last {
			sums, last = append(sums, s), s.Procedures
		}
	}
	return sums
}

// together is the sum over the shortest window in which there is another procedure.
func (c *composer) together() (assessment.Sum, bool) {
	for _, s := range c.Sums {
		if s.Procedures > 1 && s.Days > 0 {
			return s, true
		}
	}
	return assessment.Sum{}, false
}

// sumSkin is the skin dose of several procedures: laid on one body where that is known, else the peaks added.
func (c *composer) sumSkin(s assessment.Sum) string {
	edges := s.Levels.Edges()
	if laid, ok := s.Laid.Get(); ok && laid.Value.Present() {
		text := c.spread(laid.Value, laid.Low, laid.High, laid.LowerBound, "", edges)
		return c.text("sum.laid", "dose", text, "mapped", laid.Mapped, "n", laid.Procedures)
	}
	d := s.SkinDose
	return c.text("sum.peaks", "dose", c.spread(d.Value, d.Low, d.High, d.LowerBound, c.text("no_estimate"), edges))
}

// sumPlace is where the peak of several procedures lies, the zero place where that is not known.
func sumPlace(s assessment.Sum) skindose.Place {
	if laid, ok := s.Laid.Get(); ok && laid.Value.Present() {
		return laid.Place
	}
	return s.SkinDose.Peak
}

// total writes a sum, with how many procedures are in it where that is not all.
func total[T ~float64](c *composer, t assessment.Total[T], of int, print func(T) string) string {
	v, ok := t.Value.Get()
	if !ok {
		return c.dash(c.text("not_reported"))
	}
	if t.From < of {
		return c.text("sum.part", "value", c.measure(print(v)), "from", t.From, "n", of)
	}
	return c.measure(print(v))
}
