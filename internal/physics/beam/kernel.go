package beam

import (
	_ "embed"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
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

// The grid of the quadrant integrals: nodes are even in the root of the distance, because the integral behaves like
// x ln x at the edges of a field, which is smooth in the root.
const (
	nodes    = 72
	farthest = 600.0 // mm; S does not change beyond
)

// node gives the distance of a grid node in mm.
func node(i int) float64 {
	u := float64(i) / (nodes - 1)
	return farthest * u * u
}

// quadrants is Q(x, y) of eq. (3.5) at the grid nodes, one energy after the other.
type quadrants [nodes * nodes]float64

// quadrantTables integrates eq. (3.5) for each energy of the kernel table. The two terms of a quadrant share one
// function of (distance to an edge, length along it), summed up angle by angle.
var quadrantTables = sync.OnceValue(func() []quadrants {
	list := kernels()
	tables := make([]quadrants, len(list))
	const points = 4
	offset, weight := make([]float64, points), make([]float64, points)
	quad.Legendre{}.FixedLocations(offset, weight, 0, 1)
	for e := range list {
		half := new(quadrants) // half[x][y]: the triangle between the foot of the edge at x and y along it
		for i := 1; i < nodes; i++ {
			x, from, sum := node(i), 0.0, 0.0
			for j := 1; j < nodes; j++ {
				to := math.Atan2(node(j), x)
				for p := range points {
					angle := from + (to-from)*offset[p]
					sum += (to - from) * weight[p] * list[e].at(x/math.Cos(angle))
				}
				half[i*nodes+j] = sum / (2 * math.Pi)
				from = to
			}
		}
		for i := range nodes {
			for j := range nodes {
				tables[e][i*nodes+j] = half[i*nodes+j] + half[j*nodes+i]
			}
		}
	}
	return tables
})

// energyWeights spreads normalised kerma weights per keV over the energies of the kernel table, linear in energy.
func energyWeights(kerma []float64, total float64) []float64 {
	list := kernels()
	weights := make([]float64, len(list))
	for i, w := range kerma {
		e := float64(firstEnergy + i)
		upper, exact := slices.BinarySearchFunc(list, e, func(k kernel, e float64) int {
			switch {
			case k.energy < e:
				return -1
			case k.energy > e:
				return 1
			}
			return 0
		})
		if exact {
			weights[upper] += w / total
			continue
		}
		share := (e - list[upper-1].energy) / (list[upper].energy - list[upper-1].energy)
		weights[upper-1] += (1 - share) * w / total
		weights[upper] += share * w / total
	}
	return weights
}
