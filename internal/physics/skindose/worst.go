package skindose

import (
	"slices"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// worst irradiates a body by shots of which some may have been others (see exposure.Shot.Else): each as reported, or all
// of them at the one angle that makes the peak highest. It returns what Irradiate does.
func worst(shots []exposure.Shot, b *body.Body, tissue beam.Material) (*Map, error) {
	var doubtful []exposure.Shot
	sure := slices.DeleteFunc(slices.Clone(shots), func(s exposure.Shot) bool {
		if len(s.Else) > 0 {
			doubtful = append(doubtful, s)
		}
		return len(s.Else) > 0
	})
	if len(doubtful) == 0 {
		return Irradiate(shots, b, tissue)
	}
	base, err := Irradiate(sure, b, tissue)
	if err != nil {
		return nil, err
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
		m, err := Irradiate(turned, b, tissue)
		if err != nil {
			return nil, err
		}
		if peak := peakTogether(base, m); peak > highest {
			best, highest = turned, peak
		}
	}
	return Irradiate(append(sure, best...), b, tissue)
}

// peakTogether gives the highest dose of two maps of one body.
func peakTogether(a, b *Map) quantity.Gray {
	peak := quantity.Gray(0)
	for i := range a.Dose {
		peak = max(peak, a.Dose[i]+b.Dose[i])
	}
	return peak
}
