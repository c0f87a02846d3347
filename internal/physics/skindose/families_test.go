package skindose_test

import "afterbeam/internal/physics/skindose"

// family is a kind of procedure as synthetic procedures are drawn from it. All of it is invented by the project: of the
// right order, after common practice, and no property of any equipment, patient or published series.
type family struct {
	name, class, group, site string
	// views are the usual working directions in degrees, primary and secondary. A case keeps to some of them, and lean
	// says how unevenly: at 0 all alike, at 2 mostly one.
	views       [][2]float64
	least, most int
	lean        float64
	// field is the range of the sides at the detector before collimation, mm.
	field [2]float64
	// pan is one standard deviation of table moves from event to event, travel how far along the body the case wanders to
	// either side, mm.
	pan, travel float64
	// lift is how far the isocentre lies in front of the body's axis, mm.
	lift [2]float64
	// acquired is the chance that an event is an acquisition behind thin filters.
	acquired float64
	// spin is the chance of a rotational run.
	spin float64
}

// families are the kinds of procedure of the back-test.
func families() []family {
	return []family{
		{
			name: "coronary", class: "coronary_intervention", group: skindose.GroupCoronary, site: "heart",
			views: [][2]float64{{-30, -25}, {-30, 25}, {0, 35}, {45, 25}, {45, -25}, {40, 0}, {-30, 0}, {0, -30}, {90, 0}},
			least: 2, most: 7, lean: 1, field: [2]float64{120, 220}, pan: 15, travel: 20, lift: [2]float64{0, 50}, acquired: 0.4,
		},
		{
			name: "rhythm", class: "rhythm_ablation", group: skindose.GroupStaticProjection, site: "heart",
			views: [][2]float64{{-30, 0}, {40, 0}, {0, 0}, {50, 0}}, least: 1, most: 3, lean: 1.5,
			field: [2]float64{160, 300}, pan: 10, travel: 10, lift: [2]float64{0, 50}, acquired: 0.05,
		},
		{
			name: "valve", class: "structural_valve", group: skindose.GroupStaticProjection, site: "heart",
			views: [][2]float64{{10, -10}, {0, 0}, {20, 20}, {-15, -20}, {30, 0}, {-30, 20}}, least: 1, most: 4, lean: 1.5,
			field: [2]float64{180, 320}, pan: 15, travel: 40, lift: [2]float64{0, 50}, acquired: 0.25, spin: 0.1,
		},
		{
			name: "pump", class: "percutaneous_pump", group: skindose.GroupStaticProjection, site: "heart",
			views: [][2]float64{{0, 0}, {-30, 0}, {30, 0}}, least: 1, most: 2, lean: 1.5,
			field: [2]float64{180, 300}, pan: 15, travel: 60, lift: [2]float64{0, 50}, acquired: 0.1,
		},
		{
			name: "neuro", class: "neuro", group: skindose.GroupNeuro, site: "brain",
			views: [][2]float64{{0, 20}, {90, 0}, {-90, 0}, {30, 15}, {-30, 15}, {45, -10}, {0, 0}}, least: 1, most: 5, lean: 1,
			field: [2]float64{160, 320}, pan: 8, travel: 10, lift: [2]float64{-20, 20}, acquired: 0.5, spin: 0.4,
		},
		{
			name: "body", class: "hepatic_biliary", group: skindose.GroupBody, site: "liver",
			views: [][2]float64{{0, 0}, {0, 0}, {20, 0}, {-20, 0}, {-30, 10}, {0, 20}}, least: 1, most: 4, lean: 1.5,
			field: [2]float64{220, 400}, pan: 20, travel: 40, lift: [2]float64{-20, 30}, acquired: 0.5, spin: 0.3,
		},
		{
			name: "aorta", class: "aortic_complex", group: skindose.GroupBody, site: "visceral_aorta",
			views: [][2]float64{{0, 0}, {0, 10}, {30, 0}, {-30, 0}, {70, 0}, {90, 0}, {-90, 0}, {45, 20}}, least: 2, most: 6, lean: 1,
			field: [2]float64{200, 420}, pan: 30, travel: 120, lift: [2]float64{-20, 30}, acquired: 0.5, spin: 0.3,
		},
	}
}

// variant is a circumstance that totals do not tell.
type variant string

const (
	ordinary      variant = "ordinary"
	staticLateral variant = "static lateral"
	obese         variant = "obese, 130 to 200 kg"
	biplane       variant = "biplane"
)

func variants() []variant { return []variant{ordinary, staticLateral, obese, biplane} }
