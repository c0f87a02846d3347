package organ

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/physics/transport"
	"afterbeam/internal/quantity"
)

// entry is how a shot's kerma-area product comes to the patient, in Gy cm2: through the table and beside it.
type entry struct {
	shown, through, beside float64
	open, behind           *ray // behind is nil where nothing crosses the table
}

// ray is a spectrum with what makes photons of kerma-area product.
type ray struct {
	spectrum []beam.Photons
	// perKerma is photons per unit of kerma, in the units of the spectrum.
	perKerma float64
}

// window knows the beams of a procedure's tube, each worked out once.
type window struct {
	body  *body.Body
	tubes map[beam.Quality]*tube
}

// tube is a beam before the table, with what it becomes behind tables at slants.
type tube struct {
	*beam.Beam
	open   *ray
	tables map[string]*passage
}

// passage is a beam's way through the layers of a table.
type passage struct {
	layers []beam.Layer
	mass   quantity.GramPerSquareCentimetre
	paths  *beam.Paths
	slants map[float64]*ray
}

const (
	// rays is how many lines across and along the field ask whether the table is in the way.
	rays = 5
	// slantStep is the grain of the slant for the spectrum behind the table: half of it changes the mass passed by 2.5 %.
	slantStep = 0.05
)

// enter finds how the kerma-area product shown for a shot reaches the patient, eq. (10.3): over the rays of the field the
// broad-beam transmission of the table, where they cross it. Displays measure before the table.
func (w *window) enter(s *exposure.Shot, shown float64) (entry, error) {
	t, err := w.tube(s)
	if err != nil {
		return entry{}, err
	}
	e := entry{shown: shown, open: t.open}
	if s.Table == nil {
		e.beside = shown
		return e, nil
	}
	p, err := t.through(s)
	if err != nil {
		return e, err
	}
	total, open, through, slants, crossed := 0.0, 0.0, 0.0, 0.0, 0.0
	for i := range rays {
		for j := range rays {
			across, along := s.HalfWidth*grid(i), s.HalfHeight*grid(j)
			tangent := 1 + across*across + along*along
			weight := 1 / (tangent * tangent) // cos4: kerma-area product per tangent area
			total += weight
			to := r3.Unit(r3.Add(s.Toward, r3.Add(r3.Scale(across, s.Across), r3.Scale(along, s.Along))))
			point, depth := w.meets(s, to)
			slant, crosses := s.Table.Crossing(s.Focus, point)
			if !crosses {
				open += weight
				continue
			}
			side := quantity.Millimetre(4 * s.HalfWidth * s.HalfHeight / (s.HalfWidth + s.HalfHeight) * depth)
			through += weight * p.paths.Transmission(slant) * beam.ForwardScatter(p.mass, side)
			slants += weight * slant
			crossed += weight
		}
	}
	e.beside = shown * open / total
	if crossed == 0 {
		return e, nil
	}
	e.through = shown * through / total
	e.behind, err = p.at(t, slants/crossed)
	return e, err
}

func grid(i int) float64 { return (float64(2*i+1) - rays) / rays }

// meets gives where a ray enters the body, or where it passes it, with the distance along the axis.
func (w *window) meets(s *exposure.Shot, to r3.Vec) (r3.Vec, float64) {
	way, hits := w.body.Enter(s.Focus, to)
	if !hits {
		way = float64(s.RefDistance) + beyondReference
	}
	return r3.Add(s.Focus, r3.Scale(way, to)), way * r3.Dot(to, s.Toward)
}

// tube gives the beam of a shot before the table.
func (w *window) tube(s *exposure.Shot) (*tube, error) {
	q := rounded(s.Quality)
	if t := w.tubes[q]; t != nil {
		return t, nil
	}
	bare, err := beam.New(q)
	if err != nil {
		return nil, fmt.Errorf("beam of event %d: %w", s.Event+1, err)
	}
	t := &tube{Beam: bare, tables: map[string]*passage{}}
	if t.open, err = rayOf(bare); err != nil {
		return nil, err
	}
	w.tubes[q] = t
	return t, nil
}

// through gives the way through the table of a shot.
func (t *tube) through(s *exposure.Shot) (*passage, error) {
	key := fmt.Sprint(s.Table.Layers)
	if p := t.tables[key]; p != nil {
		return p, nil
	}
	if err := beam.CheckLayers(s.Table.Layers); err != nil {
		return nil, fmt.Errorf("table of event %d: %w", s.Event+1, err)
	}
	p := &passage{layers: s.Table.Layers, mass: beam.Mass(s.Table.Layers), paths: t.Paths(s.Table.Layers), slants: map[float64]*ray{}}
	t.tables[key] = p
	return p, nil
}

// at gives the spectrum behind the table at a slant.
func (p *passage) at(t *tube, slant float64) (*ray, error) {
	slant = math.Round(slant/slantStep) * slantStep
	if r := p.slants[slant]; r != nil {
		return r, nil
	}
	layers := make([]beam.Layer, len(p.layers))
	for i, l := range p.layers {
		layers[i] = beam.Layer{Material: l.Material, Mass: l.Mass * quantity.GramPerSquareCentimetre(slant)}
	}
	r, err := rayOf(t.Behind(layers))
	p.slants[slant] = r
	return r, err
}

// rounded gives a quality whose voltage is a whole kV, so that shots share their spectra: half a kV changes the effective
// dose per kerma-area product by under 1 % (computed).
func rounded(q beam.Quality) beam.Quality {
	q.Voltage = quantity.Kilovolt(math.Round(float64(q.Voltage)))
	return q
}

func rayOf(b *beam.Beam) (*ray, error) {
	r := &ray{}
	photons := 0.0
	for _, p := range b.Spectrum() {
		if p.Energy >= transport.CutOff && p.Energy <= transport.Highest && p.PerArea > 0 {
			r.spectrum = append(r.spectrum, p)
			photons += p.PerArea
		}
	}
	kerma, err := transport.Kerma(r.spectrum, beam.Air)
	if err != nil {
		return nil, err
	}
	r.perKerma = 1 / (kerma * photons)
	return r, nil
}

// mixture adds spectra in proportion to the kerma-area product that they carry.
type mixture struct {
	fluence map[beam.KiloElectronvolt]float64
}

func newMixture() mixture { return mixture{map[beam.KiloElectronvolt]float64{}} }

func (m mixture) add(e entry) {
	m.addRay(e.open, max(e.beside, tinyGycm2))
	if e.behind != nil {
		m.addRay(e.behind, e.through)
	}
}

func (m mixture) addRay(r *ray, kap float64) {
	for _, p := range r.spectrum {
		m.fluence[p.Energy] += p.PerArea * r.perKerma * kap
	}
}

// photons gives the mixture by rising energy.
func (m mixture) photons() []beam.Photons {
	var list []beam.Photons
	for e := transport.CutOff; e <= transport.Highest; e++ {
		if f := m.fluence[e]; f > 0 {
			list = append(list, beam.Photons{Energy: e, PerArea: f})
		}
	}
	return list
}
