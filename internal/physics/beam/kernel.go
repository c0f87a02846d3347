package beam

import (
	_ "embed"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/interp"
)

//go:embed data/backscatter.csv
var backscatterCSV string

// radii are those of the circular fields of the table in mm; the last column of the table is the unlimited field.
var radii = [...]float64{5, 10, 15, 25, 50, 75, 100, 150}

// kernel is S(r) of one photon energy, eq. (3.3): the scatter at the centre of a circle of radius r over the primary.
type kernel struct {
	energy float64
	within interp.FritschButland
	// Beyond the table S rises to limit as limit - gap exp(-(r - last radius)/reach).
	limit, gap, reach float64
}

func (k *kernel) at(r float64) float64 {
	last := radii[len(radii)-1]
	if r <= last {
		return k.within.Predict(r)
	}
	if k.gap == 0 {
		return k.limit
	}
	return k.limit - k.gap*math.Exp((last-r)/k.reach)
}

var kernels = sync.OnceValue(func() []kernel {
	rows := records(backscatterCSV)
	list := make([]kernel, len(rows))
	xs := append([]float64{0}, radii[:]...)
	for i, row := range rows {
		v := numbers(row)
		k := &list[i]
		k.energy = v[0]
		ys := append([]float64{0}, v[1:len(v)-1]...)
		if err := k.within.Fit(xs, ys); err != nil {
			panic("beam: backscatter table: " + err.Error())
		}
		k.limit = v[len(v)-1]
		end := k.within.PredictDerivative(xs[len(xs)-1])
		if gap := k.limit - ys[len(ys)-1]; gap > 0 && end > 0 {
			k.gap, k.reach = gap, gap/end
		}
	}
	return list
})

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
