package transport

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
)

// ErrSource marks a source that cannot be.
var ErrSource = errors.New("impossible source")

// Source is an isotropic point source behind a rectangular collimator, in mm and body axes.
type Source struct {
	Focus r3.Vec
	// Toward is the unit vector along the axis; Across and Along are those of field width and height.
	Toward, Across, Along r3.Vec
	// HalfWidth and HalfHeight are half the field at unit distance from the focus. Both 0 is a pencil beam.
	HalfWidth, HalfHeight float64
	// Spectrum is the beam; only the ratios of its fluences count.
	Spectrum []beam.Photons
}

// emitter draws photons of a source.
type emitter struct {
	Source
	energy     []float64
	cumulative []float64 // of the fluence, up to 1
	weight     float64   // photons per unit of tangent area and history, over those of the axis
}

// newEmitter returns ErrSource for a source without photons between CutOff and Highest or with axes that are none.
func newEmitter(s Source) (*emitter, error) {
	e := &emitter{Source: s, weight: 1}
	sum := 0.0
	for _, p := range s.Spectrum {
		if p.PerArea == 0 {
			continue
		}
		if !(p.PerArea > 0 && !math.IsInf(p.PerArea, 1) && p.Energy >= CutOff && p.Energy <= Highest) {
			return nil, fmt.Errorf("%w: %v photons of %v keV, want positive numbers of %v to %v keV", ErrSource, p.PerArea, p.Energy, CutOff, Highest)
		}
		sum += p.PerArea
		e.energy, e.cumulative = append(e.energy, float64(p.Energy)), append(e.cumulative, sum)
	}
	if sum == 0 {
		return nil, fmt.Errorf("%w: no photons", ErrSource)
	}
	for i := range e.cumulative {
		e.cumulative[i] /= sum
	}
	e.cumulative[len(e.cumulative)-1] = 1
	const unit = 1e-9 // rounding of a unit vector
	for _, v := range []r3.Vec{s.Toward, s.Across, s.Along} {
		if !(math.Abs(r3.Norm2(v)-1) < unit) {
			return nil, fmt.Errorf("%w: axis %v is not a unit vector", ErrSource, v)
		}
	}
	if off := math.Abs(r3.Dot(s.Toward, s.Across)) + math.Abs(r3.Dot(s.Toward, s.Along)) + math.Abs(r3.Dot(s.Across, s.Along)); !(off < unit) {
		return nil, fmt.Errorf("%w: axes are not at right angles", ErrSource)
	}
	if !(s.HalfWidth >= 0 && s.HalfHeight >= 0) || math.IsNaN(s.Focus.X+s.Focus.Y+s.Focus.Z) {
		return nil, fmt.Errorf("%w: half field %v by %v", ErrSource, s.HalfWidth, s.HalfHeight)
	}
	return e, nil
}

// The plastic sequence spreads the rays of a block evenly over the field.
// Source: Roberts M 2018, the generalised golden ratio of order 2, 1.3247...: its powers -1 and -2.
const (
	plasticOne = 0.75487766624669276
	plasticTwo = 0.56984029099805327
)

// aim are the random starts of a block.
type aim struct{ across, along float64 }

func newAim(random *stream) aim {
	return aim{random.uniform(), random.uniform()}
}

// emit gives photon j of n of a block: energies in even steps, rays by the plastic sequence, both from random starts, eq.
// (9.1). weight is relative to a ray along the axis; kap is cos2, so that weight, energy and absorption make the
// kerma-area product: the weight holds cos3 and the plane's tilt 1/cos.
func (e *emitter) emit(random *stream, a *aim, j, n int) (energy float64, to [3]float64, weight, kap float64) {
	u := (float64(j) + random.uniform()) / float64(n)
	energy = e.energy[min(sort.SearchFloat64s(e.cumulative, u), len(e.energy)-1)]
	if e.HalfWidth == 0 && e.HalfHeight == 0 {
		return energy, [3]float64{e.Toward.X, e.Toward.Y, e.Toward.Z}, 1, 1
	}
	_, across := math.Modf(a.across + float64(j)*plasticOne)
	_, along := math.Modf(a.along + float64(j)*plasticTwo)
	s, t := (2*across-1)*e.HalfWidth, (2*along-1)*e.HalfHeight
	cos := 1 / math.Sqrt(1+s*s+t*t)
	to = [3]float64{
		cos * (e.Toward.X + s*e.Across.X + t*e.Along.X),
		cos * (e.Toward.Y + s*e.Across.Y + t*e.Along.Y),
		cos * (e.Toward.Z + s*e.Across.Z + t*e.Along.Z),
	}
	return energy, to, cos * cos * cos, cos * cos
}

// Kerma is the kerma in a material per photon and fluence of a spectrum, in keV cm2/g. It returns ErrMaterial.
func Kerma(spectrum []beam.Photons, m beam.Material) (float64, error) {
	a, err := newAbsorber(m)
	if err != nil {
		return 0, err
	}
	sum, photons := 0.0, 0.0
	for _, p := range spectrum {
		photons += p.PerArea
		sum += p.PerArea * float64(p.Energy) * a.at(placeOf(float64(p.Energy)))
	}
	return sum / photons, nil
}
