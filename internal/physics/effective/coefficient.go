package effective

import (
	_ "embed"
	"fmt"
	"math"
	"slices"
	"strconv"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

// Coefficient is effective dose per kerma-area product in mSv per Gy cm2.
type Coefficient float64

// Of gives the effective dose that a kerma-area product brings.
func (c Coefficient) Of(kap quantity.GraySquareMetre) quantity.Sievert {
	return quantity.Sievert(float64(c)*kap.Gycm2()) * quantity.MilliSievert
}

// WeightSet names the tissue weights behind a number.
type WeightSet string

// The sets of tissue weights. WeightsUnknown marks a coefficient whose source as read does not say.
const (
	ICRP60         WeightSet = "icrp60"
	ICRP103        WeightSet = "icrp103"
	WeightsUnknown WeightSet = "unknown"
)

// String names the set for people.
func (w WeightSet) String() string {
	switch w {
	case ICRP60:
		return "ICRP 60 weights"
	case ICRP103:
		return "ICRP 103 weights"
	case WeightsUnknown:
	}
	return "tissue weights not stated"
}

// Row is one line of the table of coefficients.
type Row struct {
	// Region is a dose region, or for the pelvis a dose region with the sex.
	Region string
	// Copper is the added filtration the row holds for, Age the age of a child in years; absent where it holds for all.
	Copper           quantity.Opt[quantity.Millimetre]
	Age              quantity.Opt[float64]
	Value, Low, High Coefficient
	Weights          WeightSet
	// Known says how the number is known: read or judgement. Source and Note say where it is from.
	Known, Source, Note string
}

//go:embed coefficients.csv
var coefficientsCSV string

var theRows = sync.OnceValue(func() []Row { return embedded.Must(parseRows(coefficientsCSV)) })

// Rows gives the table of coefficients, for showing it beside a result.
func Rows() []Row { return slices.Clone(theRows()) }

func parseRows(text string) ([]Row, error) {
	var rows []Row
	for _, r := range embedded.Records(text) {
		row := Row{Region: r[0], Weights: WeightSet(r[6]), Known: r[7], Source: r[8], Note: r[9]}
		var numbers [5]quantity.Opt[float64]
		for i, field := range r[1:6] {
			if field == "" {
				continue
			}
			number, err := strconv.ParseFloat(field, 64)
			if err != nil {
				return nil, err
			}
			numbers[i] = quantity.Some(number)
		}
		if mm, ok := numbers[0].Get(); ok {
			row.Copper = quantity.Some(quantity.Millimetre(mm))
		}
		row.Age = numbers[1]
		row.Value, row.Low, row.High = Coefficient(numbers[2].Or(0)), Coefficient(numbers[3].Or(0)), Coefficient(numbers[4].Or(0))
		if row.Low <= 0 || row.Low > row.Value || row.Value > row.High {
			return nil, fmt.Errorf("row %v: want 0 < low <= value <= high", r)
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// plainRow finds the line of a region that depends on neither copper nor age.
func plainRow(region string) (Row, bool) {
	i := slices.IndexFunc(theRows(), func(r Row) bool {
		return r.Region == region && !r.Copper.Present() && !r.Age.Present()
	})
	if i < 0 {
		return Row{}, false
	}
	return theRows()[i], true
}

// forCopper gives the cardiac line at a thickness of added copper: linear between the published thicknesses, and the
// nearest of them outside (eq. 8.2).
func forCopper(thickness quantity.Millimetre) Row {
	at := func(r Row) (float64, bool) { mm, ok := r.Copper.Get(); return float64(mm), ok }
	got := between(at, float64(thickness), func(a, b, share float64) float64 { return a + share*(b-a) })
	got.Copper = quantity.Some(thickness)
	return got
}

// forAge gives the cardiac line at an age below 16 years: linear in the logarithm of the coefficient between the ages of
// the table, because it falls with age like a power of body size, and the line of 15 years above (eq. 8.3).
func forAge(years float64) Row {
	got := between(func(r Row) (float64, bool) { return r.Age.Get() }, years, func(a, b, share float64) float64 {
		return a * math.Pow(b/a, share)
	})
	got.Age = quantity.Some(years)
	return got
}

// between interpolates the cardiac lines that have a place on the axis at; the table holds them in rising order.
func between(at func(Row) (float64, bool), x float64, mix func(a, b, share float64) float64) Row {
	var lower Row
	found := false
	for _, r := range theRows() {
		place, ok := at(r)
		switch {
		case !ok:
			continue
		case place == x, !found && place > x:
			return r
		case place < x:
			lower, found = r, true
			continue
		}
		from, _ := at(lower)
		share := (x - from) / (place - from)
		both := func(a, b Coefficient) Coefficient { return Coefficient(mix(float64(a), float64(b), share)) }
		lower.Value, lower.Low, lower.High = both(lower.Value, r.Value), both(lower.Low, r.Low), both(lower.High, r.High)
		return lower
	}
	return lower
}
