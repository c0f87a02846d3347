package effective

import (
	"fmt"
	"slices"

	"afterbeam/internal/quantity"
)

// Text prints an Estimate for people: two significant figures, the range, whose tissue weights; or a dash with the
// reason. Caution stands beside it wherever it is shown.
func Text(e Estimate) string {
	value, ok := e.Value.Get()
	low, okLow := e.Low.Get()
	high, okHigh := e.High.Get()
	if !ok || !okLow || !okHigh {
		return "– (no effective dose: " + e.Reason + ")"
	}
	text := fmt.Sprintf("about %s mSv (%s to %s mSv), %s", figures(value), figures(low), figures(high), weightsText(e.Parts))
	if e.Method == MethodRegionUnknown {
		text += ", region unknown"
	}
	if e.Reason != "" {
		text += "; " + e.Reason
	}
	return text
}

func figures(dose quantity.Sievert) string { return quantity.Significant(dose.MSv(), 2) }

func weightsText(parts []Part) string {
	var sets []WeightSet
	for _, p := range parts {
		if !slices.Contains(sets, p.Weights) {
			sets = append(sets, p.Weights)
		}
	}
	if len(sets) != 1 {
		return "tissue weights of several sets"
	}
	return sets[0].String()
}
