package skindose

import (
	"slices"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// worst irradiates a body by shots of which some may have been others (see exposure.Shot.Else): each as reported, or all
// of them at the one angle that makes the peak highest. It returns the shots that it took, and what Irradiate returns.
func (b *bench) worst(shots []exposure.Shot, skin *body.Body) (*Map, []exposure.Shot, error) {
	var doubtful []exposure.Shot
	sure := slices.DeleteFunc(slices.Clone(shots), func(s exposure.Shot) bool {
		if len(s.Else) > 0 {
			doubtful = append(doubtful, s)
		}
		return len(s.Else) > 0
	})
	if len(doubtful) == 0 {
		m, err := b.irradiate(shots, skin)
		return m, shots, err
	}
	base, err := b.irradiate(sure, skin)
	if err != nil {
		return nil, nil, err
	}
	best, highest := doubtful, quantity.Gray(-1)
	for k := -1; k < len(doubtful[0].Else); k++ {
		turned := doubtful
		if k >= 0 {
			turned = make([]exposure.Shot, len(doubtful))
			for i := range doubtful {
				turned[i] = doubtful[i].Else[k]
			}
		}
		m, err := b.irradiate(turned, skin)
		if err != nil {
			return nil, nil, err
		}
		if peak := peakTogether(base, m); peak > highest {
			best, highest = turned, peak
		}
	}
	taken := append(sure, best...)
	m, err := b.irradiate(taken, skin)
	return m, taken, err
}

// peakTogether gives the highest dose of two maps of one body.
func peakTogether(a, b *Map) quantity.Gray {
	peak := quantity.Gray(0)
	for i := range a.Dose {
		peak = max(peak, a.Dose[i]+b.Dose[i])
	}
	return peak
}
