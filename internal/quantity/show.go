package quantity

import (
	"math"
	"slices"
	"strconv"
)

// tooLong is from where a number is beyond all sense and prints with an exponent.
const tooLong = 1e7

// Figures prints v with so many significant figures, and one more where it would round up to an edge above it.
func Figures(v float64, n int, edges ...float64) string {
	if v >= tooLong {
		return strconv.FormatFloat(v, 'g', n, 64)
	}
	text := Significant(v, n)
	printed, err := strconv.ParseFloat(text, 64)
	if err != nil || !slices.ContainsFunc(edges, func(e float64) bool { return v < e && e <= printed }) {
		return text
	}
	return Below(v, max(0, n-int(math.Floor(math.Log10(v)))), edges...)
}

// ShowKerma prints a reported air kerma for people: from 1 Gy on with two decimals, below with three significant figures. A
// value below an edge, in Gy, never prints as the edge.
func ShowKerma(v Gray, edges ...float64) string {
	const decimals = 2
	if v >= 1 && v < tooLong {
		return Below(float64(v), decimals, edges...) + " Gy"
	}
	return Figures(float64(v), decimals+1, edges...) + " Gy"
}

// ShowKAP prints a kerma-area product for people: with three significant figures, and whole from 100 Gy cm2 on. Edges are in
// Gy cm2.
func ShowKAP(v GraySquareMetre, edges ...float64) string {
	if g := v.Gycm2(); g >= 100 && g < tooLong {
		return Below(g, 0, edges...) + " Gy cm2"
	}
	return Figures(v.Gycm2(), 3, edges...) + " Gy cm2"
}

// ShowMinutes prints a time for people, in minutes with one decimal.
func ShowMinutes(v Second) string { return Fixed(v.Minutes(), 1) + " min" }

// ShowSkin prints an estimated skin dose and the ends of its range for people: two significant figures, all in the unit of
// the value, which comes beside them. Edges are in Gy.
func ShowSkin(value, low, high Gray, edges ...float64) (v, from, to, unit string) {
	const small = 0.01 // Gy; below it mGy read better
	unit, size := "Gy", Gray(1)
	if value < small {
		unit, size = "mGy", MilliGray
		scaled := make([]float64, len(edges))
		for i, e := range edges {
			scaled[i] = e / float64(size)
		}
		edges = scaled
	}
	print := func(g Gray) string { return Figures(float64(g/size), 2, edges...) }
	return print(value), print(low), print(high), unit
}

// ShowEffective prints an effective dose in mSv for people, without the unit: two significant figures.
func ShowEffective(v Sievert) string { return Figures(v.MSv(), 2) }
