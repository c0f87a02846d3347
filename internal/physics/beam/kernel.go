package beam

import (
	_ "embed"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/interp"

	"afterbeam/internal/embedded"
)

//go:embed data/backscatter.csv
var backscatterCSV string

// radii are those of the circular fields of the table in mm; its last column is the unlimited field.
var radii = [...]float64{5, 10, 15, 25, 50, 75, 100, 150}

// beyond are radii in mm at which S is extended from the table to the unlimited field, the last one counting as that.
var beyond = [...]float64{175, 200, 250, 300, 400, 500, farthest}

// kernel is S(r) of one photon energy, eq. (3.3): the scatter at the centre of a circle of radius r over the primary.
type kernel struct {
	energy float64
	s      interp.FritschButland
}

func (k *kernel) at(r float64) float64 { return k.s.Predict(r) }

var kernels = sync.OnceValue(func() []kernel {
	rows := embedded.Records(backscatterCSV)
	list := make([]kernel, len(rows))
	for i, row := range rows {
		v := embedded.Numbers(row)
		k := &list[i]
		k.energy = v[0]
		rs, ss := extended(v[1:len(v)-1], v[len(v)-1])
		if err := k.s.Fit(rs, ss); err != nil {
			panic("beam: backscatter table: " + err.Error())
		}
	}
	return list
})

// extended puts S(0) = 0 before the table and, behind it, the exponential approach to the limit that goes through the
// last two fields of the table, eq. (3.6).
func extended(table []float64, limit float64) (rs, ss []float64) {
	rs, ss = append([]float64{0}, radii[:]...), append([]float64{0}, table...)
	n := len(radii)
	before, last := limit-table[n-2], limit-table[n-1]
	for _, r := range beyond {
		s := limit
		if last > 0 && r < farthest {
			s -= last * math.Pow(last/before, (r-radii[n-1])/(radii[n-1]-radii[n-2]))
		}
		rs, ss = append(rs, r), append(ss, s)
	}
	return rs, ss
}

// quadrantTables integrates eq. (3.5) for each energy of the kernel table.
var quadrantTables = sync.OnceValue(func() []quadrants {
	list := kernels()
	tables := make([]quadrants, len(list))
	for e := range list {
		integrate(list[e].at, &tables[e])
	}
	return tables
})

// energyWeights spreads normalised kerma weights per keV over the energies of the kernel table, linear in energy.
func energyWeights(kerma []float64, total float64) []float64 {
	return spread(kernelEnergies(), kerma, total)
}

var kernelEnergies = sync.OnceValue(func() []float64 {
	list := kernels()
	energies := make([]float64, len(list))
	for i := range list {
		energies[i] = list[i].energy
	}
	return energies
})

// spread shares normalised kerma weights per keV out among rising energies, linear between them, all to the nearest
// outside.
func spread(energies, kerma []float64, total float64) []float64 {
	weights := make([]float64, len(energies))
	for i, w := range kerma {
		e := float64(firstEnergy + i)
		upper, exact := slices.BinarySearch(energies, e)
		switch {
		case exact || upper == 0:
			weights[upper] += w / total
		case upper == len(energies):
			weights[upper-1] += w / total
		default:
			share := (e - energies[upper-1]) / (energies[upper] - energies[upper-1])
			weights[upper-1] += (1 - share) * w / total
			weights[upper] += share * w / total
		}
	}
	return weights
}
