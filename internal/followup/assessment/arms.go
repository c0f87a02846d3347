package assessment

import (
	"fmt"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
)

// eitherArms lets the skin of procedures add that differ in where the arms were. Trunk adds to trunk, and arms to arms where
// they lay alongside. Raised arms have no dose. Where nobody told it and another procedure had arms alongside, both are
// tried and each patch takes the higher dose. It says what was done; nil where no arms lay alongside.
func (m Method) eitherArms(all []Assessment) []string {
	var beside, raised, untold int
	for i := range all {
		if all[i].SkinDose.Map == nil {
			continue
		}
		switch all[i].Facts.Arms {
		case procedure.ArmsAlongside:
			beside++
		case procedure.ArmsRaised:
			raised++
		case procedure.ArmsUnknown:
			untold++
		}
	}
	if beside == 0 || raised+untold == 0 {
		return nil
	}
	var said []string
	if raised > 0 {
		said = append(said, fmt.Sprintf("%d procedures had the arms raised: they add to the trunk alone, those with arms alongside to the arms too", raised))
	}
	if untold == 0 {
		return said
	}
	for i := range all {
		if all[i].SkinDose.Map == nil || all[i].Facts.Arms != procedure.ArmsUnknown {
			continue
		}
		facts := all[i].Facts
		facts.Arms = procedure.ArmsAlongside
		if other := m.Assess(all[i].Procedure, facts).SkinDose.Map; other != nil {
			if worst, err := skindose.EitherArms(all[i].SkinDose.Map, other); err == nil {
				all[i].SkinDose.Map = worst
			}
		}
	}
	return append(said, fmt.Sprintf("%d procedures do not tell where the arms were while others had them alongside: each place of their skin counts the higher of both, an upper bound", untold))
}

// armsOf says where the arms of a procedure were taken to be.
func armsOf(f procedure.Facts) string {
	switch f.Arms {
	case procedure.ArmsAlongside:
		return "alongside, as given"
	case procedure.ArmsRaised:
		return "raised, as given"
	case procedure.ArmsUnknown:
	}
	return "taken as raised"
}
