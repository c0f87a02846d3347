package exposure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/procedure"
)

// rows turn room axes into patient axes: the patient's L, P and H written in X, Y, Z, eq. (5.10).
type rows struct{ L, P, H r3.Vec }

// of gives a room vector in patient axes.
func (m rows) of(v r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(m.L, v), Y: r3.Dot(m.P, v), Z: r3.Dot(m.H, v)}
}

// then gives the rows of first turning by n and then by m.
func (m rows) then(n rows) rows {
	turn := func(v r3.Vec) r3.Vec {
		return r3.Add(r3.Add(r3.Scale(v.X, n.L), r3.Scale(v.Y, n.P)), r3.Scale(v.Z, n.H))
	}
	return rows{turn(m.L), turn(m.P), turn(m.H)}
}

// lie is how the patient lies on the table.
type lie struct {
	direction procedure.Direction
	posture   procedure.Posture
}

var headFirstSupine = lie{procedure.HeadFirst, procedure.Supine}

// rows gives the patient's axes in the room; ok is false for a posture or direction without a rule.
func (l lie) rows() (rows, bool) {
	vec := func(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }
	switch l {
	case headFirstSupine:
		return rows{vec(1, 0, 0), vec(0, 1, 0), vec(0, 0, 1)}, true
	case lie{procedure.HeadFirst, procedure.Prone}:
		return rows{vec(-1, 0, 0), vec(0, -1, 0), vec(0, 0, 1)}, true
	case lie{procedure.FeetFirst, procedure.Supine}:
		return rows{vec(-1, 0, 0), vec(0, 1, 0), vec(0, 0, -1)}, true
	case lie{procedure.FeetFirst, procedure.Prone}:
		return rows{vec(1, 0, 0), vec(0, -1, 0), vec(0, 0, -1)}, true
	case lie{procedure.HeadFirst, procedure.DecubitusLeft}:
		return rows{vec(0, 1, 0), vec(-1, 0, 0), vec(0, 0, 1)}, true
	case lie{procedure.HeadFirst, procedure.DecubitusRight}:
		return rows{vec(0, -1, 0), vec(1, 0, 0), vec(0, 0, 1)}, true
	case lie{procedure.FeetFirst, procedure.DecubitusLeft}:
		return rows{vec(0, 1, 0), vec(1, 0, 0), vec(0, 0, -1)}, true
	case lie{procedure.FeetFirst, procedure.DecubitusRight}:
		return rows{vec(0, -1, 0), vec(-1, 0, 0), vec(0, 0, -1)}, true
	}
	return rows{}, false
}

// sideways tells whether the patient lies on a flank.
func (l lie) sideways() bool {
	return l.posture == procedure.DecubitusLeft || l.posture == procedure.DecubitusRight
}

// lieOf is how the patient lay during an event: what people added, else the report, else head first and supine.
func (t *tracer) lieOf(e *procedure.Event) lie {
	l := lie{e.Direction, e.Posture}
	if t.facts.Direction != procedure.DirectionUnknown {
		l.direction = t.facts.Direction
	}
	if t.facts.Posture != procedure.PostureUnknown {
		l.posture = t.facts.Posture
	}
	if l.direction == procedure.DirectionUnknown {
		l.direction = procedure.HeadFirst
		t.notes.say("patient's direction on the table unknown: head first (common practice, no source)")
	}
	if l.posture == procedure.PostureUnknown {
		l.posture = procedure.Supine
		t.notes.say("patient's posture unknown: supine (common practice, no source)")
	}
	return l
}

// orientationGiven tells whether nothing of lieOf is an assumption.
func (t *tracer) orientationGiven(e *procedure.Event) bool {
	return (e.Direction != procedure.DirectionUnknown || t.facts.Direction != procedure.DirectionUnknown) &&
		(e.Posture != procedure.PostureUnknown || t.facts.Posture != procedure.PostureUnknown)
}

// axes are the beam's own unit vectors: from focus to detector, along the field's width and along its height, with
// width x height = toward.
type axes struct{ toward, across, along r3.Vec }

// beamAxes gives the axes for a primary and a secondary angle in degrees, eq. (5.8) and (5.9), in the frame the angles
// are meant in (PS3.3 C.8.7.5), of a detector that is not rotated.
func beamAxes(primary, secondary float64) axes {
	sinA, cosA := math.Sincos(primary * math.Pi / 180)
	sinB, cosB := math.Sincos(secondary * math.Pi / 180)
	return axes{
		toward: r3.Vec{X: sinA * cosB, Y: -cosA * cosB, Z: sinB},
		across: r3.Vec{X: cosA, Y: sinA},
		along:  r3.Vec{X: -sinA * sinB, Y: cosA * sinB, Z: cosB},
	}
}

// turned gives the axes through a change of frame.
func (a axes) turned(m rows) axes { return axes{m.of(a.toward), m.of(a.across), m.of(a.along)} }

// rotated gives the axes of a field that turns with its detector by an angle in degrees from height to width, eq. (5.22).
// Source: as the standard turns the table, from +Z to +X; that it means the detector likewise is judgement. At 0, 90 and
// 180 degrees the sense makes no difference, and for a square field none at 45.
func (a axes) rotated(degrees float64) axes {
	sin, cos := math.Sincos(degrees * math.Pi / 180)
	return axes{
		toward: a.toward,
		across: r3.Sub(r3.Scale(cos, a.across), r3.Scale(sin, a.along)),
		along:  r3.Add(r3.Scale(cos, a.along), r3.Scale(sin, a.across)),
	}
}

// tableRows turn room axes into the axes of a rotated and tilted table, eq. (5.11): horizontal rotation from head to
// left, then head tilt with head up, then cradle tilt with left up (PS3.3 C.8.19.6.13; signs of 113754 to 113756).
func tableRows(m *procedure.Mechanics) (r rows, turned bool) {
	rotation, tilt, cradle := float64(m.TableRotation.Or(0)), float64(m.TableHeadTilt.Or(0)), float64(m.TableCradleTilt.Or(0))
	r = rows{r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}}
	if rotation == 0 && tilt == 0 && cradle == 0 {
		return r, false
	}
	sin, cos := math.Sincos(rotation * math.Pi / 180)
	r = rows{r3.Vec{X: cos, Z: -sin}, r3.Vec{Y: 1}, r3.Vec{X: sin, Z: cos}}
	sin, cos = math.Sincos(tilt * math.Pi / 180)
	r = rows{r3.Vec{X: 1}, r3.Vec{Y: cos, Z: sin}, r3.Vec{Y: -sin, Z: cos}}.then(r)
	sin, cos = math.Sincos(cradle * math.Pi / 180)
	r = rows{r3.Vec{X: cos, Y: -sin}, r3.Vec{X: sin, Y: cos}, r3.Vec{Z: 1}}.then(r)
	return r, true
}
