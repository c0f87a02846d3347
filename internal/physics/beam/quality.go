package beam

import "afterbeam/internal/quantity"

// Quality names a beam by what a report can say of it.
type Quality struct {
	Voltage   quantity.Kilovolt
	Aluminium quantity.Millimetre // total aluminium, inherent and added
	Copper    quantity.Millimetre
}

// Material is a substance with interaction data in the embedded table.
type Material string

// The materials of layers and tissues.
const (
	Air          Material = "air"
	Water        Material = "water"
	SoftTissue   Material = "icru44_soft"
	Skin         Material = "icru44_skin"
	CarbonFibre  Material = "cfrp"
	Foam         Material = "polyurethane_foam"
	PMMA         Material = "pmma"
	AluminiumMat Material = "aluminium"
	CopperMat    Material = "copper"
)

// Layer is a plane layer in the beam, by mass per area.
type Layer struct {
	Material Material
	Mass     quantity.GramPerSquareCentimetre
}
