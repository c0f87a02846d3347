package exposure

import (
	"errors"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrProfile marks a device profile that cannot be used.
var ErrProfile = errors.New("device profile not usable")

// Course is the way of the beam through one procedure.
type Course struct {
	// Shots are the static beams, grouped by event, in the order of the events.
	Shots []Shot
	// Alternative holds all shots again with the angles read relative to the gantry, when the angle frame is unknown and
	// some patient does not lie head first and supine; nil otherwise. The higher peak of the two counts.
	Alternative []Shot
	// Assumed tells that some geometry rests on assumptions: the method is then map-assumed.
	Assumed bool
	// Knowledge says how well each part of the estimate is known.
	Knowledge Knowledge
	// Assumptions are what was taken for granted, each once, in plain words with its source.
	Assumptions []string
	Findings    []procedure.Finding
	// Unplaced are the events that could not become shots.
	Unplaced []Unplaced
}

// Unplaced is an event that delivered kerma, or may have, without a usable geometry or without a usable kerma.
type Unplaced struct {
	// Event is the index of the irradiation event in the procedure.
	Event int
	// Kerma is its reference air kerma, absent when that is unknown or not believed.
	Kerma  quantity.Opt[quantity.Gray]
	Reason string
}

// notes collects plain words, each once, in the order they were first said.
type notes struct {
	said []string
	seen map[string]bool
}

func (n *notes) say(text string) {
	if n.seen == nil {
		n.seen = map[string]bool{}
	}
	if !n.seen[text] {
		n.seen[text] = true
		n.said = append(n.said, text)
	}
}
