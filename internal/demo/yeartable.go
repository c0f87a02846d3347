package demo

import (
	_ "embed"
	"sync"

	"afterbeam/internal/embedded"
)

//go:embed year.csv
var yearTable string

// kind is one row of the year's table: what is done how often, and how its doses spread.
type kind struct {
	class  string
	aMonth float64
	// kerma is in Gy, kap in Gy cm2, fluoro in minutes.
	kerma, kap, fluoro spread
	minutes            float64 // the usual length of a case
}

// spread is a log-normal distribution: its median, and sigma of the natural logarithm.
type spread struct{ median, sigma float64 }

// kinds reads the table; the factor of the centre's equipment is in the medians.
var kinds = sync.OnceValue(func() []kind {
	var all []kind
	for _, f := range embedded.Records(yearTable) {
		n := embedded.Numbers([]string{f[1], f[2], f[3], f[5], f[6], f[8], f[9], f[11], f[12]})
		factor := n[7]
		all = append(all, kind{
			class: f[0], aMonth: n[0], kerma: spread{n[1] * factor, n[2]}, kap: spread{n[3] * factor, n[4]}, fluoro: spread{n[5], n[6]}, minutes: n[8],
		})
	}
	return all
})
