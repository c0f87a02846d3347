package ask

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"afterbeam/internal/embedded"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/quantity"
)

// Outcome is what came of an ask.
type Outcome string

// The outcomes.
const (
	Done       Outcome = "done"        // what was asked was done
	Seen       Outcome = "seen"        // somebody looked at the skin, or heard what it looks like
	NotReached Outcome = "not-reached" // the patient could not be reached
)

// maxText bounds what people write, in characters.
const maxText = 2000

// Answer is what somebody says to an ask.
type Answer struct {
	Outcome Outcome
	// Day is the local date on which it was done or seen.
	Day string
	// Grade is what was seen, 0 to 4; of Seen alone.
	Grade quantity.Opt[float64]
	// Place is where on the body, Picture a reference to a picture kept elsewhere.
	Place, Picture, Note string
	// Final ends an ask about a patient who could not be reached: nobody tries again.
	Final bool
	// Correction is why an answer takes the place of one that was given before.
	Correction string
}

// refusals gathers what is wrong with an answer.
type refusals []error

func (r *refusals) when(is bool, text string) {
	if is {
		*r = append(*r, fmt.Errorf("%w: %s", ErrInvalid, text))
	}
}

// Check tells whether an answer fits an ask of a procedure on a local date, today.
func (a Answer) Check(to Ask, procedure, today string) error {
	var r refusals
	_, err := time.Parse(time.DateOnly, a.Day)
	r.when(err != nil, "day wants a date like 2026-09-14")
	r.when(err == nil && a.Day > today, "day lies in the future")
	r.when(err == nil && procedure != "" && a.Day < procedure, "day lies before the procedure")
	for _, text := range []string{a.Place, a.Picture, a.Note, a.Correction} {
		r.when(utf8.RuneCountInString(text) > maxText, fmt.Sprintf("a text has more than %d characters", maxText))
	}
	a.checkOutcome(&r, to.Kind)
	r.when(to.State == Answered && blank(a.Correction), "the ask is answered; another answer wants a correction, the reason for it")
	return errors.Join(r...)
}

// checkOutcome tells whether outcome and grade fit what is asked.
func (a Answer) checkOutcome(r *refusals, kind Kind) {
	grade, graded := a.Grade.Get()
	r.when(graded && (grade != float64(int(grade)) || grade < 0 || grade > worstGrade), "grade wants 0, 1, 2, 3 or 4")
	r.when(graded && a.Outcome != Seen, "a grade goes with seen")
	switch a.Outcome {
	case Seen:
		r.when(!kind.LooksAtSkin(), "seen answers a look at the skin; this ask wants done")
		r.when(!graded, "seen wants a grade; 0 is nothing to see")
		r.when(graded && grade > 0 && blank(a.Place), "a reaction wants the place on the body")
	case Done:
		r.when(kind.LooksAtSkin() && kind != Refer, "done does not say what was seen; this ask wants seen with a grade, or not-reached")
	case NotReached:
		r.when(!kind.LooksAtSkin() && kind != Inform, "not-reached is about a patient; this ask wants done")
		r.when(a.Final && blank(a.Note), "an ask that ends unanswered wants a note that says why")
	default:
		r.when(true, "outcome wants done, seen or not-reached")
	}
}

func blank(s string) bool { return strings.TrimSpace(s) == "" }

// Closes tells whether the answer ends the ask. A patient who was not reached is tried again, and what was seen before the
// window opened is kept without ending it: the skin may still change.
func (a Answer) Closes(to Ask) bool {
	switch a.Outcome {
	case NotReached:
		return a.Final
	case Seen:
		return to.From == "" || a.Day >= to.From
	case Done:
	}
	return true
}

// worstGrade is the last of the published grades.
const worstGrade = 4

// grades are the words of the grades, in order from 0.
var grades = sync.OnceValue(func() []string {
	var words []string
	for _, f := range embedded.Records(gradesCSV) {
		words = append(words, f[1])
	}
	return words
})

// GradeWords says what a grade looks like, "" for one that there is not.
func GradeWords(grade int) string {
	if all := grades(); grade >= 0 && grade < len(all) {
		return all[grade]
	}
	return ""
}

// BandsOf names the published bands of skin dose beside which a grade stands; none for a grade that is in none.
func BandsOf(grade int) []string {
	var names []string
	for _, b := range level.Bands() {
		from, to, is := strings.Cut(b.Grade, "-")
		if !is {
			to = from
		}
		low, err1 := strconv.Atoi(from)
		high, err2 := strconv.Atoi(to)
		if err1 == nil && err2 == nil && grade >= low && grade <= high {
			names = append(names, b.Name)
		}
	}
	return names
}
