package transport

import "math"

// The first tallies of a block, before those of regions and detectors. Energies in keV, kerma-area product in keV cm2/g
// per unit of tangent area.
const (
	tallyIncident = iota
	tallyDeposited
	tallyEscaped
	tallyKAP
	tallyRegions
)

// walker follows the histories of one block after the other. It allocates nothing on the way.
type walker struct {
	plan   *compiled
	random stream
	scores []float64
	// The photon: where its flight began, where it flies, its energy and weight.
	from, to  [3]float64
	energy    float64
	weight    float64
	at        place
	scattered int // 0 before the first interaction, 1 after
}

// block runs the histories of one block into scores.
func (w *walker) block(index int, scores []float64) {
	p := w.plan
	w.random, w.scores = newStream(p.seed, uint64(index)), scores
	start, n := newAim(&w.random), p.size(index)
	for j := range n {
		energy, to, weight, kap := p.emitter.emit(&w.random, &start, j, n)
		w.energy, w.to, w.weight, w.scattered = energy, to, weight, 0
		w.from = [3]float64{p.emitter.Focus.X, p.emitter.Focus.Y, p.emitter.Focus.Z}
		w.at = placeOf(energy)
		scores[tallyIncident] += weight * energy
		scores[tallyKAP] += kap * energy * p.air.at(w.at)
		w.history()
	}
}

// history follows one photon to its end.
func (w *walker) history() {
	for {
		region, length := w.fly()
		for _, d := range w.plan.plates {
			d.flight(w.scores, w.from, w.to, length, w.weight*w.energy, w.at, w.scattered)
		}
		if region < 0 {
			w.scores[tallyEscaped] += w.weight * w.energy
			return
		}
		for k := range w.from {
			w.from[k] += length * w.to[k]
		}
		if !w.interact(w.plan.world.regions[region].Medium) {
			return
		}
	}
}

// fly takes the photon to its next interaction by delta tracking, eq. (9.2), and gives the region it happens in, or -1
// and infinity when the photon leaves. At every tentative interaction it scores the kerma there, eq. (9.6).
func (w *walker) fly() (int, float64) {
	world, p := w.plan.world, w.at
	length := 0.0
	if w.scattered == 0 {
		way, meets := world.enter(w.from, w.to)
		if !meets {
			return -1, math.Inf(1)
		}
		length = way
	}
	majorant := world.majorant[p.node] + p.share*(world.majorant[p.node+1]-world.majorant[p.node])
	free := 1 / majorant
	weighted := w.weight * w.energy * free
	for {
		length -= math.Log(1-w.random.uniform()) * free
		x, y, z := w.from[0]+length*w.to[0], w.from[1]+length*w.to[1], w.from[2]+length*w.to[2]
		if !world.within(x, y, z) {
			return -1, math.Inf(1)
		}
		region := world.locate(x, y, z)
		if region < 0 {
			continue
		}
		m := world.regions[region].Medium
		a, b := &m.table[p.node], &m.table[p.node+1]
		w.scores[tallyRegions+region] += weighted * (a.absorption + p.share*(b.absorption-a.absorption))
		if second := w.plan.second[region]; second != nil {
			w.scores[w.plan.secondFirst+region] += weighted * second.at(p)
		}
		if w.random.uniform()*majorant < a.total+p.share*(b.total-a.total) {
			return region, length
		}
	}
}

// interact lets the photon interact in a medium and tells whether it goes on.
func (w *walker) interact(m *Medium) bool {
	c := m.at(w.at)
	u := w.random.uniform() * c.total
	var cos float64
	switch {
	case u < c.photo:
		w.scores[tallyDeposited] += w.weight * w.energy
		return false
	case u < c.absorbedOrIncoherent:
		after, turned := m.shape.incoherently(&w.random, w.energy)
		w.scores[tallyDeposited] += w.weight * (w.energy - after)
		w.energy, cos = after, turned
		if after <= float64(CutOff) {
			w.scores[tallyDeposited] += w.weight * after
			return false
		}
		w.at = placeOf(after)
	default:
		cos = m.shape.coherently(&w.random, w.energy, w.at)
	}
	w.scattered = 1
	w.turn(cos)
	return true
}

// turn deflects the photon by an angle of the given cosine, all directions around its flight alike.
func (w *walker) turn(cos float64) {
	sin := math.Sqrt(max(0, 1-cos*cos))
	var p, q float64 // a random point of the unit circle, by rejection
	for {
		p, q = 2*w.random.uniform()-1, 2*w.random.uniform()-1
		if r := p*p + q*q; r <= 1 && r > 1e-12 {
			s := sin / math.Sqrt(r)
			p, q = p*s, q*s
			break
		}
	}
	x, y, z := w.to[0], w.to[1], w.to[2]
	if side := x*x + y*y; side > 1e-12 {
		s := math.Sqrt(side)
		w.to = [3]float64{
			x*cos + (x*z*p-y*q)/s,
			y*cos + (y*z*p+x*q)/s,
			z*cos - s*p,
		}
	} else {
		w.to = [3]float64{p, q, math.Copysign(cos, z*cos)}
	}
	// Rounding is taken out, else it grows with the number of turns.
	n := 1 / math.Sqrt(w.to[0]*w.to[0]+w.to[1]*w.to[1]+w.to[2]*w.to[2])
	w.to[0], w.to[1], w.to[2] = n*w.to[0], n*w.to[1], n*w.to[2]
}
