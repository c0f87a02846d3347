package transport

import "math"

// Result is what a plan gave.
type Result struct {
	plan   *compiled
	scores []float64 // block by block
	total  []float64
}

// Value is an estimate with its standard error, from statistics alone.
type Value struct{ Mean, Error float64 }

// Tally are the sums of a number of histories.
type Tally struct {
	plan      *compiled
	scores    []float64
	histories int
}

func newResult(c *compiled, scores []float64) *Result {
	r := &Result{plan: c, scores: scores, total: make([]float64, c.tallies)}
	for i, v := range scores {
		r.total[i%c.tallies] += v
	}
	return r
}

// Histories is how many photons started.
func (r *Result) Histories() int { return r.plan.histories }

// Total are the sums of all histories.
func (r *Result) Total() Tally { return Tally{r.plan, r.total, r.plan.histories} }

// Estimate applies f to all histories, and to each block for the standard error, eq. (9.8). f has to be a mean per history
// or a ratio of sums.
func (r *Result) Estimate(f func(Tally) float64) Value {
	return r.Several(1, func(t Tally, to []float64) { to[0] = f(t) })[0]
}

// Incident is the energy of the photons that started, in keV per history: the sum of Deposited and Escaped.
func (t Tally) Incident() float64 { return t.scores[tallyIncident] / float64(t.histories) }

// Deposited is what photons left in the world.
func (t Tally) Deposited() float64 { return t.scores[tallyDeposited] / float64(t.histories) }

// Escaped is what photons took out of it.
func (t Tally) Escaped() float64 { return t.scores[tallyEscaped] / float64(t.histories) }

// KAP is the kerma-area product in keV cm2/g per history and unit of tangent area: free in air, without attenuation.
func (t Tally) KAP() float64 { return t.scores[tallyKAP] / float64(t.histories) }

// Energy is what region i absorbed by the kerma estimator, in keV per history.
func (t Tally) Energy(region int) float64 {
	return t.scores[tallyRegions+region] / float64(t.histories)
}

// Second is Energy with the coefficients of the region's second material, 0 where it has none.
func (t Tally) Second(region int) float64 {
	return t.scores[t.plan.secondFirst+region] / float64(t.histories)
}

// Crossing picks a detector's scores: photons before or after their first interaction.
type Crossing struct {
	Detector, Medium int
	Scattered        bool
}

// Circle is the kerma times area in keV cm2/g mm0 per history within circle i of a detector: divided by the circle's area
// it is kerma per history.
func (t Tally) Circle(c Crossing, i int) float64 { return t.within(c, 0, i) }

// Square is the same within square i.
func (t Tally) Square(c Crossing, i int) float64 {
	return t.within(c, len(t.plan.plates[c.Detector].squared), i)
}

func (t Tally) within(c Crossing, first, i int) float64 {
	p := t.plan.plates[c.Detector]
	row := p.first + 2*c.Medium*p.bins
	if c.Scattered {
		row += p.bins
	}
	sum := 0.0
	for k := range i + 1 {
		sum += t.scores[row+first+k]
	}
	return sum / float64(t.histories)
}

// Several is Estimate for n quantities at once: f writes them.
func (r *Result) Several(n int, f func(t Tally, to []float64)) []Value {
	values, mean, part := make([]Value, n), make([]float64, n), make([]float64, n)
	f(r.Total(), mean)
	weights := 0.0
	for b := range r.plan.blocks() {
		size := r.plan.size(b)
		share := float64(size) / float64(r.plan.histories)
		f(Tally{r.plan, r.scores[b*r.plan.tallies : (b+1)*r.plan.tallies], size}, part)
		for i := range values {
			values[i].Error += share * (part[i] - mean[i]) * (part[i] - mean[i])
		}
		weights += share * share
	}
	for i := range values {
		values[i] = Value{mean[i], math.Sqrt(values[i].Error * weights / (1 - weights))}
	}
	return values
}
