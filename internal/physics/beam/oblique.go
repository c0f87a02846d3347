package beam

import (
	_ "embed"
	"slices"
	"sync"

	"gonum.org/v1/gonum/interp"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

//go:embed data/oblique.csv
var obliqueCSV string

// The table of oblique incidence: sides of square fields in mm, and cosines of 0 to 75 degrees in its columns.
var (
	obliqueSides   = [...]float64{50, 100, 150, 200, 300}
	obliqueCosines = [...]float64{1, 0.9659258262890683, 0.8660254037844387, 0.7071067811865476, 0.5, 0.25881904510252074}
)

const (
	obliqueAngles = len(obliqueCosines)
	// Of a beam the ratios stand at so many equal steps of the cosine from 1 to that of 75 degrees.
	obliqueSteps = 24
	leastCosine  = 0.25881904510252074
)

// obliqueEnergy is B - 1 of one photon energy by side and step of the cosine.
type obliqueEnergy [len(obliqueSides)][obliqueSteps + 1]float64

var obliqueTable = sync.OnceValues(func() (energies []float64, list []obliqueEnergy) {
	off := make([]float64, obliqueAngles) // 1 less the cosine, rising
	for a, c := range obliqueCosines {
		off[a] = 1 - c
	}
	for _, row := range embedded.Records(obliqueCSV) {
		v := embedded.Numbers(row)
		k := slices.Index(energies, v[0])
		if k < 0 {
			k = len(energies)
			energies, list = append(energies, v[0]), append(list, obliqueEnergy{})
		}
		for a := range off {
			v[2+a]--
		}
		var fit interp.FritschButland
		if err := fit.Fit(off, v[2:]); err != nil {
			panic("beam: table of oblique incidence: " + err.Error())
		}
		at := &list[k][slices.Index(obliqueSides[:], 10*v[1])]
		for n := range at {
			at[n] = fit.Predict((1 - leastCosine) * float64(n) / obliqueSteps)
		}
	}
	return energies, list
})

// Oblique is the part of B - 1 that is left where the beam meets the skin at an angle, for one beam, eq. (3.8).
type Oblique struct {
	left [len(obliqueSides)][obliqueSteps + 1]float64
}

// Oblique works the part out for the beam as it hits the skin.
func (b *Beam) Oblique() *Oblique {
	energies, list := obliqueTable()
	o := new(Oblique)
	for e, w := range spread(energies, b.kerma, b.total) {
		for s := range o.left {
			for k, v := range list[e][s] {
				o.left[s][k] += w * v
			}
		}
	}
	for s := range o.left {
		normal := o.left[s][0]
		for k := range o.left[s] {
			o.left[s][k] /= normal
		}
	}
	return o
}

// Left gives the part for the side of a square field and the cosine of the angle between ray and skin's normal. Sides
// outside 5 to 30 cm count as the nearest of these, and angles over 75 degrees as 75.
func (o *Oblique) Left(side quantity.Millimetre, cosine float64) float64 {
	at := (1 - cosine) * (obliqueSteps / (1 - leastCosine))
	if !(at > 0) {
		at = 0
	}
	k := int(at)
	if at >= obliqueSteps {
		at, k = obliqueSteps, obliqueSteps-1
	}
	at -= float64(k)
	i, f := obliqueSide(float64(side))
	a, b := &o.left[i], &o.left[i+1]
	low := a[k] + at*(a[k+1]-a[k])
	return low + f*(b[k]+at*(b[k+1]-b[k])-low)
}

// obliqueSide finds the sides of the table around a side, and the share of the way between them.
func obliqueSide(side float64) (int, float64) {
	const step, last = 50.0, len(obliqueSides) - 2 // the last step is twice as long
	at := side/step - 1
	switch {
	case !(at > 0):
		return 0, 0
	case at < float64(last):
		return int(at), at - float64(int(at))
	case at < float64(last+2):
		return last, (at - float64(last)) / 2
	}
	return last, 1
}
