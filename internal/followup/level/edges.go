package level

// Edges are the values up to which a printed number must not be rounded: a value below a level never prints as the level.
type Edges struct {
	PSD, Kerma []float64 // Gy
	KAP        []float64 // Gy cm2
}

// Edges gives the levels that a case was compared with, the steps around its value, and the edges of the tissue-reaction
// bands and of the skin areas that are told.
func (e Evaluation) Edges() Edges {
	all := Edges{PSD: []float64{1, 2, 3, 5, 10, 15}}
	for _, r := range e.Results {
		_, size := r.Row.Quantity.Unit()
		of := []float64{r.Level / size}
		for _, passed := range r.Passed {
			of = append(of, passed/size)
		}
		if n := len(r.Passed); n > 0 {
			of = append(of, (r.Passed[n-1]+r.Row.Step*r.Level/r.Row.Value)/size)
		}
		switch r.Row.Quantity {
		case PSD:
			all.PSD = append(all.PSD, of...)
		case Kerma:
			all.Kerma = append(all.Kerma, of...)
		case KAP:
			all.KAP = append(all.KAP, of...)
		case FluoroTime, QuantityNone:
		}
	}
	return all
}
