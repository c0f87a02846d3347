package commission

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// The limits of the angles; judgement.
const (
	// AngleLimit is how far a reported direction may be from the one expected.
	AngleLimit quantity.Degree = 5
	// leastTurn is how far the two frames must differ for an exposure to tell them apart.
	leastTurn quantity.Degree = 30
)

// reading is one way of reporting angles. Only two of them are what a profile can say; the others name what is seen when
// neither fits.
type reading struct {
	name               string
	frame              procedure.AngleFrame // unknown: a profile cannot say it
	direction, posture bool                 // the registered direction, the registered posture turn the angles
	primary, secondary float64              // -1: counted the other way
}

func readings() []reading {
	var out []reading
	for _, primary := range []float64{1, -1} {
		for _, secondary := range []float64{1, -1} {
			for _, r := range []reading{
				{name: "relative to the patient as registered", frame: procedure.FramePatient, direction: true, posture: true},
				{name: "relative to the gantry", frame: procedure.FrameGantry},
				{name: "turned by the registered direction, not by the posture", direction: true},
				{name: "turned by the registered posture, not by the direction", posture: true},
			} {
				r.primary, r.secondary = primary, secondary
				if primary < 0 {
					r.name += ", primary angle counted toward the right"
				}
				if secondary < 0 {
					r.name += ", secondary angle counted toward the feet"
				}
				if primary < 0 || secondary < 0 {
					r.frame = procedure.FrameUnknown
				}
				out = append(out, r)
			}
		}
	}
	return out
}

// turned is the angle between the direction reported and the one that a way of reporting expects, eq. (11.2).
func (r reading) turned(t taken) (quantity.Degree, bool) {
	primary, hasPrimary := t.event.Mechanics.Primary.Get()
	secondary, hasSecondary := t.event.Mechanics.Secondary.Get()
	if !hasPrimary || !hasSecondary || t.event.Suspicion.Has(procedure.SuspectAngle) {
		return 0, false
	}
	got := exposure.Detector(quantity.Degree(r.primary)*primary, quantity.Degree(r.secondary)*secondary)
	return between(got, r.expects(t.exposure)), true
}

// expects is the direction in the frame of the reported angles.
func (r reading) expects(x Exposure) r3.Vec {
	direction, posture := procedure.HeadFirst, procedure.Supine
	if r.direction {
		direction = x.Direction
	}
	if r.posture {
		posture = x.Posture
	}
	v, _ := exposure.InPatient(direction, posture, exposure.Detector(x.Left, x.Head)) // a record has no others
	return v
}

func between(a, b r3.Vec) quantity.Degree {
	return quantity.Degree(math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi)
}

// step is an exposure that the answer wants, because nothing else shows a part of it.
type step struct {
	name string
	is   func(Exposure) bool
}

// steps are the exposures that the frame of the angles wants.
func steps() []step {
	level := func(x Exposure) bool { return math.Abs(float64(x.Head)) <= 10 }
	toward := func(lo, hi float64) func(Exposure) bool {
		return func(x Exposure) bool {
			return x.headFirstSupine() && level(x) && float64(x.Left) >= lo && float64(x.Left) <= hi
		}
	}
	tells := func(x Exposure) bool {
		all := readings()
		return between(all[0].expects(x), all[1].expects(x)) >= leastTurn
	}
	return []step{
		{"frontal", toward(-10, 10)},
		{"detector about 30 degrees to the left", toward(20, 45)},
		{"detector about 30 degrees to the right", toward(-45, -20)},
		{"detector about 90 degrees to the left", toward(75, 105)},
		{"detector about 90 degrees to the right", toward(-105, -75)},
		{"detector tipped toward head or foot", func(x Exposure) bool {
			return x.headFirstSupine() && math.Abs(float64(x.Head)) >= 15 && math.Abs(float64(x.Left)) <= 60
		}},
		{"registered feet first, detector to a side", func(x Exposure) bool {
			return x.Direction == procedure.FeetFirst && x.Posture == procedure.Supine && tells(x)
		}},
		{"registered prone", func(x Exposure) bool {
			return x.Direction == procedure.HeadFirst && x.Posture == procedure.Prone && tells(x)
		}},
	}
}

// angles finds the frame: every exposure must fit the one and not all the other.
func angles(all []taken) Angles {
	out := Angles{Conclusion: Conclusion{Question: "what the angles are relative to", Unit: "degrees"}}
	ways := readings()
	var used []taken
	for _, t := range all {
		if _, ok := ways[0].turned(t); ok {
			used = append(used, t)
		}
	}
	var missing []string
	for _, s := range steps() {
		if !slices.ContainsFunc(used, func(t taken) bool { return s.is(t.exposure) }) {
			missing = append(missing, s.name)
		}
	}
	var fits []reading
	for _, r := range ways {
		if r.farthest(used) <= AngleLimit {
			fits = append(fits, r)
		}
	}
	expressible := slices.ContainsFunc(fits, func(r reading) bool { return r.frame != procedure.FrameUnknown })
	switch {
	case len(used) == 0:
		out.Says = "the report tells both angles in none of the exposures"
	case !expressible:
		out.State, out.Says, out.Events = Contradicted, oddly(used, fits), against(used, ways[:2])
	case len(missing) > 0:
		out.Says = "exposures are missing or without angles: " + strings.Join(missing, "; ")
	default:
		// The steps tell every two ways of reporting apart, so that one fits alone.
		out.State, out.Frame, out.Says = Shown, fits[0].frame, fits[0].name
		out.Residual, out.Limit = quantity.Some(float64(fits[0].farthest(used))), quantity.Some(float64(AngleLimit))
		for _, t := range used {
			out.Events = append(out.Events, t.exposure.Event)
		}
	}
	return out
}

func (r reading) farthest(all []taken) quantity.Degree {
	var far quantity.Degree
	for _, t := range all {
		if d, ok := r.turned(t); ok {
			far = max(far, d)
		}
	}
	return far
}

// against lists the events that the better of two ways does not explain.
func against(used []taken, ways []reading) []int {
	var least []int
	for i, r := range ways {
		var bad []int
		for _, t := range used {
			if d, _ := r.turned(t); d > AngleLimit {
				bad = append(bad, t.exposure.Event)
			}
		}
		if i == 0 || len(bad) < len(least) {
			least = bad
		}
	}
	return least
}

// oddly says what is seen where neither frame fits.
func oddly(used []taken, fits []reading) string {
	var said []string
	for _, r := range fits {
		said = append(said, r.name)
	}
	if len(said) > 0 {
		return "neither the patient's frame nor the gantry's; what fits is: " + strings.Join(said, "; or: ") + ". A profile cannot say that"
	}
	ways := readings()[:2]
	for _, n := range against(used, ways) {
		for _, t := range used {
			if t.exposure.Event != n {
				continue
			}
			patient, _ := ways[0].turned(t)
			gantry, _ := ways[1].turned(t)
			said = append(said, fmt.Sprintf("event %d is off by %s degrees from the patient's frame and %s from the gantry's",
				n, quantity.Fixed(float64(patient), 0), quantity.Fixed(float64(gantry), 0)))
		}
	}
	return fmt.Sprintf("no way of counting fits every exposure within %s degrees: %s", quantity.Fixed(float64(AngleLimit), 0), strings.Join(said, "; "))
}
