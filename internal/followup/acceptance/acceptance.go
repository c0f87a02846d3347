// Package acceptance compares what the console of a device showed after some cases with what the service made of their reports,
// before a site relies on the service.
package acceptance

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"afterbeam/internal/quantity"
)

// Quantity is what a console shows after a case.
type Quantity string

// The quantities.
const (
	Kerma Quantity = "kar"
	KAP   Quantity = "kap"
	Time  Quantity = "ft"
)

// Quantities lists them in their order.
func Quantities() []Quantity { return []Quantity{Kerma, KAP, Time} }

// Tolerance in percent: what a console and its report may differ by beyond the rounding of the display. Judgement: both come
// from the same counters.
const (
	DefaultTolerance = 1.0
	MostTolerance    = 20.0
)

// ErrReading marks a reading that is no number with a known unit.
var ErrReading = errors.New("reading of a console")

// units are what consoles print, by quantity, in Gy, Gy m2 and s; common practice, no source.
func units(q Quantity) map[string]float64 {
	switch q {
	case Kerma:
		return map[string]float64{"Gy": 1, "mGy": 1e-3}
	case KAP:
		return map[string]float64{"Gy.m2": 1, "Gy.cm2": 1e-4, "mGy.cm2": 1e-7, "dGy.cm2": 1e-5, "cGy.cm2": 1e-6, "uGy.m2": 1e-6}
	case Time:
		return map[string]float64{"s": 1, "min": 60}
	}
	return nil
}

// Units lists the units of a quantity that a reading may have, the usual one first.
func Units(q Quantity) []string {
	switch q {
	case Kerma:
		return []string{"mGy", "Gy"}
	case KAP:
		return []string{"Gy.cm2", "mGy.cm2", "dGy.cm2", "cGy.cm2", "uGy.m2", "Gy.m2"}
	case Time:
		return []string{"min", "s"}
	}
	return nil
}

// Reading is a number as a console shows it: text such as "1.23" or "12:30" (minutes and seconds), and its unit.
type Reading struct {
	Quantity Quantity `json:"quantity"`
	Text     string   `json:"text"`
	Unit     string   `json:"unit"`
}

// value gives the reading in canonical units with half of its last digit. It returns ErrReading.
func (r Reading) value() (v, half float64, err error) {
	scale, known := units(r.Quantity)[r.Unit]
	if !known {
		return 0, 0, fmt.Errorf("%w: unit %q of %s, want one of %s", ErrReading, r.Unit, r.Quantity, strings.Join(Units(r.Quantity), ", "))
	}
	text := strings.Replace(strings.TrimSpace(r.Text), ",", ".", 1)
	if minutes, seconds, clock := strings.Cut(text, ":"); clock && r.Unit == "min" {
		m, errM := strconv.ParseUint(minutes, 10, 16)
		s, errS := strconv.ParseUint(seconds, 10, 8)
		if errM != nil || errS != nil || s >= 60 || len(seconds) != 2 {
			return 0, 0, fmt.Errorf("%w: %s as %q, want minutes and seconds such as 12:30", ErrReading, r.Quantity, r.Text)
		}
		return float64(60*m + s), 0.5, nil
	}
	number, err := strconv.ParseFloat(text, 64)
	if err != nil || number < 0 || math.IsInf(number, 0) || strings.ContainsAny(text, "eExXpP_") {
		return 0, 0, fmt.Errorf("%w: %s as %q, want a number such as 1.23", ErrReading, r.Quantity, r.Text)
	}
	_, decimals, _ := strings.Cut(text, ".")
	return number * scale, 0.5 * math.Pow10(-len(decimals)) * scale, nil
}

// Served is what the service has of a case, in canonical units; absent where the report does not say.
type Served struct {
	Kerma quantity.Opt[quantity.Gray]
	KAP   quantity.Opt[quantity.GraySquareMetre]
	Time  quantity.Opt[quantity.Second]
	// Whole tells whether a number holds every plane.
	KermaWhole, KAPWhole, TimeWhole bool
}

// State is how a reading and the service stand to each other.
type State string

// The states.
const (
	Agrees State = "agrees"
	Differ State = "differs"
	Open   State = "not comparable"
)

// Row is one reading beside the service.
type Row struct {
	Case string `json:"case"` // id of the procedure
	Reading
	// Served is the service's number in the unit of the reading, nil where it has none.
	Served *float64 `json:"served"`
	// DifferencePercent is that of the service from the console, nil where it cannot be said.
	DifferencePercent *float64 `json:"difference_percent"`
	State             State    `json:"state"`
	Why               string   `json:"why"`
}

// Compare sets the readings of a case beside what the service has: they agree within half the last digit of the display and
// the tolerance in percent. A number that the service lacks, or has of some planes only, agrees with nothing. It returns
// ErrReading.
func Compare(id string, readings []Reading, s Served, tolerancePercent float64) ([]Row, error) {
	var all []Row
	for _, r := range readings {
		shown, half, err := r.value()
		if err != nil {
			return nil, err
		}
		row := Row{Case: id, Reading: r, State: Open}
		served, whole, known := s.of(r.Quantity)
		scale := units(r.Quantity)[r.Unit]
		switch {
		case !known:
			row.Why = "the service has no number"
		case !whole:
			row.Why = "the service has it of some planes only"
		}
		if known {
			inUnit := served / scale
			row.Served = &inUnit
		}
		if known && shown > 0 {
			percent := 100 * (served - shown) / shown
			row.DifferencePercent = &percent
		}
		if known && whole {
			row.State = Differ
			if math.Abs(served-shown) <= half*(1+1e-9)+tolerancePercent/100*shown {
				row.State = Agrees
			}
		}
		all = append(all, row)
	}
	return all, nil
}

func (s Served) of(q Quantity) (v float64, whole, known bool) {
	switch q {
	case Kerma:
		k, ok := s.Kerma.Get()
		return float64(k), s.KermaWhole, ok
	case KAP:
		k, ok := s.KAP.Get()
		return float64(k), s.KAPWhole, ok
	case Time:
		t, ok := s.Time.Get()
		return float64(t), s.TimeWhole, ok
	}
	return 0, false, false
}

// AllAgree tells whether every reading agrees; it is false of none.
func AllAgree(rows []Row) bool {
	for _, r := range rows {
		if r.State != Agrees {
			return false
		}
	}
	return len(rows) > 0
}
