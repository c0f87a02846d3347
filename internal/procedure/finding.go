package procedure

import "fmt"

// Severity tells what a Finding means for the result.
type Severity uint8

// The severities, mildest first.
const (
	// Note is worth knowing and changes nothing.
	Note Severity = iota
	// Repaired is a value that was read in another way than written; the text says how.
	Repaired
	// Reduced is something missing or odd that makes a result weaker or its range wider.
	Reduced
	// Suspect is a value that is not believed: it gives no estimate and takes away no flag.
	Suspect
	// Refused is a part of the report that could not be used at all.
	Refused
)

// String names the severity.
func (s Severity) String() string {
	switch s {
	case Note:
		return "note"
	case Repaired:
		return "repaired"
	case Reduced:
		return "reduced"
	case Suspect:
		return "suspect"
	case Refused:
		return "refused"
	}
	return "unknown"
}

// MarshalText writes the severity's name.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads a severity's name.
func (s *Severity) UnmarshalText(text []byte) error {
	for one := Note; one <= Refused; one++ {
		if one.String() == string(text) {
			*s = one
			return nil
		}
	}
	return fmt.Errorf("severity %q: one of note, repaired, reduced, suspect, refused expected", text)
}

// Finding is something odd, missing, repaired or refused in a report. It holds no patient data.
type Finding struct {
	// Rule is a short stable name of the rule that made it, such as "kap-kerma-ratio".
	Rule     string   `json:"rule"`
	Severity Severity `json:"severity"`
	// Place is the path of concept names, such as "irradiation event 3 (plane A) / Dose (RP)".
	Place string `json:"place"`
	// Text says what was found and what was expected, for people.
	Text string `json:"text"`
}
