package procedure

// Code is a coded concept. Its identity is value and scheme; the meaning is text for people.
type Code struct {
	Value   string `json:"value"`
	Scheme  string `json:"scheme"`
	Meaning string `json:"meaning,omitempty"`
}

// IsZero tells whether there is no code.
func (c Code) IsZero() bool { return c.Value == "" && c.Scheme == "" }

// Is tells whether two codes name one concept: same value in the same scheme, whatever the meaning says.
func (c Code) Is(value, scheme string) bool { return c.Value == value && c.Scheme == scheme }

// Plane is the X-ray plane an event or a total belongs to (PS3.16 CID 10003).
type Plane uint8

// The planes. PlaneUnknown is an absent or unknown code, not a single plane.
const (
	PlaneUnknown Plane = iota
	PlaneSingle
	PlaneA
	PlaneB
	PlaneAll
)

// String names the plane for people.
func (p Plane) String() string {
	switch p {
	case PlaneSingle:
		return "single plane"
	case PlaneA:
		return "plane A"
	case PlaneB:
		return "plane B"
	case PlaneAll:
		return "all planes"
	case PlaneUnknown:
	}
	return "unknown plane"
}

// EventType is the kind of irradiation event (PS3.16 CID 10002).
type EventType uint8

// The kinds of irradiation event.
const (
	EventUnknown EventType = iota
	Fluoroscopy
	Stationary
	Stepping
	Rotational
)

// String names the event type for people.
func (t EventType) String() string {
	switch t {
	case Fluoroscopy:
		return "fluoroscopy"
	case Stationary:
		return "stationary acquisition"
	case Stepping:
		return "stepping acquisition"
	case Rotational:
		return "rotational acquisition"
	case EventUnknown:
	}
	return "unknown type"
}

// Posture is how the patient lies (PS3.16 CID 20).
type Posture uint8

// The postures that geometry knows. PostureOther is a coded posture that geometry has no rule for.
const (
	PostureUnknown Posture = iota
	Supine
	Prone
	DecubitusLeft
	DecubitusRight
	PostureOther
)

// String names the posture for people.
func (p Posture) String() string {
	switch p {
	case Supine:
		return "supine"
	case Prone:
		return "prone"
	case DecubitusLeft:
		return "left lateral decubitus"
	case DecubitusRight:
		return "right lateral decubitus"
	case PostureOther:
		return "another posture"
	case PostureUnknown:
	}
	return "unknown posture"
}

// Direction is which way the patient lies on the table (PS3.16 CID 21).
type Direction uint8

// The directions that geometry knows.
const (
	DirectionUnknown Direction = iota
	HeadFirst
	FeetFirst
	DirectionOther
)

// String names the direction for people.
func (d Direction) String() string {
	switch d {
	case HeadFirst:
		return "head first"
	case FeetFirst:
		return "feet first"
	case DirectionOther:
		return "another direction"
	case DirectionUnknown:
	}
	return "unknown direction"
}

// Scope is what the totals of a report were accumulated over (PS3.16 CID 10000).
type Scope uint8

// The scopes of accumulation. ScopeToThisPoint is an interim report of a case that goes on.
const (
	ScopeUnknown Scope = iota
	ScopeStudy
	ScopeSeries
	ScopeStep
	ScopeToThisPoint
	ScopeEvent
)

// String names the scope for people.
func (s Scope) String() string {
	switch s {
	case ScopeStudy:
		return "study"
	case ScopeSeries:
		return "series"
	case ScopeStep:
		return "performed procedure step"
	case ScopeToThisPoint:
		return "procedure step to this point"
	case ScopeEvent:
		return "irradiation event"
	case ScopeUnknown:
	}
	return "unknown scope"
}
