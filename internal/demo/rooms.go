package demo

import "afterbeam/internal/procedure"

// The invented centre and maker.
const (
	// Centre is where the scenario plays; it is invented.
	Centre       = "Saltmarsh Regional Heart & Vascular Centre (synthetic)"
	manufacturer = "Saltmarsh Imaging Works (synthetic)"
)

// refBeforeIso is how far the patient entrance reference point of a C-arm lies before the isocentre, towards the focus, in
// mm. Source: PS3.16 CID 10025, code 113860; read.
const refBeforeIso = 150

// room is one room with its equipment.
type room struct {
	device procedure.Device
	tubes  []tube
	table  tableScale
}

// tube is one X-ray plane; lengths in mm.
type tube struct {
	plane         procedure.Plane
	toIso         float64
	height, width float64 // whole detector
}

func (t tube) toRef() float64 { return t.toIso - refBeforeIso }

// tableScale is what the table's display shows for a table at a known place: display = zero + sign x place in mm.
type tableScale struct {
	longitudinal, lateral, height scale
	mattress                      float64 // compressed, mm
}

type scale struct{ zero, sign float64 }

func (s scale) display(place float64) float64 { return s.zero + s.sign*place }

func hybrid1() room {
	return room{
		device: device("Hybrid 1", "HYBRID1", "Model H"),
		tubes:  []tube{{procedure.PlaneSingle, 785, 300, 380}},
		table:  tableScale{longitudinal: scale{0, 1}, lateral: scale{0, 1}, height: scale{0, 1}, mattress: 25},
	}
}

func cath2() room {
	return room{
		device: device("Cath 2", "CATH2", "Model C"),
		tubes:  []tube{{procedure.PlaneSingle, 750, 240, 240}},
		table:  tableScale{longitudinal: scale{640, 1}, lateral: scale{12, 1}, height: scale{-40, 1}, mattress: 20},
	}
}

// rhythm3 shows table height growing upward, as some equipment does; nobody has written that down in a profile.
func rhythm3() room {
	return room{
		device: device("Rhythm 3", "RHYTHM3", "Model R"),
		tubes:  []tube{{procedure.PlaneA, 750, 200, 200}, {procedure.PlaneB, 765, 200, 200}},
		table:  tableScale{longitudinal: scale{1500, -1}, lateral: scale{300, 1}, height: scale{1065, -1}, mattress: 20},
	}
}

func neuro4() room {
	return room{
		device: device("Neuro 4", "NEURO4", "Model N"),
		tubes:  []tube{{procedure.PlaneSingle, 785, 300, 380}},
		table:  tableScale{longitudinal: scale{200, 1}, lateral: scale{0, 1}, height: scale{0, 1}},
	}
}

// mobile is a mobile C-arm that is rolled into Rhythm 3 and tells totals only.
func mobile() room { return room{device: device("Rhythm 3", "MOBILE5", "Model M mobile")} }

func device(place, station, model string) procedure.Device {
	return procedure.Device{
		UID: uid("device", station), Name: station, Manufacturer: manufacturer, Model: model, Serial: "SYN-" + station,
		Station: station, Room: place, Software: "synthetic 1.0",
	}
}

// Rooms names the rooms of the scenario.
func Rooms() []string { return []string{"Hybrid 1", "Cath 2", "Rhythm 3", "Neuro 4"} }
