package skindose_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// drawn is one synthetic procedure and the profile under which its geometry is wholly known.
type drawn struct {
	procedure procedure.Procedure
	profile   procedure.DeviceProfile
}

// artist draws the procedures of one kind. rng decides everything, so that a seed makes the same procedures again.
type artist struct {
	family  family
	variant variant
	rng     *rand.Rand
	body    *body.Body
	// halfWidth and halfDepth are those of the body where it is imaged, mm.
	halfWidth, halfDepth float64
	toIso, height, along float64
}

func (a *artist) between(low, high float64) float64 { return low + (high-low)*a.rng.Float64() }

// patient draws a size: height with a standard deviation of 9 cm; weights of 45 to 130 kg about 80, or 130 to 200.
func (a *artist) patient() procedure.Patient {
	height := min(max(172+9*a.rng.NormFloat64(), 165), 195)
	weight := a.between(130, 200)
	if a.variant != obese {
		height = min(max(172+9*a.rng.NormFloat64(), 150), 195)
		weight = min(max(80*math.Exp(0.2*a.rng.NormFloat64()), 45), 130)
	}
	return procedure.Patient{
		AgeYears: some(a.between(30, 85)), Height: some(quantity.Millimetre(10 * height)), Weight: some(quantity.Kilogram(weight)),
	}
}

// draw makes one procedure: 15 to 60 events, each a view of the case with a table move, a field and a technique of its own.
func (a *artist) draw(t testing.TB) drawn {
	t.Helper()
	p := procedure.Procedure{
		Class: a.family.class, Patient: a.patient(),
		Start: procedure.Moment{Time: time.Date(2026, 3, 10, 9, 0, 0, 0, time.UTC)},
	}
	var err error
	a.body, err = body.New(skindose.SizeOf(p, procedure.Facts{}), 100)
	require.NoError(t, err)
	site, ok := a.body.Site(a.family.site)
	require.True(t, ok)
	a.halfWidth, a.halfDepth = a.body.HalfWidth(site.Z), a.body.HalfDepth(site.Z)
	// The cover of the tube keeps the focus 38 cm from the skin: the patient is moved away until it fits.
	a.toIso = max(a.between(700, 810), a.halfWidth+math.Abs(site.X)+390)
	a.height = a.body.Dimensions.TrunkHalfDepth + 30 + a.between(a.family.lift[0], a.family.lift[1])
	a.along = a.between(-1, 1) * a.family.travel / 2
	views, weights := a.views()
	for range 15 + a.rng.IntN(46) {
		p.Events = append(p.Events, a.event(views[a.pick(weights)]))
	}
	if a.variant != staticLateral && a.rng.Float64() < a.family.spin {
		p.Events = append(p.Events, a.spin())
	}
	p.Totals = totalsOf(p.Events)
	return drawn{p, known()}
}

// views are the directions of the case and how often each is taken.
func (a *artist) views() ([][2]float64, []float64) {
	if a.variant == staticLateral {
		side := 90.0
		if a.rng.Float64() < 0.5 {
			side = -90
		}
		return [][2]float64{{side, 3 * a.rng.NormFloat64()}}, []float64{1}
	}
	views := append([][2]float64{}, a.family.views...)
	a.rng.Shuffle(len(views), func(i, j int) { views[i], views[j] = views[j], views[i] })
	n := a.family.least + a.rng.IntN(a.family.most-a.family.least+1)
	views = views[:n]
	weights := make([]float64, n)
	for i := range weights {
		weights[i] = math.Pow(a.rng.ExpFloat64(), a.family.lean)
	}
	return views, weights
}

func (a *artist) pick(weights []float64) int {
	var sum float64
	for _, w := range weights {
		sum += w
	}
	at := a.rng.Float64() * sum
	for i, w := range weights {
		if at -= w; at < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// event draws one pedal press. Of a biplane case every other press or so is the side plane's.
func (a *artist) event(view [2]float64) procedure.Event {
	e := frontal(0)
	primary, secondary := view[0]+3*a.rng.NormFloat64(), view[1]+3*a.rng.NormFloat64()
	if a.variant == biplane {
		e.Plane = procedure.PlaneA
		if a.rng.Float64() < 0.45 {
			e.Plane, primary, secondary = procedure.PlaneB, 90+8*a.rng.NormFloat64(), 5*a.rng.NormFloat64()
		}
	}
	a.aim(&e, primary, secondary)
	a.settle(&e, a.path(primary, secondary), a.rng.Float64() < a.family.acquired)
	return e
}

// spin is a rotational run of 200 degrees with several times the kerma of a press.
func (a *artist) spin() procedure.Event {
	e := frontal(0)
	if a.variant == biplane {
		e.Plane = procedure.PlaneA
	}
	a.aim(&e, -100, 0)
	e.Type = procedure.Rotational
	e.Mechanics.PrimaryEnd, e.Mechanics.SecondaryEnd = some[quantity.Degree](100), some[quantity.Degree](0)
	a.settle(&e, (a.path(0, 0)+a.path(90, 0))/2, true)
	e.RefKerma = some(3 * e.RefKerma.Or(0))
	e.KAP = some(3 * e.KAP.Or(0))
	return e
}

// path is the way of the central ray through the body in cm.
func (a *artist) path(primary, secondary float64) float64 {
	sin, cos := math.Sincos(primary * math.Pi / 180)
	return 2 / math.Hypot(sin/a.halfWidth, cos/a.halfDepth) / math.Cos(secondary*math.Pi/180) / 10
}

func (a *artist) aim(e *procedure.Event, primary, secondary float64) {
	m := &e.Mechanics
	m.Primary, m.Secondary = some(quantity.Degree(primary)), some(quantity.Degree(secondary))
	toDetector := min(max(a.toIso+5*a.path(primary, secondary)+a.between(50, 150), 900), 1300)
	m.SourceToIsocentre, m.SourceToDetector = some(quantity.Millimetre(a.toIso)), some(quantity.Millimetre(toDetector))
	m.SourceToReference = some(quantity.Millimetre(a.toIso - 150))
	m.TableHeight = some(quantity.Millimetre(a.height))
	m.TableLateral = some(quantity.Millimetre(a.family.pan * a.rng.NormFloat64()))
	m.TableLongitudinal = some(quantity.Millimetre(a.along + a.family.pan*a.rng.NormFloat64() + a.between(-1, 1)*a.family.travel/2))
	side := a.between(a.family.field[0], a.family.field[1])
	e.Field.Width, e.Field.Height = some(quantity.Millimetre(side*a.between(0.6, 1))), some(quantity.Millimetre(side*a.between(0.6, 1)))
}

// settle gives the event its technique, as exposure control would choose it for cm of tissue, and its dose.
func (a *artist) settle(e *procedure.Event, cm float64, acquired bool) {
	copper := []float64{0.1, 0.3, 0.6, 0.9}[a.rng.IntN(4)]
	pulse := 0.01
	if acquired {
		e.Type = procedure.Stationary
		copper = []float64{0, 0, 0.1, 0.2}[a.rng.IntN(4)]
		pulse = 0.03
	}
	e.Filters[0].Min, e.Filters[0].Max = some(quantity.Millimetre(copper)), some(quantity.Millimetre(copper))
	e.Technique.Voltages = []quantity.Kilovolt{quantity.Kilovolt(math.Round(min(max(46+1.35*cm+3*a.rng.NormFloat64(), 55), 120)))}
	kerma := pulse * min(math.Exp(0.11*(cm-22)), 4.5) * math.Exp(0.8*a.rng.NormFloat64())
	m := &e.Mechanics
	shrink := float64(m.SourceToReference.Or(0) / m.SourceToDetector.Or(1))
	area := float64(e.Field.Width.Or(0)*e.Field.Height.Or(0)) * 1e-6 * shrink * shrink
	e.RefKerma, e.KAP = some(quantity.Gray(kerma)), some(quantity.GraySquareMetre(kerma*area))
}

// totalsOf sums the events of each plane.
func totalsOf(events []procedure.Event) []procedure.PlaneTotal {
	var out []procedure.PlaneTotal
	for _, plane := range []procedure.Plane{procedure.PlaneSingle, procedure.PlaneA, procedure.PlaneB} {
		total, found := procedure.PlaneTotal{Plane: plane}, false
		for _, e := range events {
			if e.Plane == plane {
				found = true
				total.RefKerma = some(total.RefKerma.Or(0) + e.RefKerma.Or(0))
				total.KAP = some(total.KAP.Or(0) + e.KAP.Or(0))
			}
		}
		if found {
			out = append(out, total)
		}
	}
	return out
}
