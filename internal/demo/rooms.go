package demo

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// The invented centre and maker.
const (
	institution  = "Saltmarsh Regional Heart & Vascular Centre (synthetic)"
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

// Profiles gives what the centre's physicists have signed for: Hybrid 1 wholly known, Cath 2 and Neuro 4 typical, Rhythm 3
// unknown. The mobile C-arm has none. All values are invented.
func Profiles() []procedure.DeviceProfile {
	return []procedure.DeviceProfile{known(hybrid1()), typical(cath2()), typical(neuro4()), unknown(rhythm3())}
}

const signature = "Physicist^P^Synthetic"

// known is a room measured throughout.
func known(r room) procedure.DeviceProfile {
	p := typical(r)
	p.KermaFactor = quantity.Some(procedure.Factor{Value: 0.94, Uncertainty: 3, From: "2026-03-02", Until: "2027-03-01"})
	p.KAPFactor = quantity.Some(procedure.Factor{Value: 0.96, Uncertainty: 4, From: "2026-03-02", Until: "2027-03-01"})
	p.Longitudinal.Zero = quantity.Some(quantity.Millimetre(r.table.longitudinal.zero))
	p.Lateral.Zero = quantity.Some(quantity.Millimetre(r.table.lateral.zero))
	p.Height.Zero = quantity.Some(quantity.Millimetre(r.table.height.zero))
	p.InherentAluminium = quantity.Some(quantity.Millimetre(2.5))
	p.Layers = []procedure.TableLayer{{Material: "carbon_fibre", Mass: 0.42}, {Material: "foam", Mass: 0.14}}
	p.LayersKnown = procedure.TableMeasured
	p.TableWidth = quantity.Some(quantity.Millimetre(450))
	p.TableLength = quantity.Some(quantity.Millimetre(2800))
	p.MattressThickness = quantity.Some(quantity.Millimetre(r.table.mattress))
	return p
}

// typical is a room with a checked display and table axes of known meaning but unknown zero.
func typical(r room) procedure.DeviceProfile {
	axis := func(meaning procedure.AxisMeaning, s scale) procedure.TableAxis {
		return procedure.TableAxis{Meaning: meaning, Sign: int(s.sign)}
	}
	p := unknown(r)
	p.SignedBy = signature
	p.Meter = procedure.MeterChecked
	p.RefPoint = quantity.Some(quantity.Millimetre(r.tubes[0].toRef()))
	p.SourceToIsocentre = quantity.Some(quantity.Millimetre(r.tubes[0].toIso))
	p.Angles = procedure.FramePatient
	p.Longitudinal = axis(procedure.AxisTableHead, r.table.longitudinal)
	p.Lateral = axis(procedure.AxisTableLeft, r.table.lateral)
	p.Height = axis(procedure.AxisTableDown, r.table.height)
	return p
}

// unknown is a room that nobody has signed for.
func unknown(r room) procedure.DeviceProfile {
	return procedure.DeviceProfile{
		Device: r.device.Key(), Name: r.device.Room + " (synthetic)", Version: "1", From: "2026-01-01",
	}
}
