package skindose

import (
	_ "embed"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

// The groups of procedures that totals are turned into skin dose by.
const (
	GroupCoronary         = "coronary"
	GroupStaticProjection = "static_projection"
	GroupNeuro            = "neuro"
	GroupBody             = "body"
	GroupUnknown          = "unknown"
)

// Totals are the relations between totals and peak skin dose of one group.
type Totals struct {
	Group string
	// PerKerma, with its low and high end, is peak skin dose per reference air kerma.
	PerKerma, PerKermaLow, PerKermaHigh quantity.Ratio
	// PerKAP, with its low and high end, is peak skin dose per kerma-area product.
	PerKAP, PerKAPLow, PerKAPHigh PerKAP
}

//go:embed totals.csv
var totalsCSV string

// TotalsOf gives the relations of a group, those of GroupUnknown for a group that is not in the table; the returned
// Group tells which.
func TotalsOf(group string) Totals {
	var unknown Totals
	for _, row := range embedded.Records(totalsCSV) {
		t := totalsIn(row)
		if t.Group == group {
			return t
		}
		if t.Group == GroupUnknown {
			unknown = t
		}
	}
	return unknown
}

func totalsIn(row []string) Totals {
	v := embedded.Numbers(row[1:])
	return Totals{
		Group: row[0], PerKerma: quantity.Ratio(v[0]), PerKermaLow: quantity.Ratio(v[1]), PerKermaHigh: quantity.Ratio(v[2]),
		PerKAP:     PerKAP(v[3]) * MilliGrayPerGycm2,
		PerKAPLow:  PerKAP(v[4]) * MilliGrayPerGycm2,
		PerKAPHigh: PerKAP(v[5]) * MilliGrayPerGycm2,
	}
}
