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
	paths        *beam.Paths
	mass         quantity.GramPerSquareCentimetre
}

// quality is a beam as it hits the skin.
type quality struct {
	scatter *beam.Scatter
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
		o.paths, o.mass = bare.Paths(layers), beam.Mass(layers)
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

// beamline gives the factors for one ray. left to above are the distances of the field's edges from the point, in the
// plane perpendicular to the beam axis at the skin; slant is that of the table, when it is crossed.
// skull tells that bone lies under the point.
func (o *optics) beamline(skull bool, slant float64, crosses bool, left, right, below, above float64) Beamline {
	l := Beamline{Transmission: 1, ForwardScatter: 1}
	width, height := left+right, below+above
	side := quantity.Millimetre(2 * width * height / (width + height))
	var q *quality
	if crosses {
		q = o.behind()
		l.Transmission = o.paths.Transmission(slant)
		l.ForwardScatter = beam.ForwardScatter(o.mass, side)
	} else {
		q = o.open()
	}
	mm := func(v float64) quantity.Millimetre { return quantity.Millimetre(v) }
	l.Backscatter = q.scatter.At(mm(left), mm(right), mm(below), mm(above))
	if skull {
		l.Backscatter = 1 + (l.Backscatter-1)*q.skull.Left(side)
	}
	l.Tissue = q.tissue
	return l
}

func qualityOf(b *beam.Beam, tissue beam.Material) *quality {
	return &quality{scatter: b.Scatter(), tissue: b.TissueFactor(tissue), skull: b.Skull()}
}
