package transport

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"

	"afterbeam/internal/physics/beam"
)

// ErrPlan marks a plan that cannot be run.
var ErrPlan = errors.New("impossible plan")

// Plan is one calculation. The same plan gives the same bits on any number of workers.
type Plan struct {
	World     *World
	Source    Source
	Detectors []Detector
	// Histories is the number of photons that start, Block how many make one of the independent parts from which standard
	// errors come; 0 is DefaultBlock, and less where that would leave under 20 parts.
	Histories, Block int
	// Second is a further material per organ in which kerma is scored, such as marrow in bone.
	Second map[string]beam.Material
	// Seed chooses the random numbers.
	Seed uint64
}

// The sizes of a calculation.
const (
	DefaultBlock = 10_000
	// MaxHistories bounds one plan: an hour on one core.
	MaxHistories = 2_000_000_000
	leastBlocks  = 20
)

// compiled is a plan made ready.
type compiled struct {
	world       *World
	emitter     *emitter
	plates      []*plate
	second      []*absorberPerMM
	secondFirst int
	air         *absorber
	seed        uint64
	histories   int
	block       int
	tallies     int
}

// absorberPerMM is the linear energy-absorption coefficient in 1/mm that a second material would have at the medium's
// density, so that both kermas divide by the same mass.
type absorberPerMM struct {
	absorber *absorber
	density  float64
}

func (a *absorberPerMM) at(p place) float64 { return a.absorber.at(p) * a.density / 10 }

func (p *Plan) compile() (*compiled, error) {
	if p.World == nil || p.Histories < leastBlocks || p.Histories > MaxHistories || p.Block < 0 {
		return nil, fmt.Errorf("%w: %d histories in blocks of %d, want %d to %d histories in a world", ErrPlan, p.Histories, p.Block, leastBlocks, MaxHistories)
	}
	c := &compiled{world: p.World, seed: p.Seed, histories: p.Histories, block: p.Block}
	if c.block == 0 {
		c.block = min(DefaultBlock, p.Histories/leastBlocks)
	}
	var err error
	if c.emitter, err = newEmitter(p.Source); err != nil {
		return nil, err
	}
	if c.air, err = newAbsorber(beam.Air); err != nil {
		return nil, err
	}
	regions := p.World.regions
	c.secondFirst = tallyRegions + len(regions)
	c.tallies = c.secondFirst + len(regions)
	c.second = make([]*absorberPerMM, len(regions))
	for i, r := range regions {
		if m, ok := p.Second[r.Organ]; ok {
			a, err := newAbsorber(m)
			if err != nil {
				return nil, err
			}
			c.second[i] = &absorberPerMM{a, r.Medium.Density}
		}
	}
	for _, d := range p.Detectors {
		plate, err := newPlate(d, c.tallies)
		if err != nil {
			return nil, err
		}
		c.plates = append(c.plates, plate)
		c.tallies += plate.scores()
	}
	return c, nil
}

func (c *compiled) blocks() int { return (c.histories + c.block - 1) / c.block }

// size is the number of histories of a block.
func (c *compiled) size(block int) int { return min(c.block, c.histories-block*c.block) }

// Run follows all histories of a plan with some workers, at least one. It returns ErrPlan, ErrSource, ErrDetector,
// ErrMaterial or the context's error; the context is looked at between blocks.
func Run(ctx context.Context, plan Plan, workers int) (*Result, error) {
	c, err := plan.compile()
	if err != nil {
		return nil, err
	}
	blocks := c.blocks()
	scores := make([]float64, blocks*c.tallies)
	var next atomic.Int64
	var group sync.WaitGroup
	for range min(max(workers, 1), blocks) {
		group.Go(func() {
			w := &walker{plan: c}
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= blocks {
					return
				}
				w.block(i, scores[i*c.tallies:(i+1)*c.tallies:(i+1)*c.tallies])
			}
		})
	}
	group.Wait()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("transport of %d histories: %w", c.histories, err)
	}
	for i, v := range scores {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w: tally %d of block %d is %v", ErrPlan, i%c.tallies, i/c.tallies, v)
		}
	}
	return newResult(c, scores), nil
}
