package notice

import (
	"time"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Case is what a notice is composed from.
type Case struct {
	Assessment assessment.Assessment
	// Sum is that of the window which ends with the day of the case, when it was made.
	Sum quantity.Opt[assessment.Sum]
	// Own is the key of the case in the sum's shares.
	Own string
	// Totals tells that the case is made of announced totals.
	Totals bool
	Asks   []ask.Ask
}

// Compose gives what a notice of a case says.
func Compose(c Case) Content {
	a := c.Assessment
	p := a.Procedure
	n := Content{
		Room: p.Device.Room, Date: p.Start.LocalDate(), Class: p.Class, ClassTitle: a.Class.Title, State: p.State.String(), Totals: c.Totals,
		Picture: a.SkinDose.Map != nil, Place: a.SkinDose.Peak, Flag: a.Levels.State.String(), Reasons: list(a.Levels.Reasons), Assumptions: list(a.SkinDose.Assumptions),
		Asks: c.Asks,
	}
	if !p.Start.IsZero() && !p.Start.DateOnly {
		n.Time = p.Start.Time.Format("15:04")
	}
	if n.Asks == nil {
		n.Asks = []ask.Ask{}
	}
	n.Assumptions = append(n.Assumptions, a.Effective.Assumptions...)
	e := a.Levels.Edges()
	n.Kerma, n.KAP = kermaOf(a.Dose, e), kapOf(a.Dose, e)
	n.Fluoro = figure(a.Dose.FluoroTime, a.Dose.LeastTime, a.Dose.TimeMissing, quantity.Minute, "min", quantity.ShowMinutes)
	n.Skin = skinOf(a.SkinDose.Value, a.SkinDose.Low, a.SkinDose.High, e)
	n.Skin.Method, n.Skin.AtLeast, n.Skin.Reason = string(a.SkinDose.Method), a.SkinDose.LowerBound, a.SkinDose.Reason
	n.Whole = effectiveOf(a)
	n.Levels = levelsOf(a.Levels, level.Reached, 0, 0, nil)
	sum, summed := c.Sum.Get()
	if summed && sum.Procedures > 1 {
		n.Levels = levelsOf(sum.Levels, level.Reached, sum.Procedures, sum.Days, n.Levels)
		n.Earlier = earlier(sum, c.Own)
		n.Flag = min(a.Levels.State, sum.Levels.State).String()
		if n.Flag == level.Unknown.String() {
			n.Reasons = append(n.Reasons, sum.Levels.Reasons...)
		}
	}
	n.Levels = levelsOf(a.Levels, level.Near, 0, 0, n.Levels)
	if summed && sum.Procedures > 1 {
		n.Levels = levelsOf(sum.Levels, level.Near, sum.Procedures, sum.Days, n.Levels)
	}
	return n
}

// levelsOf adds the levels of one state to those known. A sum's are there where the case alone is not at them, and where more
// than one procedure irradiated the skin: accumulated skin dose is a reason of its own to look.
func levelsOf(e level.Evaluation, state level.State, procedures, days int, known []Level) []Level {
	for _, r := range e.Results {
		accumulated := days > 0 && r.Row.Quantity == level.PSD && state == level.Reached
		if r.State != state || has(known, r.Row) && !accumulated {
			continue
		}
		l := Level{
			Procedures: procedures, Days: days, Scheme: r.Row.Scheme, Title: r.Row.Title, ID: r.Row.ID, Meaning: r.Row.Meaning, Quantity: string(r.Row.Quantity),
			State: r.State.String(), Basis: r.Basis, ShownLevel: r.Row.Quantity.Print(r.Level, r.Level), Source: r.Row.Source + " (" + r.Row.Known + ")", Rank: rankOf(r.Row),
		}
		if v, ok := r.Value.Get(); ok {
			l.Shown = r.Row.Quantity.Print(v, r.Level)
		}
		if n := len(r.Passed); n > 1 {
			l.ShownStep = r.Row.Quantity.Print(r.Passed[n-1], r.Passed[n-1])
		}
		known = append(known, l)
	}
	return known
}

func has(known []Level, row level.Row) bool {
	for _, l := range known {
		if l.Scheme == row.Scheme && l.ID == row.ID {
			return true
		}
	}
	return false
}

func earlier(s assessment.Sum, own string) *Earlier {
	e := s.Levels.Edges()
	out := &Earlier{Days: s.Days, Procedures: s.Procedures - 1}
	var none []string
	out.Kerma = figure(whole(s.Kerma.Value, s.KermaLacks), s.Kerma.Value, none, 1, "Gy", func(v quantity.Gray) string { return quantity.ShowKerma(v, e.Kerma...) })
	out.KAP = figure(whole(s.KAP.Value, s.KAPLacks), s.KAP.Value, none, quantity.GraySquareCentimetre, "Gy cm2",
		func(v quantity.GraySquareMetre) string { return quantity.ShowKAP(v, e.KAP...) })
	laid, ok := s.Laid.Get()
	if !ok || !s.ByLaid {
		out.Skin = skinOf(s.SkinDose.Value, s.SkinDose.Low, s.SkinDose.High, e)
		out.Skin.AtLeast, out.Skin.Reason, out.Skin.Method = s.SkinDose.LowerBound, s.SkinDose.Reason, string(s.SkinDose.Method)
		return out
	}
	out.Mapped, out.Place = true, laid.Place
	out.Skin = skinOf(laid.Value, laid.Low, laid.High, e)
	out.Skin.AtLeast, out.Skin.Method = laid.LowerBound, string(laid.Method)
	for _, share := range laid.Shares {
		if share.Key == own {
			v, _, _, unit := quantity.ShowSkin(share.Dose, share.Dose, share.Dose, e.PSD...)
			out.OwnShown = v + " " + unit
		}
	}
	return out
}

// whole gives a sum only when nothing is lacking in it.
func whole[T any](v quantity.Opt[T], lacks bool) quantity.Opt[T] {
	if lacks {
		return quantity.None[T]()
	}
	return v
}

func kermaOf(d procedure.CaseDose, e level.Edges) Figure {
	f := figure(d.Kerma, d.LeastKerma, d.KermaMissing, 1, "Gy", func(v quantity.Gray) string { return quantity.ShowKerma(v, e.Kerma...) })
	f.Doubtful = d.LeastKerma.Present() && d.Suspicion.Has(procedure.SuspectKerma)
	return f
}

func kapOf(d procedure.CaseDose, e level.Edges) Figure {
	f := figure(d.KAP, d.LeastKAP, d.KAPMissing, quantity.GraySquareCentimetre, "Gy cm2", func(v quantity.GraySquareMetre) string { return quantity.ShowKAP(v, e.KAP...) })
	f.Doubtful = d.LeastKAP.Present() && d.Suspicion.Has(procedure.SuspectKAP)
	return f
}

// figure gives a reported quantity: whole, or what is known of it at least.
func figure[T ~float64](whole, least quantity.Opt[T], missing []string, size T, unit string, show func(T) string) Figure {
	f := Figure{Unit: unit, Missing: list(missing)}
	v, ok := whole.Get()
	if !ok {
		v, ok = least.Get()
		f.AtLeast = ok
	}
	if ok {
		f.Value, f.Shown = quantity.Some(float64(v/size)), show(v)
	}
	return f
}

func skinOf(value, low, high quantity.Opt[quantity.Gray], e level.Edges) Spread {
	s := Spread{Unit: "Gy"}
	v, ok := value.Get()
	if !ok {
		return s
	}
	from, to := low.Or(v), high.Or(v)
	var unit string
	s.Shown[0], s.Shown[1], s.Shown[2], unit = quantity.ShowSkin(v, from, to, e.PSD...)
	size := quantity.Gray(1)
	if unit == "mGy" {
		size = quantity.MilliGray
	}
	s.Unit, s.Value, s.Low, s.High = unit, quantity.Some(float64(v/size)), quantity.Some(float64(from/size)), quantity.Some(float64(to/size))
	return s
}

func effectiveOf(a assessment.Assessment) Spread {
	e := a.Effective
	s := Spread{Unit: "mSv", Method: e.Method, Reason: e.Reason}
	v, ok := e.Value.Get()
	if !ok {
		return s
	}
	low, high := e.Low.Or(v), e.High.Or(v)
	s.Shown = [3]string{quantity.ShowEffective(v), quantity.ShowEffective(low), quantity.ShowEffective(high)}
	s.Value, s.Low, s.High = quantity.Some(v.MSv()), quantity.Some(low.MSv()), quantity.Some(high.MSv())
	return s
}

func list(s []string) []string {
	if s == nil {
		return []string{}
	}
	return append([]string{}, s...)
}

// day reads a local date.
func day(text string) (time.Time, bool) {
	t, err := time.Parse(time.DateOnly, text)
	return t, err == nil
}
