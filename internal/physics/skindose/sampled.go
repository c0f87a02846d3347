package skindose

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/quantity"
)

const (
	// Points is how many samples a range is made from.
	Points = 128
	// Seed is that of the scrambling of the samples: fixed, so that a range can be made again bit by bit.
	Seed = 20111
)

// What a range is sampled on; judgement, the effects of all are below the range's own noise.
const (
	// A patch that gets less than this part of the peak, with the fields grown by what they may be off, becomes no peak.
	contender = 0.5
	// Where the fields at the peak hold more patches than this, they are thinned out evenly.
	enoughInField = 30
)

// sampler finds the peak of moved beams on a moved body.
type sampler struct {
	shots  []exposure.Shot
	optics []*optics
	// rank numbers the events in the order of the shots, bow is the square of the place on an arc less its mean.
	rank   []int
	bow    []float64
	height []float64 // mm, of Doubt.height
	table  []int     // index into tables, -1 for none
	tables []*exposure.Table
	// coarse are some of the patches that may become the peak, fine are all of them, near those around each coarse one.
	coarse, fine *body.Body
	near         [][]int
	doubt        Doubt
	points       *net
	skull        bool
}

// newSampler prepares the samples of ordered shots that gave a map.
func (b *bench) newSampler(shots []exposure.Shot, m *Map, doubt Doubt) (*sampler, error) {
	s := &sampler{shots: joinedViews(joinedArcs(shots)), doubt: doubt, points: newNet(Seed), skull: b.skull}
	ranks := map[int]int{}
	sums := map[int][2]float64{}
	for i := range s.shots {
		shot := &s.shots[i]
		o, err := b.of(shot)
		if err != nil {
			return nil, err
		}
		s.optics = append(s.optics, o)
		if _, known := ranks[shot.Event]; !known {
			ranks[shot.Event] = len(ranks)
		}
		s.rank = append(s.rank, ranks[shot.Event])
		sum := sums[shot.Event]
		sums[shot.Event] = [2]float64{sum[0] + 1, sum[1] + shot.OnArc*shot.OnArc}
		s.table = append(s.table, s.indexOf(shot.Table))
		depth := m.Body.Dimensions.TrunkHalfDepth
		if shot.Table != nil {
			depth = r3.Dot(shot.Table.Centre, shot.Table.Down)
		}
		s.height = append(s.height, doubt.height(shot, depth))
	}
	for i := range s.shots {
		sum := sums[s.shots[i].Event]
		s.bow = append(s.bow, s.shots[i].OnArc*s.shots[i].OnArc-sum[1]/sum[0])
	}
	all, err := b.contenders(s.shots, m, doubt)
	if err != nil {
		return nil, err
	}
	s.fine = m.Body.Excerpt(all)
	s.coarse, s.near = thinned(s.fine, m.stride())
	return s, nil
}

// thinned takes every so manieth patch of a body and tells which of the others are nearest to it.
func thinned(b *body.Body, every int) (*body.Body, [][]int) {
	keep := make([]bool, len(b.Patches))
	for i := 0; i < len(keep); i += every {
		keep[i] = true
	}
	out := b.Excerpt(keep)
	near := make([][]int, len(out.Patches))
	for i := range b.Patches {
		best, least := 0, math.Inf(1)
		for k := range out.Patches {
			if d := r3.Norm2(r3.Sub(b.Patches[i].Centre, out.Patches[k].Centre)); d < least {
				best, least = k, d
			}
		}
		near[best] = append(near[best], i)
	}
	return out, near
}

func (s *sampler) indexOf(t *exposure.Table) int {
	if t == nil {
		return -1
	}
	if i := slices.Index(s.tables, t); i >= 0 {
		return i
	}
	s.tables = append(s.tables, t)
	return len(s.tables) - 1
}

// contenders marks the patches that may become the peak of a sample: those of groups where one patch in eight has enough
// dose with the fields grown by three standard deviations of what they may be off. Such fields are far larger than what
// lies between.
func (b *bench) contenders(shots []exposure.Shot, m *Map, doubt Doubt) ([]bool, error) {
	p := doubt.Play
	mm := 3 * math.Hypot(float64(max(p.Across, p.Along)), float64(p.Between))
	keep := make([]bool, len(m.Dose))
	for i := 0; i < len(keep); i += 8 {
		keep[i] = true
	}
	keep[m.Peak] = true
	some := m.Body.Excerpt(keep)
	dose := make([]quantity.Gray, len(some.Patches))
	for i := range shots {
		o, err := b.of(&shots[i])
		if err != nil {
			return nil, err
		}
		grown := shots[i]
		grown.HalfWidth += mm / usualDistance
		grown.HalfHeight += mm / usualDistance
		run := exposed{core: &shots[i], body: some, skull: b.skull}
		run.aim(&grown, o)
		run.onto(dose)
	}
	next := 0
	for _, g := range m.Body.Groups {
		enough := false
		for i := g.First; i < g.End; i++ {
			if keep[i] {
				enough = enough || i == m.Peak || dose[next] >= contender*m.PeakDose()
				next++
			}
		}
		for i := g.First; i < g.End; i++ {
			keep[i] = enough
		}
	}
	return keep, nil
}

// stride tells which of so many patches are enough, by the mean area of the fields that make the peak.
func (m *Map) stride() int {
	share := map[int]float64{}
	for _, c := range m.Contributions {
		share[c.Event] = c.Share
	}
	area := 0.0
	for _, f := range m.Fields {
		area += share[f.Event] * f.Area.Cm2()
	}
	patches := area / m.Body.Patches[m.Peak].Area
	return max(1, int(min(patches, math.MaxInt32)/enoughInField))
}

// draw is one sample: standard normal deviates.
type draw [inputs]float64

// draws gives the samples. An input that nothing is uncertain of stays where it is.
func (s *sampler) draws(n int) []draw {
	out := make([]draw, n)
	for i := range out {
		for k := range inputs {
			if s.doubt.log(k) > 0 || s.doubt.moves(k) {
				out[i][k] = s.points.normal(uint32(i), int(k))
			}
		}
	}
	return out
}

// logPeaks gives the logarithm of each sample's peak over the unmoved one. Samples are shared out among as many workers
// as the program may use; each has its own place, so their number changes no bit.
func (s *sampler) logPeaks(draws []draw) []float64 {
	out := make([]float64, len(draws))
	still := s.still()
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(draws)) {
		workers.Go(func() {
			desk := s.desk()
			for i := int(next.Add(1)) - 1; i < len(draws); i = int(next.Add(1)) - 1 {
				common := 0.0
				for k := range inputs {
					common += draws[i][k] * s.doubt.log(k)
				}
				out[i] = common + math.Log(s.peak(&draws[i], i, desk)/still)
			}
		})
	}
	workers.Wait()
	return out
}

// desk is a worker's room.
type desk struct {
	run    exposed
	shot   exposure.Shot
	tables []exposure.Table
	dose   []quantity.Gray
	fine   []quantity.Gray
	around []bool
}

func (s *sampler) desk() *desk {
	n := len(s.fine.Patches)
	return &desk{
		tables: make([]exposure.Table, len(s.tables)), dose: make([]quantity.Gray, len(s.coarse.Patches)),
		fine: make([]quantity.Gray, n), around: make([]bool, n),
	}
}

// peak gives the peak of one sample, without the inputs that multiply every dose alike. It
// looks at some patches first, and then at all around the hottest of these.
func (s *sampler) peak(d *draw, sample int, desk *desk) float64 {
	size := math.Exp(s.doubt.Play.BodySize * d[bySize])
	desk.place(s, d, s.coarse, size)
	clear(desk.dose)
	for i := range s.shots {
		s.move(i, d, size, sample, desk)
		desk.run.onto(desk.dose)
	}
	desk.place(s, d, s.fine.Excerpt(s.hottest(desk)), size)
	around := desk.fine[:len(desk.run.body.Patches)]
	clear(around)
	for i := range s.shots {
		s.move(i, d, size, sample, desk)
		for k := range around {
			dose, _, _ := desk.run.at(k)
			around[k] += dose
		}
	}
	return float64(slices.Max(around))
}

// still is the peak of the unmoved beams on all patches.
func (s *sampler) still() float64 {
	desk := s.desk()
	desk.place(s, &draw{}, s.fine, 1)
	for i := range s.shots {
		s.move(i, &draw{}, 1, -1, desk)
		desk.run.onto(desk.fine)
	}
	return float64(slices.Max(desk.fine))
}

// place puts the tables and the skin of a sample on the desk.
func (desk *desk) place(s *sampler, d *draw, skin *body.Body, size float64) {
	for i, t := range s.tables {
		desk.tables[i] = *t
		desk.tables[i].Centre = r3.Add(t.Centre, r3.Scale((size-1)*r3.Dot(t.Centre, t.Down), t.Down))
	}
	desk.run = exposed{shot: &desk.shot, body: widened(skin, size), skull: s.skull}
	if !s.doubt.TableInFactor {
		desk.run.table = logs(s.doubt.Table) * d[byTable]
	}
}

func widened(b *body.Body, size float64) *body.Body {
	if size == 1 {
		return b
	}
	return b.Widened(size)
}

// hottest marks the patches around the few of the highest dose.
func (s *sampler) hottest(desk *desk) []bool {
	const few = 3
	clear(desk.around)
	for range min(few, len(desk.dose)) {
		best := 0
		for i, d := range desk.dose {
			if d > desk.dose[best] {
				best = i
			}
		}
		desk.dose[best] = -1
		for _, k := range s.near[best] {
			desk.around[k] = true
		}
	}
	return desk.around
}

// move puts one shot of a sample on the desk.
func (s *sampler) move(i int, d *draw, size float64, sample int, desk *desk) {
	shot := &desk.shot
	*shot = s.shots[i]
	desk.run.aim(shot, s.optics[i])
	left, down, head := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	rise := 0.0
	if k := s.table[i]; k >= 0 {
		t := s.tables[k]
		left, down, head = t.Left, t.Down, t.Head
		if shot.Anchored {
			rise = (size - 1) * r3.Dot(t.Centre, t.Down)
		}
		shot.Table = &desk.tables[k]
	}
	p := s.doubt.Play
	across, along := float64(p.Across)*d[byAcross], float64(p.Along)*d[byAlong]
	if p.Between > 0 && sample >= 0 { // sample -1 is the unmoved one
		across += float64(p.Between) * s.points.scattered(uint32(sample), s.rank[i], 0)
		along += float64(p.Between) * s.points.scattered(uint32(sample), s.rank[i], 1)
	}
	shift := r3.Add(r3.Scale(across, left), r3.Scale(along, head))
	shift = r3.Add(shift, r3.Scale(rise+s.height[i]*d[byHeight], down))
	shot.Focus = r3.Add(shot.Focus, shift)
	side := math.Exp(p.FieldSide * d[byField])
	shot.HalfWidth *= side
	shot.HalfHeight *= side
	weight := 1 + s.doubt.Arc*(d[byTilt]*shot.OnArc+1.5*d[byBow]*s.bow[i])
	shot.Kerma *= quantity.Gray(max(0, weight))
}
