package transport

import "gonum.org/v1/gonum/spatial/r3"

// Random is a stream for tests.
type Random struct{ stream stream }

// NewRandom gives the stream of a block.
func NewRandom(seed, block uint64) *Random { return &Random{newStream(seed, block)} }

// Uniform is the next number.
func (r *Random) Uniform() float64 { return r.stream.uniform() }

// Incoherently draws one incoherent scattering.
func (m *Medium) Incoherently(r *Random, energy float64) (after, cos float64) {
	return m.shape.incoherently(&r.stream, energy)
}

// Coherently draws the cosine of one coherent scattering angle.
func (m *Medium) Coherently(r *Random, energy float64) float64 {
	return m.shape.coherently(&r.stream, energy, placeOf(energy))
}

// Scores are all tallies of all blocks.
func (r *Result) Scores() []float64 { return r.scores }

// Blocks gives a function that runs the next block of a plan, without room of its own to be made.
func (p *Plan) Blocks() (func(), error) {
	c, err := p.compile()
	if err != nil {
		return nil, err
	}
	w, scores, next := &walker{plan: c}, make([]float64, c.tallies), 0
	return func() {
		w.block(next%c.blocks(), scores)
		next++
	}, nil
}

// Value is the quadric at a point.
func (q *Quadric) Value(p r3.Vec) float64 { return q.at(p.X, p.Y, p.Z) }

// Over is an interval of the quadric's values in a box.
func (q *Quadric) Over(low, high r3.Vec) (least, most float64) {
	s := q.over(span{low.X, high.X}, span{low.Y, high.Y}, span{low.Z, high.Z})
	return s.low, s.high
}
