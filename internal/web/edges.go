package web

import (
	"net/http"

	"afterbeam/internal/httpapi"
)

// mostSteps is how often a level that repeats is looked at: no case passes more.
const mostSteps = 30

// edges are the values that a number below them never prints as, in Gy and Gy cm2.
type edges struct{ psd, kerma, kap []float64 }

// edges gives the levels in force and their steps, and the edges of the bands of skin dose.
func (v *view) edges() (edges, error) {
	in, err := ask[httpapi.LevelsInForce](v, http.MethodGet, "/v1/levels", nil)
	if err != nil {
		return edges{}, err
	}
	e := edges{psd: []float64{1, 2, 3, 5, 10, 15}}
	for _, r := range in.Rows {
		if !r.On || r.Value == nil {
			continue
		}
		of := []float64{*r.Value}
		for i := 1; r.Step != nil && i <= mostSteps; i++ {
			of = append(of, *r.Value+float64(i)**r.Step)
		}
		switch r.Quantity {
		case httpapi.LevelRowQuantityPsd:
			e.psd = append(e.psd, of...)
		case httpapi.LevelRowQuantityKar:
			e.kerma = append(e.kerma, of...)
		case httpapi.LevelRowQuantityKap:
			e.kap = append(e.kap, of...)
		case httpapi.LevelRowQuantityFt, httpapi.LevelRowQuantityNone: // times print with one decimal, and flag only alone
		}
	}
	return e, nil
}
