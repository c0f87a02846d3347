package exposure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/procedure"
)

// Arcs and runs of a moving table are cut into static beams. A patch sees one beam more or less than its neighbour, so
// that the peak is high by up to the share of one beam among those that see it: 5 % for an arc in steps of 5 degrees
// through a field of 12 cm at the skin, 1 % in steps of 1 degree (computed). Judgement: the fine steps, unless a
// procedure would have so many beams that it takes long; the coarse ones are the largest ever taken.
const (
	fineArc, coarseArc     = 1.0, 5.0  // degrees
	fineTable, coarseTable = 2.0, 20.0 // mm
	// manySteps is the number of beams of moving events from which on the steps are coarser.
	manySteps = 4000.0
	// A table does not move farther than this in one run; judgement.
	longestRun = 2000.0 // mm
)

// grain is the largest step of arcs in degrees and of moving tables in mm in one procedure.
type grain struct{ arc, table float64 }

// grainOf makes the steps of a procedure as fine as the number of its moving events allows.
func (t *tracer) grainOf() grain {
	steps := 0.0
	for i := range t.procedure.Events {
		e := &t.procedure.Events[i]
		m := &e.Mechanics
		switch e.Type {
		case procedure.Rotational:
			primary, secondary := m.Primary.Or(0), m.Secondary.Or(0)
			steps += longer(float64(m.PrimaryEnd.Or(primary)-primary), float64(m.SecondaryEnd.Or(secondary)-secondary), 720) / fineArc
		case procedure.Stepping:
			var way r3.Vec
			at := t.positionsOf(e)
			way.X, way.Y, way.Z = at[left].end-at[left].start, at[down].end-at[down].start, at[head].end-at[head].start
			steps += longer(r3.Norm(way), 0, longestRun) / fineTable
		case procedure.EventUnknown, procedure.Fluoroscopy, procedure.Stationary:
		}
	}
	coarser := max(1, steps/manySteps)
	return grain{min(coarseArc, fineArc*coarser), min(coarseTable, fineTable*coarser)}
}

// longer is the larger of two lengths when it is one that counts, else 0.
func longer(a, b, most float64) float64 {
	if v := max(math.Abs(a), math.Abs(b)); v <= most {
		return v
	}
	return 0
}

// sweep is the angles of an event in degrees, from start to end.
type sweep struct {
	primary, secondary       float64
	primaryEnd, secondaryEnd float64
	arc                      bool
	// open tells that the angles are those of one end of a rotational run whose other end is not known.
	open bool
	// ofRoom tells that the angles are of the room whatever the device's frame: a column over or under its table.
	ofRoom bool
}

// sweepOf reads the angles of an event.
func (t *tracer) sweepOf(e *procedure.Event) (sweep, error) {
	m := &e.Mechanics
	primary, ok := m.Primary.Get()
	if !ok {
		return t.columnSweep(e)
	}
	secondary, ok := m.Secondary.Get()
	if !ok {
		t.assume("secondary angle missing: 0 (judgement)")
	}
	s := sweep{primary: float64(primary), secondary: float64(secondary)}
	s.primaryEnd, s.secondaryEnd = float64(m.PrimaryEnd.Or(primary)), float64(m.SecondaryEnd.Or(secondary))
	for _, angle := range [4]float64{s.primary, s.secondary, s.primaryEnd, s.secondaryEnd} {
		if !finite(angle, 360) {
			return sweep{}, unusable("an angle is not within 360 degrees")
		}
	}
	moved := s.primaryEnd != s.primary || s.secondaryEnd != s.secondary
	switch ended := m.PrimaryEnd.Present() || m.SecondaryEnd.Present(); {
	case e.Type == procedure.Rotational && moved:
		s.arc = true
	case e.Type == procedure.Rotational:
		s.open = true
		text := "no end angle: all kerma at the worst angle, an upper bound"
		if ended {
			text = "end and start angle are the same: all kerma at the worst angle, an upper bound"
		}
		t.find(e, "rotation-without-end", procedure.Reduced, "Positioner Primary End Angle", text)
		t.assume("rotational run without an arc: all its kerma at the one angle that makes the peak highest (upper bound)")
	case moved:
		t.find(e, "end-angle-without-rotation", procedure.Note, "Positioner Primary End Angle",
			"end angle on an event that is not rotational: not used")
	}
	return s, nil
}

// columnSweep reads the angles of a table with its own tube column: the reference point says on which side the tube is.
func (t *tracer) columnSweep(e *procedure.Event) (sweep, error) {
	column, ok := e.Mechanics.Column.Get()
	if !ok {
		if e.Mechanics.MechanicalDataSaidAbsent {
			return sweep{}, unusable("no angles: the report says it has no mechanical data")
		}
		return sweep{}, unusable("no angles")
	}
	if !finite(float64(column), 90) {
		return sweep{}, unusable("the column angulation is not within 90 degrees")
	}
	s := sweep{secondary: float64(column), secondaryEnd: float64(column), ofRoom: true}
	switch refCode(e) {
	case refTableUnder:
	case refTableOver:
		s.primary, s.primaryEnd = 180, 180
	default:
		return sweep{}, unusable("column angulation, but the reference point does not tell on which side of the table the tube is")
	}
	if column != 0 {
		t.assume("column angulation taken as a tilt along the table, detector toward the head when positive (judgement)")
	}
	return s, nil
}

// tubeSide turns an angle round that contradicts the side of the table the reference point puts the tube on.
func (t *tracer) tubeSide(e *procedure.Event, s sweep, turn, m rows) sweep {
	if s.ofRoom || s.arc {
		return s
	}
	downward := r3.Dot(turn.of(beamAxes(s.primary, s.secondary).toward), m.of(r3.Vec{Y: 1}))
	switch code := refCode(e); {
	case code == refTableOver && downward < -0.5:
		t.find(e, "tube-side", procedure.Repaired, "Positioner Primary Angle",
			"the angle puts the tube under the table, the reference point over it: read as turned by 180 degrees")
		t.assume("tube over the table by its reference point, against the reported angle (judgement)")
		s.primary += 180
	case code == refTableUnder && downward > 0.5:
		t.find(e, "tube-side", procedure.Reduced, "Positioner Primary Angle",
			"the reference point puts the tube under the table, the angle over it: the angle is used")
	}
	return s
}

// step is one static beam of an event.
type step struct {
	primary, secondary float64
	motion             float64 // fraction of the table's motion
	onArc              float64 // from -1 at the start of an arc to 1 at its end
}

// stepsOf cuts an event into equal steps: the middles of equal pieces of the arc, eq. (5.19), taken from start to end
// as reported and never the short way, or of the table's way.
func (t *tracer) stepsOf(e *procedure.Event, s sweep, where place) []step {
	way := r3.Norm(where.step)
	switch {
	case s.arc:
		t.notes.say("kerma of rotational runs spread evenly over the arc from start to end angle (judgement)")
		span := max(math.Abs(s.primaryEnd-s.primary), math.Abs(s.secondaryEnd-s.secondary))
		return pieces(s, int(math.Ceil(span/t.plan.grain.arc-1e-9)), false)
	case e.Type == procedure.Stepping && way > longestRun:
		t.find(e, "table-way", procedure.Suspect, "Table Longitudinal End Position",
			"the table would move more than 2 m: its motion is not used")
		t.assume("stepping run without a believable table motion: all its kerma in one place (upper bound)")
	case e.Type == procedure.Stepping && way > 0:
		t.notes.say("kerma of stepping runs spread evenly over the table's way (judgement)")
		return pieces(s, int(math.Ceil(way/t.plan.grain.table-1e-9)), true)
	case e.Type == procedure.Stepping:
		t.assume("stepping run without a known table motion: all its kerma in one place (upper bound)")
	}
	return []step{{primary: s.primary, secondary: s.secondary}}
}

// turnStep parts the angles at which an open rotational run is tried, in degrees; judgement, small against its fields.
const turnStep = 15

// anyAngle gives the beams of an open run at every primary angle in turn. An angle whose focus would lie inside the body
// is none the run can have passed: the reported one stands in.
func (t *tracer) anyAngle(shot Shot, s sweep, turn rows, isocentre r3.Vec, siso, rotation float64) []Shot {
	var out []Shot
	for angle := -180.0; angle < 180; angle += turnStep {
		a := beamAxes(angle, s.secondary).turned(turn).rotated(rotation)
		other := shot
		other.Focus = r3.Sub(isocentre, r3.Scale(siso, a.toward))
		other.Toward, other.Across, other.Along = a.toward, a.across, a.along
		if t.body.Inside(other.Focus) {
			other = shot
		}
		out = append(out, other)
	}
	return out
}

func pieces(s sweep, n int, table bool) []step {
	n = max(n, 1)
	out := make([]step, n)
	for k := range out {
		f := (float64(k) + 0.5) / float64(n)
		out[k] = step{primary: s.primary, secondary: s.secondary}
		if table {
			out[k].motion = f
			continue
		}
		out[k].onArc = 2*f - 1
		out[k].primary += f * (s.primaryEnd - s.primary)
		out[k].secondary += f * (s.secondaryEnd - s.secondary)
	}
	return out
}
