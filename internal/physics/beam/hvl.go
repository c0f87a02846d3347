package beam

import (
	"math"

	"afterbeam/internal/quantity"
)

// HVL is the first half-value layer: the thickness of aluminium that halves the air kerma in narrow-beam geometry,
// eq. (2.4).
func (b *Beam) HVL() quantity.Millimetre { return b.aluminiumFor(math.Ln2) }

// SecondHVL is the thickness of aluminium that takes the air kerma from a half to a quarter.
func (b *Beam) SecondHVL() quantity.Millimetre { return b.aluminiumFor(2*math.Ln2) - b.HVL() }

// Homogeneity is the first half-value layer divided by the second: 1 for one energy, less for a broad spectrum.
func (b *Beam) Homogeneity() float64 {
	first := b.HVL()
	return float64(first / (b.aluminiumFor(2*math.Ln2) - first))
}

// aluminiumFor gives the aluminium that lowers the logarithm of the air kerma by drop. ln K(t) falls and is convex, so
// Newton's steps from t = 0 approach the answer from below and never pass it.
func (b *Beam) aluminiumFor(drop float64) quantity.Millimetre {
	mu := &AluminiumMat.coefficients().attenuation
	mass := 0.0
	for range 60 {
		k, slope := 0.0, 0.0
		for i, w := range b.kerma {
			part := w * math.Exp(-mu[i]*mass)
			k += part
			slope += part * mu[i]
		}
		step := (math.Log(k/b.total) + drop) * k / slope
		mass += step
		if step < 1e-10 {
			break
		}
	}
	return quantity.Millimetre(mass/densities[AluminiumMat]) * quantity.Centimetre
}
