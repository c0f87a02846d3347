package web

import (
	"math"
	"strconv"
	"time"

	"afterbeam/internal/httpapi"
)

// The frame of the line of time, in units of its drawing.
const (
	historyWidth, historyHeight = 760, 246
	historyLeft, historyRight   = 52, 744
	historyTop, historyLow      = 34, 160
)

// timeline draws the estimated peak skin dose of each procedure over time, with its range, and the windows under it.
type timeline struct {
	Width, Height, Left, Right, Top, Low int
	Marks                                []mark
	Days, Doses                          []tick
	Spans                                []span
	From, To                             string
	Known                                int // marks with an estimate
}

// mark is a procedure: where its estimate and the ends of its range are. Known is false without an estimate.
type mark struct {
	X, Y, Low, High int
	Known           bool
	State, ID       string
}

type tick struct {
	At   int
	Text string
}

// span is a window of so many days that ends with the newest procedure.
type span struct{ Days, X, Y, Width int }

func (v *view) timelineOf(dose httpapi.CumulativeDose) timeline {
	l := timeline{Width: historyWidth, Height: historyHeight, Left: historyLeft, Right: historyRight, Top: historyTop, Low: historyLow}
	end, err := time.Parse(time.DateOnly, dose.AsOf)
	if err != nil {
		return l
	}
	first, highest := extent(dose, end)
	across := func(t time.Time) int {
		return historyLeft + int(math.Round((historyRight-historyLeft)*t.Sub(first).Hours()/max(1, end.Sub(first).Hours()+24)))
	}
	top := roundUp(highest)
	up := func(gy float64) int { return historyLow - int(math.Round((historyLow-historyTop)*gy/top)) }
	for _, gy := range []float64{0, top / 2, top} {
		l.Doses = append(l.Doses, tick{up(gy), strconv.FormatFloat(gy, 'g', 6, 64)})
	}
	for _, p := range dose.Procedures {
		day, ok := dayOf(p)
		if !ok {
			continue
		}
		m := mark{X: across(day), Y: historyLow, Low: historyLow, High: historyLow, State: string(p.Flag), ID: p.Id}
		if x := p.PeakSkinDose; x.Value != nil {
			m.Known, m.Y = true, up(*x.Value)
			m.Low, m.High = m.Y, m.Y
			if x.Low != nil && x.High != nil {
				m.Low, m.High = up(*x.Low), up(*x.High)
			}
			l.Known++
		}
		l.Marks = append(l.Marks, m)
	}
	l.Days = v.dayTicks(first, end, across)
	for i, w := range dose.Windows {
		if w.Days != nil && w.From != nil {
			if from, err := time.Parse(time.DateOnly, *w.From); err == nil {
				at := across(from)
				l.Spans = append(l.Spans, span{*w.Days, at, historyLow + 30 + 18*i, historyRight - at})
			}
		}
	}
	l.From, l.To = v.lang.Date(first), v.lang.Date(end)
	return l
}

// extent gives the first day shown, a year back or before the first procedure, and the highest dose.
func extent(dose httpapi.CumulativeDose, end time.Time) (first time.Time, highest float64) {
	const year = 365
	first = end.AddDate(0, 0, -year)
	for _, p := range dose.Procedures {
		if day, ok := dayOf(p); ok && day.Before(first) {
			first = day
		}
		for _, x := range []*float64{p.PeakSkinDose.Value, p.PeakSkinDose.High} {
			if x != nil {
				highest = max(highest, *x)
			}
		}
	}
	return first.AddDate(0, 0, -int(end.Sub(first).Hours()/24/40)-1), highest
}

// dayOf is the local day of a procedure.
func dayOf(p httpapi.Procedure) (time.Time, bool) {
	if p.LocalDate == nil {
		return time.Time{}, false
	}
	t, err := time.Parse(time.DateOnly, *p.LocalDate)
	return t, err == nil
}

// dayTicks names months or years, eight at most.
func (v *view) dayTicks(first, end time.Time, across func(time.Time) int) []tick {
	const most = 8
	months := int(end.Sub(first).Hours()/24/30) + 1
	step := (months + most - 1) / most
	if step > 6 {
		step = (step + 11) / 12 * 12
	}
	var ticks []tick
	for at := time.Date(first.Year(), 1, 1, 0, 0, 0, 0, time.UTC); !at.After(end); at = at.AddDate(0, step, 0) {
		if !at.Before(first) && across(at) < historyRight-30 {
			ticks = append(ticks, tick{across(at), at.Format("2006-01")})
		}
	}
	return ticks
}

// roundUp gives a round number of Gy not below one: 1, 2 or 5 times a power of ten.
func roundUp(gy float64) float64 {
	if gy <= 0 {
		return 1
	}
	size := math.Pow(10, math.Floor(math.Log10(gy)))
	for _, times := range []float64{1, 2, 5} {
		if gy <= times*size {
			return times * size
		}
	}
	return 10 * size
}
