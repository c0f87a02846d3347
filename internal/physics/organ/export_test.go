package organ

import "afterbeam/internal/physics/effective"

// Sets, WeightsOf and MarrowPerMille are for tests.
func Sets() [2]effective.WeightSet { return sets() }

func WeightsOf(set effective.WeightSet) []float64 {
	var shares []float64
	for _, w := range weightsOf(set) {
		shares = append(shares, w.share)
	}
	return shares
}

func MarrowPerMille(bone string) float64 { return marrowPerMille(bone) }
