package organ

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/quantity"
)

// ErrNoBeams marks a case without any beam.
var ErrNoBeams = errors.New("no beam to compute organ doses of")

// Budget bounds a calculation. The zero Budget is the default.
type Budget struct {
	// Histories of a case are shared among its beams by kerma-area product; each gets Least to Most of them, by default a two
	// hundredth to a fifth.
	Histories, Least, Most int
}

// or gives the default where nothing is said: enough for 1 % of effective dose and 3 % of organs in the field.
func (b Budget) or() Budget {
	set := func(v *int, standard int) {
		if *v == 0 {
			*v = standard
		}
	}
	set(&b.Histories, 1_000_000)
	set(&b.Least, max(b.Histories/200, 50*blocks))
	set(&b.Most, max(b.Histories/5, 50*blocks))
	return b
}

// of is the number of histories of a beam that brings a share of the kerma-area product, in whole blocks.
func (b Budget) of(share float64) int {
	n := int(math.Round(share * float64(b.Histories)))
	return max(b.Least, min(n, b.Most)) / blocks * blocks
}

// blocks is how many independent parts a beam's histories have: their spread is the standard error.
const blocks = 20

// cell is the locator's cell in mm, the fastest on the stylised body within 10 %.
var cell = r3.Vec{X: 20, Y: 20, Z: 20}

// lookAlikes are the bodies that a case is computed in, one for each position of the arms.
type lookAlikes map[transport.Arms]*world

type world struct {
	*transport.World
	reading *reading
}

// stretchOf fits the stylised body to a patient's outline, with the trunk wider and deeper by a factor.
func stretchOf(d body.Dimensions, wider float64) transport.Stretch {
	const mm = 10 // per cm
	return transport.Stretch{
		Trunk: r3.Vec{X: wider * d.TrunkHalfWidth / (20 * mm), Y: wider * d.TrunkHalfDepth / (10 * mm), Z: d.TrunkHeight / (70 * mm)},
		Head: r3.Vec{
			X: d.HeadHalfWidth / (8 * mm), Y: d.HeadHalfDepth / (10 * mm), Z: (d.NeckHeight + d.HeadHeight + d.HeadCap) / (28.6 * mm),
		},
		Legs: r3.Vec{X: wider * d.TrunkHalfWidth / (20 * mm), Y: wider * d.TrunkHalfWidth / (20 * mm), Z: d.LegLength / (80 * mm)},
	}
}

// newLookAlikes makes the bodies that the beams need.
func newLookAlikes(beams []Beam, s transport.Stretch) (lookAlikes, error) {
	l := lookAlikes{}
	for _, b := range beams {
		if l[b.Arms] != nil {
			continue
		}
		regions, err := transport.Phantom(b.Arms)
		if err != nil {
			return nil, err
		}
		regions = s.Stretched(regions)
		w, err := transport.NewWorld(regions, cell)
		if err != nil {
			return nil, fmt.Errorf("stylised body: %w", err)
		}
		l[b.Arms] = &world{w, newReading(regions)}
	}
	return l, nil
}

// outcome are the doses of a case in Gy and Sv with their standard errors from statistics.
type outcome struct {
	organs, organErrors doses
	effective, errors   [2]float64 // in the order of sets
	histories           int
}

// sets are the tissue weights told of, that in force first.
func sets() [2]effective.WeightSet {
	return [2]effective.WeightSet{effective.ICRP103, effective.ICRP60}
}

// run computes all beams in the bodies: part is the share of the budget to use, shift moves the beams along the body in mm.
func (c *Case) run(ctx context.Context, bodies lookAlikes, part, shift float64, purpose string) (outcome, error) {
	var o outcome
	weights := [2][]weight{weightsOf(sets()[0]), weightsOf(sets()[1])}
	total := c.total()
	for i, b := range c.Beams {
		if b.KAPGycm2 == 0 {
			continue
		}
		w := bodies[b.Arms]
		n := max(int(part*float64(c.Budget.or().of(b.KAPGycm2/total)))/blocks*blocks, 50*blocks)
		source := b.Source
		source.Focus.Z += shift
		r, err := transport.Run(ctx, transport.Plan{
			World: w.World, Source: source, Second: skeleton(w.Regions()), Histories: n, Block: n / blocks, Seed: seedOf(c.Key, purpose, i),
		}, c.Workers)
		if err != nil {
			return outcome{}, fmt.Errorf("beam %d of %d: %w", i+1, len(c.Beams), err)
		}
		o.add(r, w.reading, weights, b.KAPGycm2)
	}
	for i := range o.organErrors {
		o.organErrors[i] = math.Sqrt(o.organErrors[i])
	}
	for i := range o.errors {
		o.errors[i] = math.Sqrt(o.errors[i])
	}
	return o, nil
}

// add takes in one beam: its doses per kerma-area product times what it delivered, eq. (10.8), errors as variances.
func (o *outcome) add(r *transport.Result, reading *reading, weights [2][]weight, kap float64) {
	o.histories += r.Histories()
	values := r.Several(int(organCount)+len(weights), func(t transport.Tally, to []float64) {
		d := reading.perKAP(t)
		copy(to, d[:])
		for k, w := range weights {
			to[int(organCount)+k] = d.effectiveOf(w)
		}
	})
	for i := range o.organs {
		o.organs[i] += kap * values[i].Mean
		o.organErrors[i] += kap * kap * values[i].Error * values[i].Error
	}
	for k := range weights {
		v := values[int(organCount)+k]
		o.effective[k] += kap * v.Mean
		o.errors[k] += kap * kap * v.Error * v.Error
	}
}

// seedOf makes the random numbers of a beam depend on the case, what is asked and the beam alone.
func seedOf(key, purpose string, beam int) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(key + "\x00" + purpose + "\x00")) // never fails
	_ = binary.Write(h, binary.LittleEndian, int64(beam))   // likewise
	return h.Sum64()
}

// Case is what organ doses are computed of.
type Case struct {
	Beams []Beam
	Body  *body.Body
	// Key names the case: the random numbers follow from it, so that the same case gives the same bits.
	Key string
	// Covered is the share of the displayed kerma-area product that has a beam; Notes say what was done about the rest.
	Covered quantity.Percent
	Notes   []string
	Doubt   Doubt
	Budget  Budget
	Workers int
}

// Compute follows the photons of a case. The same case gives the same bits on any number of workers. It returns ErrNoBeams
// and the errors of package transport; the context is looked at often.
func Compute(ctx context.Context, c Case) (Doses, error) {
	c.Beams = slices.Clone(c.Beams)
	slices.SortStableFunc(c.Beams, byKAP)
	if !slices.ContainsFunc(c.Beams, func(b Beam) bool { return b.KAPGycm2 > 0 }) {
		return Doses{}, ErrNoBeams
	}
	bodies, err := newLookAlikes(c.Beams, stretchOf(c.Body.Dimensions, 1))
	if err != nil {
		return Doses{}, err
	}
	middle, err := c.run(ctx, bodies, 1, 0, "middle")
	if err != nil {
		return Doses{}, err
	}
	spread, err := c.spread(ctx, bodies, middle)
	if err != nil {
		return Doses{}, err
	}
	return c.told(middle, spread), nil
}
