package casejson

import (
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// MapSchema names the form of a skin dose map as numbers.
const MapSchema = "afterbeam.map/1"

// Map is a skin dose map as numbers: the irradiated patches of the unrolled skin.
type Map struct {
	Schema  string  `json:"schema"`
	Body    string  `json:"body"`
	LowGy   number  `json:"peak_low_gy"`
	HighGy  number  `json:"peak_high_gy"`
	Patches []Patch `json:"patches"`
	Caution string  `json:"caution"`
}

// Patch is one irradiated piece of skin; across and up are its place on the unrolled skin.
type Patch struct {
	Part     string  `json:"part"`
	Region   string  `json:"region"`
	AcrossMm float64 `json:"across_mm"`
	UpMm     float64 `json:"up_mm"`
	AreaCm2  float64 `json:"area_cm2"`
	DoseGy   float64 `json:"dose_gy"`
}

// MapOf gives a map as numbers, without the patches that no beam reached.
func MapOf(m *skindose.Map, low, high quantity.Opt[quantity.Gray]) Map {
	out := Map{Schema: MapSchema, Body: m.Body.Name, LowGy: in(low, 1.0), HighGy: in(high, 1.0), Patches: []Patch{}, Caution: Caution}
	for i, dose := range m.Dose {
		if dose == 0 {
			continue
		}
		p := m.Body.Patches[i]
		out.Patches = append(out.Patches, Patch{
			Part: p.Part.String(), Region: p.Region, AcrossMm: p.Across, UpMm: p.Up, AreaCm2: p.Area, DoseGy: float64(dose),
		})
	}
	return out
}
