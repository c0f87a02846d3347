package performed

import (
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// Source is how a step became known.
type Source string

// The sources.
const (
	SourceCSV  Source = "csv"  // a table that was imported
	SourceMPPS Source = "mpps" // announced by equipment, PS3.4 annex F
)

// State is how far a step has come, in the words of PS3.3 C.4.14.
type State string

// The states. A step that is Completed or Discontinued changes no more.
const (
	InProgress   State = "IN PROGRESS"
	Completed    State = "COMPLETED"
	Discontinued State = "DISCONTINUED"
)

// Final tells whether equipment may no longer change a step.
func (s State) Final() bool { return s == Completed || s == Discontinued }

// Exclusion is why no dose report is to be expected of a step.
type Exclusion string

// The exclusions; NotExcluded is the ordinary step.
const (
	NotExcluded   Exclusion = ""
	Cancelled     Exclusion = "cancelled"
	NotXRay       Exclusion = "not x-ray"
	NoFluoroscopy Exclusion = "no fluoroscopy"
)

// Exclusions lists the reasons that may be stated.
func Exclusions() []Exclusion { return []Exclusion{Cancelled, NotXRay, NoFluoroscopy} }

// Patient is how a step names its patient. Empty fields are not known.
type Patient struct {
	Number, Issuer string
	Name           string
	BirthDate      string // 2006-01-02
	Sex            string // M, F or O
}

// Agrees tells whether two identities may be those of one patient: no field that both have speaks against it.
func (p Patient) Agrees(q Patient) bool {
	agree := func(a, b string) bool { return a == "" || b == "" || a == b }
	return agree(p.Number, q.Number) && agree(p.Issuer, q.Issuer) && agree(p.BirthDate, q.BirthDate) && agree(p.Sex, q.Sex)
}

// Same tells whether two identities name one patient: an equal number, and nothing that speaks against it.
func (p Patient) Same(q Patient) bool { return p.Number != "" && p.Number == q.Number && p.Agrees(q) }

// Step is one procedure that was performed, or is being performed.
type Step struct {
	Source Source
	// Key names the step among those of its source: the SOP instance UID that equipment gave it; for a row of a table its
	// own id, else its study, else its order, else patient and start (see KeyOf).
	Key       string
	StudyUID  string
	Accession string
	State     State
	// Excluded is the stated reason why there is no report to be expected; Reason is why the step was discontinued.
	Excluded Exclusion
	Reason   string

	Start, End procedure.Moment
	Room       string
	Station    string // station name or application entity title of the equipment
	Patient    Patient

	Code        procedure.Code
	Description string
	Modality    string
	Operators   []procedure.Person

	// Class is a procedure class of the lexicon, "" when none was given.
	Class  string
	Height quantity.Opt[quantity.Millimetre]
	Weight quantity.Opt[quantity.Kilogram]

	// Totals are the dose totals that came with the step.
	Totals Totals
}

// KeyOf gives the key of a step that has none of its own: its study, else its order (accession number), else patient and
// start; "" when it has none of these.
func KeyOf(s Step) string {
	switch {
	case s.StudyUID != "":
		return "study " + s.StudyUID
	case s.Accession != "":
		return "accession " + s.Accession
	case s.Patient.Number != "" && !s.Start.IsZero():
		return strings.Join([]string{"start", s.Start.Time.UTC().Format("20060102150405"), s.Patient.Issuer, s.Patient.Number}, " ")
	}
	return ""
}
