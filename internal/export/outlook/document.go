package outlook

import (
	"slices"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// Caution goes with every plan.
const Caution = "What planned beams would add to the skin by estimates from earlier dose reports, not a measurement: estimates have a range, and where " +
	"procedures overlap on the skin is less certain than that. It informs people and decides nothing: it is no permission and no limit. The physician and the medical physicist " +
	"decide, by licensed practice and local rules."

// Document is what a plan says. Doses are estimated and in Gy.
type Document struct {
	Caution string  `json:"caution"`
	Earlier Earlier `json:"earlier"`
	Beams   []Beam  `json:"beams"`
	Grid    *Grid   `json:"grid,omitempty"`
	// Notes say what the plan rests on and lacks, Assumptions what placing the beams takes for granted.
	Notes       []string `json:"notes"`
	Assumptions []string `json:"assumptions"`
}

// Earlier is what the procedures before left on the skin.
type Earlier struct {
	Procedures int `json:"procedures"`
	// Mapped procedures are in the plan; ElsewhereGy is the sum of the peaks of the Unmapped, Unknown have no estimate.
	Mapped      int            `json:"mapped"`
	Unmapped    int            `json:"unmapped"`
	ElsewhereGy quantity.Gray  `json:"elsewhere_gy"`
	Unknown     int            `json:"unknown"`
	PeakGy      quantity.Gray  `json:"peak_gy"`
	Place       skindose.Place `json:"place"`
}

// Beam is what one planned beam would do, see skindose.Outlook.
type Beam struct {
	skindose.Direction
	KermaGy    quantity.Gray  `json:"kerma_gy"`
	AddsGy     quantity.Gray  `json:"adds_gy"`
	AddsPlace  skindose.Place `json:"adds_place"`
	BeforeGy   quantity.Gray  `json:"before_gy"`
	AfterGy    quantity.Gray  `json:"after_gy"`
	AfterPlace skindose.Place `json:"after_place"`
	PeakGy     quantity.Gray  `json:"peak_gy"`
}

// Grid is what the same kerma would do from each of the directions: Outlooks by primary, within it by secondary angle, nil
// where the beam hits no skin.
type Grid struct {
	KermaGy   quantity.Gray     `json:"kerma_gy"`
	Primary   []quantity.Degree `json:"primary_deg"`
	Secondary []quantity.Degree `json:"secondary_deg"`
	Outlooks  [][]*Beam         `json:"outlooks"`
}

// assume adds assumptions, each once, in the order of the beams.
func (d *Document) assume(said []string) {
	for _, one := range said {
		if !slices.Contains(d.Assumptions, one) {
			d.Assumptions = append(d.Assumptions, one)
		}
	}
}
