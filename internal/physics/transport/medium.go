package transport

import (
	"errors"
	"fmt"
	"math"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/physics/beam"
)

// ErrMaterial marks a material without interaction data here, or a density that is not positive.
var ErrMaterial = errors.New("material not known to the transport")

// Materials of the stylised body, beside those of package beam.
const (
	PhantomSoft  beam.Material = "phantom_soft"
	PhantomBone  beam.Material = "phantom_bone"
	PhantomLung  beam.Material = "phantom_lung"
	RedMarrow    beam.Material = "red_marrow"
	CorticalBone beam.Material = "icru44_cortical_bone"
)

// The energies of the tables: a grid of 0.1 keV, on which coefficients are linear. Below CutOff a photon's energy is
// deposited where it is: its range in tissue is under 0.3 mm.
const (
	CutOff   beam.KiloElectronvolt = 5
	Highest  beam.KiloElectronvolt = 150
	lowest                         = 5
	perKeV                         = 10
	energies                       = (150-lowest)*perKeV + 1
)

// place of an energy on the grid: between node and node+1.
type place struct {
	node  int
	share float64
}

func placeOf(energy float64) place {
	at := (energy - lowest) * perKeV
	node := min(max(int(at), 0), energies-2)
	return place{node, at - float64(node)}
}

// coefficients of a medium at one energy, in 1/mm: all interactions; photoelectric; photoelectric and incoherent;
// energy absorption.
type coefficients struct{ total, photo, absorbedOrIncoherent, absorption float64 }

// Medium is a material at a density, ready for transport.
type Medium struct {
	Material beam.Material
	// Density is in g/cm3.
	Density float64

	table [energies]coefficients
	shape *scattering
}

// NewMedium makes a medium; density in g/cm3. It returns ErrMaterial for a material without scattering data and for a
// density that is not positive.
func NewMedium(m beam.Material, density float64) (*Medium, error) {
	rows, shape := interaction()[m], scatterings()[m]
	if rows == nil || shape == nil {
		return nil, fmt.Errorf("%w: %q", ErrMaterial, string(m))
	}
	if !(density > 0) || math.IsInf(density, 1) {
		return nil, fmt.Errorf("%w: %s of %v g/cm3", ErrMaterial, m, density)
	}
	medium := &Medium{Material: m, Density: density, shape: shape}
	for i := range medium.table {
		v := rows.at(lowest + float64(i)/perKeV)
		perMM := density / 10
		photo, both := v[0]*perMM, (v[0]+v[1])*perMM
		medium.table[i] = coefficients{both + v[2]*perMM, photo, both, v[3] * perMM}
	}
	return medium, nil
}

// at gives the coefficients at a place of the energy grid.
func (m *Medium) at(p place) coefficients {
	a, b, f := &m.table[p.node], &m.table[p.node+1], p.share
	return coefficients{
		a.total + f*(b.total-a.total),
		a.photo + f*(b.photo-a.photo),
		a.absorbedOrIncoherent + f*(b.absorbedOrIncoherent-a.absorbedOrIncoherent),
		a.absorption + f*(b.absorption-a.absorption),
	}
}

// Attenuation and Absorption are linear coefficients in 1/cm as the transport uses them, from CutOff to Highest.
func (m *Medium) Attenuation(e beam.KiloElectronvolt) float64 {
	return 10 * m.at(placeOf(float64(e))).total
}

// Absorption is the linear energy-absorption coefficient in 1/cm.
func (m *Medium) Absorption(e beam.KiloElectronvolt) float64 {
	return 10 * m.at(placeOf(float64(e))).absorption
}

// perKeVRows are the four mass coefficients of a material at whole keV from lowest.
type perKeVRows [150 - lowest + 1][4]float64

// at interpolates log-log between whole keV.
func (r *perKeVRows) at(energy float64) (v [4]float64) {
	i := min(max(int(energy)-lowest, 0), len(r)-2)
	below := float64(i + lowest)
	share := math.Log(energy/below) / math.Log((below+1)/below)
	for k := range v {
		v[k] = r[i][k] * math.Pow(r[i+1][k]/r[i][k], share)
	}
	return v
}

var interaction = sync.OnceValue(func() map[beam.Material]*perKeVRows {
	table := map[beam.Material]*perKeVRows{}
	for _, row := range embedded.Records(coefficientsCSV) {
		m := beam.Material(row[0])
		if table[m] == nil {
			table[m] = new(perKeVRows)
		}
		v := embedded.Numbers(row[1:])
		copy(table[m][int(v[0])-lowest][:], v[1:])
	}
	return table
})

// absorber is the mass energy-absorption coefficient of a material in cm2/g, for kerma scored in it.
type absorber [energies]float64

// newAbsorber returns ErrMaterial for a material without data.
func newAbsorber(m beam.Material) (*absorber, error) {
	rows := interaction()[m]
	if rows == nil {
		return nil, fmt.Errorf("%w: %q", ErrMaterial, string(m))
	}
	a := new(absorber)
	for i := range a {
		a[i] = rows.at(lowest + float64(i)/perKeV)[3]
	}
	return a, nil
}

func (a *absorber) at(p place) float64 {
	return a[p.node] + p.share*(a[p.node+1]-a[p.node])
}
