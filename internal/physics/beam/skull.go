package beam

import (
	_ "embed"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

//go:embed data/skull.csv
var skullCSV string

// skullRow is the scatter over primary of skin on skull over that of water, by mean energy of the beam.
type skullRow struct {
	energy float64
	ratio  [5]float64
}

var skullRows = sync.OnceValue(func() []skullRow {
	rows := embedded.Records(skullCSV)
	list := make([]skullRow, len(rows))
	for i, row := range rows {
		v := embedded.Numbers(row)
		list[i].energy = v[0]
		copy(list[i].ratio[:], v[1:])
	}
	return list
})

// MeanEnergy is that of the beam's air kerma, in keV.
func (b *Beam) MeanEnergy() float64 {
	sum := 0.0
	for i, w := range b.kerma {
		sum += w * float64(firstEnergy+i)
	}
	return sum / b.total
}

// Skull is the part of B - 1 that is left where bone lies under thin skin, for one beam, eq. (3.7): at square fields of 5
// to 25 cm. It comes from flat layers and is an indication for the head.
type Skull [5]float64

// Skull works the part out for the beam as it hits the skin.
func (b *Beam) Skull() Skull {
	rows := skullRows()
	e := b.MeanEnergy()
	upper := 1
	for upper < len(rows)-1 && rows[upper].energy < e {
		upper++
	}
	low, high := rows[upper-1], rows[upper]
	f := min(max((e-low.energy)/(high.energy-low.energy), 0), 1)
	var s Skull
	for k := range s {
		s[k] = low.ratio[k] + f*(high.ratio[k]-low.ratio[k])
	}
	return s
}

// Left gives the part for the side of a square field; outside 5 to 25 cm that of the nearest.
func (s Skull) Left(side quantity.Millimetre) float64 {
	const step = 50 // mm
	at := min(max(float64(side)/step-1, 0), float64(len(s)-1))
	k := min(int(at), len(s)-2)
	return s[k] + (at-float64(k))*(s[k+1]-s[k])
}
