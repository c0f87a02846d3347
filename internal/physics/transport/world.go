package transport

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrWorld marks a world that cannot be: no region, a box without volume, too many cells.
var ErrWorld = errors.New("impossible world")

// Region is a part of a world that holds one medium. Lengths are in mm.
type Region struct {
	Name string
	// Organ is what the region is a part of; regions of one organ share it.
	Organ  string
	Medium *Medium
	// Quadrics all hold inside, and so does the box from Low to High.
	Quadrics  []Quadric
	Low, High r3.Vec
	// Volume in cm3, 0 where it is not known.
	Volume float64
}

// Box is the region of a medium between two corners.
func Box(name string, m *Medium, low, high r3.Vec) Region {
	side := r3.Sub(high, low)
	return Region{Name: name, Organ: name, Medium: m, Low: low, High: high, Volume: side.X * side.Y * side.Z / 1000}
}

// World is what is where: regions in order of priority, a point belonging to the first that holds it. Between them is
// nothing. It does not change after NewWorld.
type World struct {
	regions    []Region
	conditions [][]Quadric // of each region, its box among them
	low, high  [3]float64
	perMM      [3]float64 // cells per mm
	n          [3]int
	cells      []int32 // where each cell's candidates begin, and one more
	near       []candidate
	terms      []Quadric
	majorant   [energies]float64
}

// candidate is a region that a cell may touch, with the conditions that the cell does not settle.
type candidate struct {
	region     int16
	first, end int32
}

// maxCells bounds the locator's memory; an adult body in cells of 20 mm has 23,000.
const maxCells = 4_000_000

// undecided is how near to zero a quadric's bound may be and still not settle a cell: far above rounding.
const undecided = 1e-9

// NewWorld makes a world. cell is the size of the locator's cells in mm along each axis: it decides speed alone; 0 is the
// whole extent, right for a slab. It returns ErrWorld.
func NewWorld(regions []Region, cell r3.Vec) (*World, error) {
	if len(regions) == 0 || len(regions) > math.MaxInt16 {
		return nil, fmt.Errorf("%w: %d regions, want 1 to %d", ErrWorld, len(regions), math.MaxInt16)
	}
	w := &World{regions: regions}
	first := regions[0]
	low, high := first.Low, first.High
	for _, r := range regions {
		if !(r.Low.X < r.High.X && r.Low.Y < r.High.Y && r.Low.Z < r.High.Z) || r.Medium == nil {
			return nil, fmt.Errorf("%w: region %s has no medium or a box without volume", ErrWorld, r.Name)
		}
		low = r3.Vec{X: min(low.X, r.Low.X), Y: min(low.Y, r.Low.Y), Z: min(low.Z, r.Low.Z)}
		high = r3.Vec{X: max(high.X, r.High.X), Y: max(high.Y, r.High.Y), Z: max(high.Z, r.High.Z)}
		for i := range w.majorant {
			w.majorant[i] = max(w.majorant[i], r.Medium.table[i].total)
		}
	}
	w.low, w.high = [3]float64{low.X, low.Y, low.Z}, [3]float64{high.X, high.Y, high.Z}
	all := 1.0
	for k, size := range [3]float64{cell.X, cell.Y, cell.Z} {
		length, n := w.high[k]-w.low[k], 1.0
		if size > 0 {
			n = math.Max(1, math.Ceil(length/size-1e-9))
		}
		all *= n
		if !(all <= maxCells) {
			return nil, fmt.Errorf("%w: cells of %v mm in %v mm are more than %d", ErrWorld, size, length, maxCells)
		}
		w.n[k], w.perMM[k] = int(n), n/length
	}
	w.fill()
	return w, nil
}

// fill settles for each cell which regions it may touch.
func (w *World) fill() {
	w.conditions = make([][]Quadric, len(w.regions))
	for i := range w.regions {
		w.conditions[i] = w.regions[i].conditions()
	}
	w.cells = make([]int32, 0, w.n[0]*w.n[1]*w.n[2]+1)
	extent := func(k, i int) span {
		return span{w.low[k] + float64(i)/w.perMM[k], w.low[k] + float64(i+1)/w.perMM[k]}
	}
	for i := range w.n[0] {
		x := extent(0, i)
		for j := range w.n[1] {
			y := extent(1, j)
			for k := range w.n[2] {
				w.cells = append(w.cells, int32(len(w.near)))
				w.cell(x, y, extent(2, k))
			}
		}
	}
	w.cells = append(w.cells, int32(len(w.near)))
}

// cell lists the candidates of one cell, as far as the first that holds it whole.
func (w *World) cell(x, y, z span) {
	for r, list := range w.conditions {
		first, out := len(w.terms), false
		for i := range list {
			values := list[i].over(x, y, z)
			if values.low > undecided {
				out = true
				break
			}
			if values.high >= -undecided {
				w.terms = append(w.terms, list[i])
			}
		}
		if out {
			w.terms = w.terms[:first]
			continue
		}
		w.near = append(w.near, candidate{int16(r), int32(first), int32(len(w.terms))})
		if len(w.terms) == first {
			return
		}
	}
}

// conditions are the region's quadrics and the planes of its box.
func (r *Region) conditions() []Quadric {
	return append(append([]Quadric{}, r.Quadrics...),
		Quadric{X: -1, C: r.Low.X}, Quadric{X: 1, C: -r.High.X},
		Quadric{Y: -1, C: r.Low.Y}, Quadric{Y: 1, C: -r.High.Y},
		Quadric{Z: -1, C: r.Low.Z}, Quadric{Z: 1, C: -r.High.Z})
}

// Regions are the world's regions in order of priority.
func (w *World) Regions() []Region { return w.regions }

// Locate gives the index of the region that holds a point, or -1.
func (w *World) Locate(p r3.Vec) int {
	if !w.within(p.X, p.Y, p.Z) {
		return -1
	}
	return w.locate(p.X, p.Y, p.Z)
}

// Search is Locate without the grid: every region in order.
func (w *World) Search(p r3.Vec) int {
	for i, list := range w.conditions {
		holds := true
		for k := range list {
			if list[k].at(p.X, p.Y, p.Z) > 0 {
				holds = false
				break
			}
		}
		if holds {
			return i
		}
	}
	return -1
}

func (w *World) within(x, y, z float64) bool {
	return x >= w.low[0] && x < w.high[0] && y >= w.low[1] && y < w.high[1] && z >= w.low[2] && z < w.high[2]
}

// locate wants a point within the world.
func (w *World) locate(x, y, z float64) int {
	i := min(int((x-w.low[0])*w.perMM[0]), w.n[0]-1)
	j := min(int((y-w.low[1])*w.perMM[1]), w.n[1]-1)
	k := min(int((z-w.low[2])*w.perMM[2]), w.n[2]-1)
	cell := (i*w.n[1]+j)*w.n[2] + k
	near := w.near[w.cells[cell]:w.cells[cell+1]]
next:
	for c := range near {
		terms := w.terms[near[c].first:near[c].end]
		for t := range terms {
			if terms[t].at(x, y, z) > 0 {
				continue next
			}
		}
		return int(near[c].region)
	}
	return -1
}

// enter gives the way along a ray to the world's box, 0 from inside, and whether the ray meets it.
func (w *World) enter(from, to [3]float64) (float64, bool) {
	first, last := 0.0, math.Inf(1)
	for k := range from {
		if to[k] == 0 {
			if from[k] < w.low[k] || from[k] >= w.high[k] {
				return 0, false
			}
			continue
		}
		a, b := (w.low[k]-from[k])/to[k], (w.high[k]-from[k])/to[k]
		first, last = max(first, min(a, b)), min(last, max(a, b))
	}
	return first, first < last
}
