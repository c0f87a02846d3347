package skinmap

import (
	"math"

	"afterbeam/internal/quantity"
)

// unit is what the doses of one picture are printed in.
type unit struct {
	name string
	size quantity.Gray
}

// unit is Gy, or mGy for a peak under 0.1 Gy.
func (f Figure) unit() unit {
	const small quantity.Gray = 0.1
	if f.Map.PeakDose() < small {
		return unit{"mGy", quantity.MilliGray}
	}
	return unit{"Gy", 1}
}

// number prints a dose with three figures at most, and never up to a contour line it lies below.
func (u unit) number(d quantity.Gray) string {
	v := float64(d / u.size)
	levels := make([]float64, len(series))
	for i, s := range series {
		levels[i] = float64(s / u.size)
	}
	if v >= 10 {
		return quantity.Below(v, 1, levels...)
	}
	return quantity.Below(v, 2, levels...)
}

// InGray prints a dose in Gy as the pictures do, without the unit.
func InGray(d quantity.Gray) string { return unit{"Gy", 1}.number(d) }

// with prints a dose with its unit.
func (u unit) with(d quantity.Gray) string { return u.number(d) + " " + u.name }

// line prints the dose of a contour line: the series has whole numbers and single figures.
func (u unit) line(d quantity.Gray) string {
	v := float64(d / u.size)
	const rounding = 1e-9
	if whole := math.Round(v); math.Abs(v-whole) < rounding {
		return quantity.Fixed(whole, 0)
	}
	return quantity.Significant(v, 1)
}
