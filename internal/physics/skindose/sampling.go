package skindose

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// Sampling is the range of one peak skin dose from samples of its inputs, with what each of them adds.
type Sampling struct {
	// Points is how many samples count; Missed are those whose beams hit no skin, which tell nothing. Seed makes them
	// again.
	Points, Missed int
	Seed           uint64
	// Median is that of the samples, Low and High the ends of the interval with coverage factor 2 around it, eq. (7.8).
	Median, Low, High quantity.Gray
	// Influences are the inputs, the largest share first.
	Influences []Influence
	// Together is the share of the variance that no input has alone: places of events against each other, bends, and
	// inputs that act on one another.
	Together float64
	// Convergence are the same ends from the first quarter, the first half and all of the points.
	Convergence []Step
}

// Influence is what one input adds to a range.
type Influence struct {
	Name string
	// Varied tells its standard deviation in words.
	Varied string
	// Percent is what one standard deviation changes in the peak.
	Percent quantity.Percent
	// Share is its part of the variance of the logarithm, 0 to 1.
	Share float64
}

// Step is a range from some of the points.
type Step struct {
	Points    int
	Low, High quantity.Gray
}

// Sample makes the range of the peak of a map from points samples of its inputs, 128 when points is 0. shots are those
// that gave the map. It returns what Irradiate returns.
func Sample(shots []exposure.Shot, m *Map, tissue beam.Material, doubt Doubt, points int) (*Sampling, error) {
	bench, err := newBench(tissue)
	if err != nil {
		return nil, err
	}
	ordered := slices.Clone(shots)
	slices.SortStableFunc(ordered, compareShots)
	return bench.sample(ordered, m, doubt, points)
}

func (b *bench) sample(ordered []exposure.Shot, m *Map, doubt Doubt, points int) (*Sampling, error) {
	if points <= 0 {
		points = Points
	}
	out := &Sampling{Seed: Seed, Median: m.PeakDose(), Low: m.PeakDose(), High: m.PeakDose()}
	if m.Peak < 0 {
		return out, nil
	}
	s, err := b.newSampler(ordered, m, doubt)
	if err != nil {
		return nil, err
	}
	draws := s.draws(points)
	logs := s.logPeaks(draws)
	for _, n := range []int{points / 4, points / 2, points} {
		if step, ok := stepOf(m.PeakDose(), hits(logs[:n])); ok || n == points && len(hits(logs)) > 0 {
			out.Convergence = append(out.Convergence, Step{n, step.Low, step.High})
		}
	}
	kept := hits(logs)
	out.Points, out.Missed = len(kept), points-len(kept)
	if len(kept) == 0 {
		return out, nil
	}
	end, _ := stepOf(m.PeakDose(), kept)
	slices.Sort(kept)
	out.Median = m.PeakDose() * quantity.Gray(math.Exp(stat.Quantile(0.5, stat.LinInterp, kept, nil)))
	out.Low, out.High = end.Low, end.High
	out.influences(s, draws, logs)
	return out, nil
}

// hits leaves out samples whose beams hit no skin.
func hits(logs []float64) []float64 {
	return slices.DeleteFunc(slices.Clone(logs), func(v float64) bool { return math.IsInf(v, 0) })
}

// fewest samples that show how a range converges.
const fewest = 8

// stepOf gives the range of samples: two of their standard deviations on either side of the median, each side by its own,
// eq. (7.8). The nominal dose is always inside.
func stepOf(dose quantity.Gray, logs []float64) (Step, bool) {
	if len(logs) == 0 {
		return Step{}, false
	}
	sorted := slices.Clone(logs)
	slices.Sort(sorted)
	median := stat.Quantile(0.5, stat.LinInterp, sorted, nil)
	var below, above, nBelow, nAbove float64
	for _, v := range sorted {
		switch d := v - median; {
		case d < 0:
			below, nBelow = below+d*d, nBelow+1
		case d > 0:
			above, nAbove = above+d*d, nAbove+1
		}
	}
	low := min(0, median-2*math.Sqrt(below/max(nBelow, 1)))
	high := max(0, median+2*math.Sqrt(above/max(nAbove, 1)))
	return Step{len(logs), dose * quantity.Gray(math.Exp(low)), dose * quantity.Gray(math.Exp(high))}, len(logs) >= fewest
}

// influences finds what each input adds by the least squares of the logarithm on the deviates, eq. (7.9).
func (out *Sampling) influences(s *sampler, draws []draw, logs []float64) {
	active := s.active()
	var rows, y []float64
	for i, v := range logs {
		if math.IsInf(v, 0) {
			continue
		}
		y = append(y, v)
		rows = append(rows, 1)
		for _, k := range active {
			rows = append(rows, draws[i][k])
		}
	}
	columns := len(active) + 1
	variance := stat.Variance(y, nil)
	var slopes mat.VecDense
	if len(y) <= 2*columns || variance == 0 || slopes.SolveVec(mat.NewDense(len(y), columns, rows), mat.NewVecDense(len(y), y)) != nil {
		for _, k := range active { // too few samples to tell shares
			out.add(Influence{Name: k.name(), Varied: s.varied(k)})
		}
		return
	}
	alone := 0.0
	for j, k := range active {
		slope := slopes.AtVec(j + 1)
		column := make([]float64, len(y))
		for i := range column {
			column[i] = rows[i*columns+j+1]
		}
		share := slope * slope * stat.Variance(column, nil) / variance
		alone += share
		out.add(Influence{Name: k.name(), Varied: s.varied(k), Percent: quantity.Percent(100 * math.Expm1(math.Abs(slope))), Share: share})
	}
	out.Together = max(0, 1-alone)
	for i := range out.Influences {
		out.Influences[i].Share /= max(1, alone)
	}
	slices.SortStableFunc(out.Influences, func(a, b Influence) int { return cmp.Compare(b.Share, a.Share) })
}

// add appends an influence, or joins it to one of the same name.
func (out *Sampling) add(f Influence) {
	for i := range out.Influences {
		if g := &out.Influences[i]; g.Name == f.Name {
			g.Share += f.Share
			g.Percent = quantity.Percent(math.Hypot(float64(g.Percent), float64(f.Percent)))
			return
		}
	}
	out.Influences = append(out.Influences, f)
}
