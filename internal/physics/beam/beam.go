package beam

import (
	_ "embed"
	"fmt"
	"math"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

// Beam is a photon spectrum. It is immutable and safe for use by several goroutines.
type Beam struct {
	// fluence is photons per cm2, mA s and bin at 1 m; kerma is the same times energy and (mu_en/rho) of air, the weights
	// of eq. (2.3), up to the highest bin with photons.
	fluence, kerma []float64
	total          float64
	scatter        func() *Scatter
}

//go:embed data/tungsten.csv
var tungstenCSV string

var tungsten = sync.OnceValue(func() [][4]float64 {
	rows := embedded.Records(tungstenCSV)
	table := make([][4]float64, len(rows))
	for i, row := range rows {
		copy(table[i][:], embedded.Numbers(row)[1:])
	}
	return table
})

// squareMillimetres in a cm2: the spectrum table is per mm2, everything else per cm2.
const squareMillimetres = 100

// New makes the beam of a tungsten anode with the given voltage and filtration, eqs. (2.1) and (2.2). It returns
// ErrQuality outside 30 to 150 kV and for negative filtration. Voltages over 140 kV use the spectrum of 140 kV and less
// than 1.9 mm of aluminium counts as 1.9 mm: Voltage and Aluminium tell when.
func New(q Quality) (*Beam, error) {
	if err := q.check(); err != nil {
		return nil, err
	}
	kv, _ := Voltage(q.Voltage)
	total, _ := Aluminium(q.Aluminium)
	v := float64(kv)
	fluence := make([]float64, 0, bins)
	for i, a := range tungsten() {
		if float64(firstEnergy+i) > v {
			break
		}
		fluence = append(fluence, squareMillimetres*max(0, a[0]+v*(a[1]+v*(a[2]+v*a[3]))))
	}
	tube := spectrum(fluence)
	return tube.Behind([]Layer{Sheet(AluminiumMat, total-TubeAluminium), Sheet(CopperMat, q.Copper)}), nil
}

// Mono makes a beam of photons of one energy, for checks against monoenergetic tables. The energy is a whole number of
// keV from 10 to 150; anything else returns ErrQuality.
func Mono(e KiloElectronvolt) (*Beam, error) {
	bin := int(e) - firstEnergy
	if bin < 0 || bin >= bins || KiloElectronvolt(bin+firstEnergy) != e {
		return nil, fmt.Errorf("%w: photon energy %v keV, want whole keV from %d to %d", ErrQuality, e, firstEnergy, lastEnergy)
	}
	fluence := make([]float64, bin+1)
	fluence[bin] = 1
	return spectrum(fluence), nil
}

func spectrum(fluence []float64) *Beam {
	b := &Beam{fluence: fluence, kerma: make([]float64, len(fluence))}
	air := Air.coefficients()
	for i, phi := range fluence {
		b.kerma[i] = phi * float64(firstEnergy+i) * air.absorption[i]
		b.total += b.kerma[i]
	}
	b.scatter = sync.OnceValue(func() *Scatter { return newScatter(b.kerma, b.total) })
	return b
}

// Photons is one bin of a spectrum, 1 keV wide.
type Photons struct {
	Energy KiloElectronvolt
	// PerArea is photons per cm2 and mA s, 1 m from the focus.
	PerArea float64
}

// Spectrum lists the beam's photons by rising energy.
func (b *Beam) Spectrum() []Photons {
	list := make([]Photons, len(b.fluence))
	for i, phi := range b.fluence {
		list[i] = Photons{Energy: KiloElectronvolt(firstEnergy + i), PerArea: phi}
	}
	return list
}

// exponent is the attenuation exponent sum mu/rho m of layers, per bin.
func exponent(layers []Layer) *[bins]float64 {
	x := new([bins]float64)
	for _, l := range layers {
		mu := &l.Material.coefficients().attenuation
		for i := range x {
			x[i] += mu[i] * float64(l.Mass)
		}
	}
	return x
}

// Behind gives the beam hardened by layers at normal incidence, eq. (2.2).
func (b *Beam) Behind(layers []Layer) *Beam {
	x := exponent(layers)
	fluence := make([]float64, len(b.fluence))
	for i, phi := range b.fluence {
		fluence[i] = phi * math.Exp(-x[i])
	}
	return spectrum(fluence)
}

// TissueFactor is the ratio of the mean mass energy-absorption coefficients of the medium and air over the primary beam,
// eq. (3.1): absorbed dose in the medium per air kerma.
func (b *Beam) TissueFactor(m Material) float64 {
	medium, air := m.coefficients(), Air.coefficients()
	sum := 0.0
	for i, w := range b.kerma {
		sum += w * (medium.absorption[i] / air.absorption[i])
	}
	return sum / b.total
}

// grayPerKeVPerGram turns keV/g into Gy.
// Source: elementary charge, SI definition 2019, 1.602176634e-19 C.
const grayPerKeVPerGram = 1.602176634e-13

// KermaPerMAs is the air kerma free in air per mA s at a positive distance from the focus, eq. (2.3), without attenuation by the
// air between. The spectra are those of a new tube at constant potential: the figure checks the table and does not
// replace a measured output.
func (b *Beam) KermaPerMAs(distance quantity.Millimetre) quantity.Gray {
	r := float64(quantity.Metre / distance)
	return quantity.Gray(b.total * grayPerKeVPerGram * r * r)
}
