package skindose

import (
	"fmt"
	"math"
	"strings"
	"sync"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

// optics are the factors of eq. (6.1) that depend on the beam alone.
type optics struct {
	// open is the beam that reaches skin beside the table, behind the one that has crossed it; each is worked out when
	// the first ray needs it.
	open, behind func() *quality
	paths        func() *beam.Paths
	mass         float64 // of the table, g/cm2
}

// quality is a beam as it hits the skin.
type quality struct {
	scatter *beam.Scatter
	oblique *beam.Oblique
	tissue  float64
	skull   beam.Skull
}

// voltageStep is the grain in kV to which tube voltages are rounded, so that events share their spectra; most reports
// give whole kV. Half a step moves B by up to 0.3 % at 50 kV and 0.14 % from 60 kV on, T by 0.08 % and f by 0.03 %
// (computed, 50 to 125 kV, 0 to 0.9 mm Cu).
const voltageStep = 1.0

type opticsKey struct {
	quality beam.Quality
	layers  string
}

// bench keeps the optics of one call.
type bench struct {
	tissue beam.Material
	// skull lowers the backscatter of the head as bone under thin skin does.
	skull  bool
	known  map[opticsKey]*optics
	layers map[*exposure.Table]string
	rooms  [][]quantity.Gray // of parts of a sum
}

// newBench returns beam's ErrMaterial for a tissue without data.
func newBench(tissue beam.Material) (*bench, error) {
	if err := beam.CheckLayers([]beam.Layer{{Material: tissue}}); err != nil {
		return nil, fmt.Errorf("tissue: %w", err)
	}
	return &bench{tissue: tissue, known: map[opticsKey]*optics{}, layers: map[*exposure.Table]string{}}, nil
}

// of gives the optics of a shot. It returns beam's ErrQuality and ErrMaterial.
func (b *bench) of(s *exposure.Shot) (*optics, error) {
	key := opticsKey{quality: s.Quality}
	key.quality.Voltage = quantity.Kilovolt(math.Round(float64(s.Quality.Voltage)/voltageStep) * voltageStep)
	if s.Table != nil {
		key.layers = b.layersOf(s.Table)
	}
	if o := b.known[key]; o != nil {
		return o, nil
	}
	bare, err := beam.New(key.quality)
	if err != nil {
		return nil, fmt.Errorf("beam of event %d: %w", s.Event+1, err)
	}
	o := &optics{open: sync.OnceValue(func() *quality { return qualityOf(bare, b.tissue) })}
	if s.Table != nil {
		if err := beam.CheckLayers(s.Table.Layers); err != nil {
			return nil, fmt.Errorf("table of event %d: %w", s.Event+1, err)
		}
		layers := s.Table.Layers
		o.mass = float64(beam.Mass(layers))
		o.paths = sync.OnceValue(func() *beam.Paths { return bare.Paths(layers) })
		o.behind = sync.OnceValue(func() *quality { return qualityOf(bare.Behind(layers), b.tissue) })
	}
	b.known[key] = o
	return o, nil
}

// layersOf spells the layers of a table, so that equal tables share their beams.
func (b *bench) layersOf(t *exposure.Table) string {
	if text, ok := b.layers[t]; ok {
		return text
	}
	var text strings.Builder
	for _, l := range t.Layers {
		fmt.Fprintf(&text, "%s %x;", l.Material, float64(l.Mass))
	}
	b.layers[t] = text.String()
	return text.String()
}

// point is a place on the skin as a beam sees it.
type point struct {
	// left to above are the distances of the field's edges in mm, in the plane perpendicular to the beam axis at the skin.
	left, right, below, above float64
	// side in mm of the square field that scatters as much as the field does.
	side float64
	// cosine of the angle between the ray and the skin's normal.
	cosine float64
	// inside tells that the point lies in the field, where the primary beam is; beside it there is only scatter.
	inside bool
	// skull tells that bone lies under the point.
	skull bool
	// crosses tells that the ray crosses the table; slant and gap are then those of the way.
	crosses    bool
	slant, gap float64
}

// scattered gives B of a point: the kerma of the beam as it hits the skin with what the patient scatters back, over the
// primary kerma there or, beside the field, inside it.
func (q *quality) scattered(p *point) float64 {
	mm := func(v float64) quantity.Millimetre { return quantity.Millimetre(v) }
	over := q.scatter.At(mm(p.left), mm(p.right), mm(p.below), mm(p.above)) - 1
	over *= q.oblique.Left(mm(p.side), p.cosine)
	if p.skull {
		over *= q.skull.Left(mm(p.side))
	}
	if p.inside {
		over++
	}
	return over
}

// fromTable gives what a table of a mass adds to B by its own scatter, eq. (4.3).
func fromTable(mass float64, p *point) float64 {
	mm := func(v float64) quantity.Millimetre { return quantity.Millimetre(v) }
	return mass * beam.TableScattering().Over(mm(p.left), mm(p.right), mm(p.below), mm(p.above), mm(p.gap))
}

func qualityOf(b *beam.Beam, tissue beam.Material) *quality {
	return &quality{scatter: b.Scatter(), oblique: b.Oblique(), tissue: b.TissueFactor(tissue), skull: b.Skull()}
}
