package exposure

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrBody marks a call without a body.
var ErrBody = errors.New("no body to place the beams on")

// Trace finds the beams of a procedure in the axes of the body b. site is the place of the body (see body.Site) that
// the procedure's class images, "" when unknown; eventSite turns a target region or anatomy into such a place and may
// be nil. What cannot be placed is in Course.Unplaced with its reason. It returns ErrBody without a body and ErrProfile
// when the profile names a table layer it does not know.
func Trace(p procedure.Procedure, profile procedure.DeviceProfile, facts procedure.Facts, b *body.Body, site string,
	eventSite func(procedure.Code) (string, bool),
) (Course, error) {
	if b == nil {
		return Course{}, ErrBody
	}
	t := &tracer{procedure: &p, profile: profile, facts: facts, body: b, site: site, eventSite: eventSite, frame: profile.Angles}
	if t.frame == procedure.FrameUnknown {
		t.frame = procedure.FramePatient
	}
	other := *t
	if err := t.run(); err != nil {
		return Course{}, err
	}
	out := Course{Shots: t.shots, Unplaced: t.unplaced}
	if profile.Angles == procedure.FrameUnknown && t.turnedOver {
		t.assume("angles relative to patient or gantry unknown and the patient not head first and supine: both are computed, the higher counts")
		other.frame = procedure.FrameGantry
		if err := other.run(); err != nil {
			return Course{}, err
		}
		out.Alternative = other.shots
	}
	out.Knowledge = t.knowledge()
	out.Assumed, out.Assumptions, out.Findings = t.assumed, t.notes.said, t.findings
	return out, nil
}

// tracer carries one reading of a procedure: in one frame of angles.
type tracer struct {
	procedure *procedure.Procedure
	profile   procedure.DeviceProfile
	facts     procedure.Facts
	body      *body.Body
	site      string
	eventSite func(procedure.Code) (string, bool)
	frame     procedure.AngleFrame

	tableLayers []beam.Layer
	isocentric  [directions]bool // the report has rows of the isocentre system for this direction
	plan        plan

	shots    []Shot
	unplaced []Unplaced

	notes       notes
	findings    []procedure.Finding
	assumed     bool
	turnedOver  bool // some patient did not lie head first and supine
	littleKnown bool
	now         seen // of the event being placed
	known       evidence
}

// assume says something that makes the map one of assumed geometry.
func (t *tracer) assume(text string) {
	t.assumed = true
	t.notes.say(text)
}

func (t *tracer) find(e *procedure.Event, rule string, severity procedure.Severity, concept, text string) {
	where := e.Place
	if concept != "" {
		where += " / " + concept
	}
	f := procedure.Finding{Rule: rule, Severity: severity, Place: where, Text: text}
	if n := len(t.findings); n == 0 || t.findings[n-1] != f { // both ends of an arc may say the same
		t.findings = append(t.findings, f)
	}
}

// run places every event.
func (t *tracer) run() error {
	layers, err := t.layers()
	if err != nil {
		return err
	}
	t.tableLayers = layers
	t.known.headBeginsAbove = t.body.Dimensions.TrunkHeight + t.body.Dimensions.NeckHeight
	if _, ok := t.body.Site(t.site); !ok && t.site != "" {
		t.findings = append(t.findings, procedure.Finding{
			Rule: "unknown-site", Severity: procedure.Reduced, Place: "procedure class",
			Text: fmt.Sprintf("place of the body %q is not known: the middle of the trunk is used", t.site),
		})
	}
	t.prepare()
	if n := t.plan.byClass; n > 0 {
		t.notes.say(fmt.Sprintf("%d of %d events have no known target region: their place along the body is that of the procedure's class", n, len(t.procedure.Events)))
	}
	for i := range t.procedure.Events {
		e := &t.procedure.Events[i]
		if nothing(e) {
			t.find(e, "zero-kerma", procedure.Note, "Dose (RP)", "reported as zero, without a kerma-area product: it adds nothing")
			continue
		}
		shots, err := t.event(i, e)
		var why unusable
		if errors.As(err, &why) {
			kerma := quantity.None[quantity.Gray]()
			if k, ok := believedKerma(e); ok {
				kerma = quantity.Some(k)
			}
			t.unplaced = append(t.unplaced, Unplaced{Event: i, Kerma: kerma, Reason: string(why)})
			continue
		}
		if err != nil {
			return fmt.Errorf("place event %d: %w", i, err)
		}
		t.shots = append(t.shots, shots...)
	}
	return nil
}

// nothing tells whether an event says that it delivered nothing.
func nothing(e *procedure.Event) bool {
	kerma, ok := e.RefKerma.Get()
	_, kap := positive(e.KAP)
	return ok && kerma == 0 && !kap && !e.Suspicion.Has(procedure.SuspectKerma) && !e.Suspicion.Has(procedure.SuspectKAP)
}

// suspected gives the reason why an event's own values are not believed, "" when they are. A suspect voltage or field
// is replaced like a missing one.
func suspected(e *procedure.Event) string {
	switch {
	case e.Suspicion.Has(procedure.SuspectKerma):
		return "its air kerma is not believed"
	case e.Suspicion.Has(procedure.SuspectDistance):
		return "its distances are not believed"
	case e.Suspicion.Has(procedure.SuspectAngle):
		return "its angles are not believed"
	}
	return ""
}

// event makes the shots of one event. An unusable error is the reason why there are none.
func (t *tracer) event(i int, e *procedure.Event) ([]Shot, error) {
	if why := suspected(e); why != "" {
		return nil, unusable(why)
	}
	t.now = seen{beam: true, inherent: true, size: true, distances: true}
	s, err := t.sweepOf(e)
	if err != nil {
		return nil, err
	}
	l := t.lieOf(e)
	if !t.orientationGiven(e) {
		t.assume("the patient's orientation is assumed: it places the table, and the angles where they are not known to be relative to the patient")
	}
	m, ok := l.rows()
	if !ok || erect(e) {
		if t.profile.Angles != procedure.FramePatient || s.ofRoom {
			return nil, unusable(offTable(e, l) + ": no rule for the angles")
		}
		t.assume(offTable(e, l) + ": angles as reported relative to the patient, no table in the beam (upper bound)")
		m, _ = headFirstSupine.rows()
		return t.expose(i, e, s, m, t.placeWithoutTable(i, e))
	}
	t.turnedOver = t.turnedOver || l != headFirstSupine && !s.ofRoom
	return t.expose(i, e, s, m, t.placeOf(i, e, l, m))
}

// offTable says why the table is no help.
func offTable(e *procedure.Event, l lie) string {
	if erect(e) {
		return "the patient was erect"
	}
	return "the patient lay in " + l.posture.String() + ", " + l.direction.String()
}

// expose lays the event's kerma out over its angles and table positions, eq. (5.12).
func (t *tracer) expose(i int, e *procedure.Event, s sweep, m rows, where place) ([]Shot, error) {
	turn := rows{r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}}
	if t.frame == procedure.FrameGantry || s.ofRoom {
		table, _ := tableRows(&e.Mechanics)
		turn = m.then(table)
	}
	s = t.tubeSide(e, s, turn, m)
	steps := t.stepsOf(e, s, where)
	siso := t.sourceToIsocentre(e)
	var out []Shot
	var f field
	var kerma quantity.Gray
	quality := t.quality(e)
	rotation := t.rotation(e)
	for n, st := range steps {
		a := beamAxes(st.primary, st.secondary).turned(turn).rotated(rotation)
		isocentre := r3.Add(where.isocentre, r3.Scale(st.motion, where.step))
		shot := Shot{
			Event: i, Focus: r3.Sub(isocentre, r3.Scale(float64(siso), a.toward)),
			Toward: a.toward, Across: a.across, Along: a.along, Table: where.table, Quality: quality,
			Anchored: t.now.height, OnArc: st.onArc,
		}
		reference, err := t.reference(e, siso, shot.Focus, shot.Toward, where.top)
		if err != nil {
			return nil, err
		}
		if n == 0 {
			if f, kerma, err = t.output(e, siso, reference); err != nil {
				return nil, err
			}
		}
		if err = t.nearSkin(e, &shot); err != nil {
			return nil, err
		}
		shot.RefDistance = reference
		shot.HalfWidth, shot.HalfHeight = f.halfWidth, f.halfHeight
		shot.Kerma = kerma / quantity.Gray(len(steps))
		if s.open {
			shot.Else = t.anyAngle(shot, s, turn, isocentre, float64(siso), rotation)
		}
		out = append(out, shot)
	}
	t.known.add(t.now, kerma, where.isocentre.Z)
	return out, nil
}

// finite tells whether a value is a number within the bound.
func finite(v, bound float64) bool { return math.Abs(v) <= bound }
