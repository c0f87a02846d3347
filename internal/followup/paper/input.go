package paper

import (
	"errors"
	"time"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
)

// ErrRefused marks a paper that cannot be made as asked; the text says what is missing or wrong.
var ErrRefused = errors.New("the paper cannot be made")

// Input is what a paper is made of.
type Input struct {
	Assessment assessment.Assessment
	Estimate   Estimate
	// Organs are for the physicist's report alone.
	Organs Organs
	Person Person
	// Sums are the sums over windows that end on the day of the case, this case among them.
	Sums []assessment.Sum
	// Before are the days of the patient's other procedures up to that of the case, oldest first.
	Before []string
	// Asks are what is asked of people about the case; nil where nothing was asked yet.
	Asks []ask.Ask
	// Own are estimates that physicists made themselves beside the computed one, the newest last.
	Own  []ask.Own
	Site Site
	// Recipient is the address of a letter, at most six lines; nil leaves the window empty.
	Recipient []string
	// Map is the skin dose map as PNG, nil for none.
	Map   []byte
	Stamp Stamp
}

// Estimate says which version of the case's estimate it is.
type Estimate struct {
	Case    string
	Number  int
	MadeAt  time.Time
	Program string
	Methods string
	Digest  string
}

// Person is the patient as the reports name the patient.
type Person struct {
	Name      string // as in DICOM, Family^Given^Middle^Prefix^Suffix
	Number    string
	BirthDate string // 2006-01-02
}

// Site is what a centre says of itself on paper.
type Site struct {
	Centre, Department string
	// Phone and Hours say whom a patient calls and when.
	Phone, Hours string
	Mail         string
	Address      []string
}

// Stamp says which paper it is and when and by whom it was made.
type Stamp struct {
	ID      string
	Made    time.Time
	Program string
	By      string
}
