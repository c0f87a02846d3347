package beam

import (
	_ "embed"
	"errors"
	"fmt"
	"math"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

// ErrMaterial marks a material without interaction data, or a layer that cannot be.
var ErrMaterial = errors.New("material not known")

// Material is a substance with interaction data in the embedded table.
type Material string

// The materials of layers and tissues. SoftTissue is the default for skin dose: published thresholds of skin injury are
// stated in it; Skin is 3.5 to 9 % lower. FourComponent is the tissue of the ICRU slab.
const (
	Air           Material = "air"
	Water         Material = "water"
	SoftTissue    Material = "icru44_soft"
	Skin          Material = "icru44_skin"
	FourComponent Material = "icru_soft_4comp"
	CarbonFibre   Material = "cfrp"
	Foam          Material = "polyurethane_foam"
	PMMA          Material = "pmma"
	AluminiumMat  Material = "aluminium"
	CopperMat     Material = "copper"
)

// densities are in g/cm3.
// Source: Hubbell J H, Seltzer S M, NISTIR 5632 (1995), table 1 (air, water, tissues, PMMA, aluminium, copper), from memory;
// skin ICRU Report 44 (1989), from memory; laminate and mattress foam: common practice, no source.
var densities = map[Material]float64{
	Air: 0.00120479, Water: 1, SoftTissue: 1.06, Skin: 1.09, FourComponent: 1, CarbonFibre: 1.55, Foam: 0.03, PMMA: 1.19,
	AluminiumMat: 2.699, CopperMat: 8.96,
}

// Layer is a plane layer in the beam, by mass per area.
type Layer struct {
	Material Material
	Mass     quantity.GramPerSquareCentimetre
}

// Sheet is the layer of thickness t of a material at its usual density; foam counts as 0.03 g/cm3, carbon fibre laminate
// as 1.55 g/cm3. The material has to be one of the package's.
func Sheet(m Material, t quantity.Millimetre) Layer {
	return Layer{Material: m, Mass: quantity.GramPerSquareCentimetre(densities[m.known()] * t.Cm())}
}

// MaxMass bounds the mass of all layers together: a table with its mattress has about 1 g/cm2, more than this is a unit
// mistaken.
const MaxMass quantity.GramPerSquareCentimetre = 20

// CheckLayers returns ErrMaterial when a layer's material has no interaction data or its mass is not between zero and
// MaxMass, or all together are more. Layers that come from outside pass here first: the methods of Beam panic on an
// unknown material, because a quiet stand-in would be a wrong dose.
func CheckLayers(layers []Layer) error {
	for i, l := range layers {
		if _, ok := densities[l.Material]; !ok {
			return fmt.Errorf("%w: layer %d is of %q", ErrMaterial, i+1, string(l.Material))
		}
		if !(l.Mass >= 0 && l.Mass <= MaxMass) {
			return fmt.Errorf("%w: layer %d of %s has %v g/cm2, want 0 to %v", ErrMaterial, i+1, l.Material, l.Mass, MaxMass)
		}
	}
	if sum := Mass(layers); sum > MaxMass {
		return fmt.Errorf("%w: layers of %v g/cm2 together, want 0 to %v", ErrMaterial, sum, MaxMass)
	}
	return nil
}

func (m Material) known() Material {
	if _, ok := densities[m]; !ok {
		panic(fmt.Sprintf("beam: material %q has no interaction data", string(m)))
	}
	return m
}

// Mass is the mass per area of all layers together.
func Mass(layers []Layer) quantity.GramPerSquareCentimetre {
	var sum quantity.GramPerSquareCentimetre
	for _, l := range layers {
		sum += l.Mass
	}
	return sum
}

// KiloElectronvolt is a photon energy in keV.
type KiloElectronvolt float64

// SquareCentimetrePerGram is a mass interaction coefficient in cm2/g.
type SquareCentimetrePerGram float64

// The photon energies of the table: whole keV.
const (
	firstEnergy = 10
	lastEnergy  = 150
	bins        = lastEnergy - firstEnergy + 1
)

// coefficients of one material, one value per keV from firstEnergy.
type coefficients struct {
	attenuation, absorption [bins]float64
}

//go:embed data/attenuation.csv
var attenuationCSV string

var attenuation = sync.OnceValue(func() map[Material]*coefficients {
	table := make(map[Material]*coefficients, len(densities))
	for _, row := range embedded.Records(attenuationCSV) {
		m := Material(row[0])
		if table[m] == nil {
			table[m] = new(coefficients)
		}
		v := embedded.Numbers(row[1:])
		bin := int(v[0]) - firstEnergy
		table[m].attenuation[bin], table[m].absorption[bin] = v[1], v[2]
	}
	return table
})

func (m Material) coefficients() *coefficients { return attenuation()[m.known()] }

// Coefficients gives the mass attenuation coefficient with coherent scattering and the mass energy-absorption
// coefficient of a material, log-log between whole keV. It returns ErrMaterial for an unknown material and ErrQuality
// outside 10 to 150 keV.
func Coefficients(m Material, e KiloElectronvolt) (mu, muen SquareCentimetrePerGram, err error) {
	if _, ok := densities[m]; !ok {
		return 0, 0, fmt.Errorf("%w: %q", ErrMaterial, string(m))
	}
	if !(e >= firstEnergy && e <= lastEnergy) {
		return 0, 0, fmt.Errorf("%w: photon energy %v keV, want %d to %d keV", ErrQuality, e, firstEnergy, lastEnergy)
	}
	lower := min(int(e)-firstEnergy, bins-2)
	below := float64(lower + firstEnergy)
	share := math.Log(float64(e)/below) / math.Log((below+1)/below)
	between := func(c *[bins]float64) SquareCentimetrePerGram {
		return SquareCentimetrePerGram(c[lower] * math.Pow(c[lower+1]/c[lower], share))
	}
	c := m.coefficients()
	return between(&c.attenuation), between(&c.absorption), nil
}
