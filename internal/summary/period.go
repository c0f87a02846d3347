package summary

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// ErrPeriod marks the name of a period that cannot be read.
var ErrPeriod = errors.New("period not understood")

// Period is a span of whole months: a month, a quarter, a year or several years.
type Period struct {
	// Name is 2026-10, 2026-Q4, 2026 or 2017--2026; Kind is month, quarter, year or years.
	Name string `json:"name"`
	Kind string `json:"kind"`
	// From and To are the first and the last local date of it.
	From string `json:"from"`
	To   string `json:"to"`
}

// The kinds of periods.
const (
	Month   = "month"
	Quarter = "quarter"
	Year    = "year"
	Years   = "years"
)

// mostYears is how many years one summary may be of. Judgement.
const mostYears = 50

// ParsePeriod reads 2026-10, 2026-Q4, 2026 or 2017--2026, from the year 1900 to 2199. Anything else is ErrPeriod.
func ParsePeriod(name string) (Period, error) {
	if p, ok := periodOf(name); ok {
		return p, nil
	}
	return Period{}, fmt.Errorf("%w: want 2026-10, 2026-Q4, 2026 or 2017--2026", ErrPeriod)
}

func periodOf(name string) (Period, bool) {
	head, rest, parted := strings.Cut(name, "-")
	year, ok := yearOf(head)
	switch {
	case !ok:
		return Period{}, false
	case !parted:
		return spanOf(year, 1, 12), true
	}
	if end, several := strings.CutPrefix(rest, "-"); several {
		last, ok := yearOf(end)
		return spanOf(year, 1, 12*(last-year+1)), ok && last > year && last-year < mostYears
	}
	quarter, isQuarter := strings.CutPrefix(rest, "Q")
	number, err := strconv.ParseUint(quarter, 10, 8) // no sign
	month := int(number)
	switch {
	case err != nil || month < 1:
		return Period{}, false
	case isQuarter:
		return spanOf(year, 3*month-2, 3), len(quarter) == 1 && month <= 4
	}
	return spanOf(year, month, 1), len(rest) == 2 && month <= 12
}

// Before gives the period of the same kind that ends where this one begins.
func (p Period) Before() Period { return p.shifted(-1) }

// After gives the period of the same kind that follows.
func (p Period) After() Period { return p.shifted(1) }

// Holds tells whether a local date lies in the period.
func (p Period) Holds(day string) bool { return day >= p.From && day <= p.To }

// Months lists the months of the period.
func (p Period) Months() []Period {
	first, months := p.first()
	list := make([]Period, 0, months)
	for m := range months {
		at := first.AddDate(0, m, 0)
		list = append(list, spanOf(at.Year(), int(at.Month()), 1))
	}
	return list
}

func (p Period) shifted(by int) Period {
	first, months := p.first()
	at := first.AddDate(0, by*months, 0)
	return spanOf(at.Year(), int(at.Month()), months)
}

func yearOf(text string) (int, bool) {
	year, err := strconv.Atoi(text)
	return year, err == nil && len(text) == 4 && year >= 1900 && year <= 2199
}

func (p Period) first() (time.Time, int) {
	at, err := time.Parse(time.DateOnly, p.From)
	if err != nil {
		return time.Time{}, 0
	}
	switch p.Kind {
	case Years:
		last, err := time.Parse(time.DateOnly, p.To)
		if err != nil {
			return time.Time{}, 0
		}
		return at, 12 * (last.Year() - at.Year() + 1)
	case Year:
		return at, 12
	case Quarter:
		return at, 3
	}
	return at, 1
}

func spanOf(year, month, months int) Period {
	from := time.Date(year, time.Month(month), 1, 0, 0, 0, 0, time.UTC)
	p := Period{From: from.Format(time.DateOnly), To: from.AddDate(0, months, -1).Format(time.DateOnly)}
	switch {
	case months > 12:
		p.Name, p.Kind = fmt.Sprintf("%04d--%04d", year, year+months/12-1), Years
	case months == 12:
		p.Name, p.Kind = from.Format("2006"), Year
	case months == 3:
		p.Name, p.Kind = fmt.Sprintf("%s-Q%d", from.Format("2006"), (month+2)/3), Quarter
	default:
		p.Name, p.Kind = from.Format("2006-01"), Month
	}
	return p
}
