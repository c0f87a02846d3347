package level

// State is what is known about a value and a level. The worst comes first.
type State uint8

// The states, in the order in which they decide a case.
const (
	// Reached is a value at or above the level.
	Reached State = iota
	// Near is a peak skin dose below the level whose range reaches it.
	Near
	// Unknown is a quantity that is missing, incomplete or not believed. It is not below.
	Unknown
	// Below is a known value below the level.
	Below
	// NoFlag is a quality-control exposure: there is no patient to follow up.
	NoFlag
)

// String names the state.
func (s State) String() string {
	switch s {
	case Reached:
		return "reached"
	case Near:
		return "near"
	case Unknown:
		return "unknown"
	case Below:
		return "below"
	case NoFlag:
	}
	return "none"
}

// MarshalText writes the state's name.
func (s State) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// ParseState gives the state of a name; ok is false for a name that none has.
func ParseState(name string) (State, bool) {
	for s := Reached; s <= NoFlag; s++ {
		if s.String() == name {
			return s, true
		}
	}
	return NoFlag, false
}
