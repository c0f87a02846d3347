package effective

import (
	"fmt"
	"strings"

	"afterbeam/internal/quantity"
)

// Tissue is an organ or tissue with a weight of its own in effective dose.
type Tissue string

// The tissues of ICRP 60 and ICRP 103. Remainder is the arithmetic mean over the remainder tissues of the set.
const (
	Gonads         Tissue = "gonads"
	RedBoneMarrow  Tissue = "red bone marrow"
	Colon          Tissue = "colon"
	Lung           Tissue = "lung"
	Stomach        Tissue = "stomach"
	Bladder        Tissue = "bladder"
	Breast         Tissue = "breast"
	Liver          Tissue = "liver"
	Oesophagus     Tissue = "oesophagus"
	Thyroid        Tissue = "thyroid"
	Skin           Tissue = "skin"
	BoneSurface    Tissue = "bone surface"
	Brain          Tissue = "brain"
	SalivaryGlands Tissue = "salivary glands"
	Remainder      Tissue = "remainder"
)

// TissueWeight is the share of one tissue in hundredths, which sum exactly.
type TissueWeight struct {
	Tissue  Tissue
	Percent int
}

// Weights gives the tissue weights of a set in a fixed order, or nil for a set that has none. Tissues without a weight
// of their own in the set are not listed.
//
// Source: ICRP Publication 60 (1991) and ICRP Publication 103 (2007), as printed side by side in table 1 of Br J Radiol
// 83:1042 (2010); read.
func Weights(set WeightSet) []TissueWeight {
	switch set {
	case ICRP60:
		return []TissueWeight{
			{Gonads, 20},
			{RedBoneMarrow, 12},
			{Colon, 12},
			{Lung, 12},
			{Stomach, 12},
			{Bladder, 5},
			{Breast, 5},
			{Liver, 5},
			{Oesophagus, 5},
			{Thyroid, 5},
			{Skin, 1},
			{BoneSurface, 1},
			{Remainder, 5},
		}
	case ICRP103:
		return []TissueWeight{
			{Gonads, 8},
			{RedBoneMarrow, 12},
			{Colon, 12},
			{Lung, 12},
			{Stomach, 12},
			{Bladder, 4},
			{Breast, 12},
			{Liver, 4},
			{Oesophagus, 4},
			{Thyroid, 4},
			{Skin, 1},
			{BoneSurface, 1},
			{Brain, 1},
			{SalivaryGlands, 1},
			{Remainder, 12},
		}
	case WeightsUnknown:
	}
	return nil
}

// Weighted is the sum of tissue weight times absorbed dose (eq. 8.5); photons have the radiation weight 1. For the
// effective dose of ICRP 103 each dose is the mean over both sexes. A dose of zero has to be said: Weighted wants every
// tissue of the set and names those that are missing.
func Weighted(doses map[Tissue]quantity.Gray, set WeightSet) (quantity.Sievert, error) {
	weights := Weights(set)
	if weights == nil {
		return 0, fmt.Errorf("no tissue weights called %q: want %s or %s", string(set), string(ICRP60), string(ICRP103))
	}
	var missing []string
	sum := 0.0
	for _, w := range weights {
		dose, ok := doses[w.Tissue]
		if !ok {
			missing = append(missing, string(w.Tissue))
			continue
		}
		sum += float64(w.Percent) * float64(dose)
	}
	if missing != nil {
		return 0, fmt.Errorf("effective dose by %s: no dose for %s", set, strings.Join(missing, ", "))
	}
	return quantity.Sievert(sum / 100), nil
}
