package summary

import (
	"time"

	"afterbeam/internal/quantity"
)

// Case is one procedure as summaries need it, in canonical units. A field that is absent is not known; it is never
// counted as zero, low or below.
type Case struct {
	// ID is the store's, Start carries the local offset and orders cases, Day is the local date 2006-01-02.
	ID    string
	Start time.Time
	Day   string
	// Class is a class of the lexicon ("unclassified" or "" when nothing matched), Complexity simple, standard, complex or "".
	Class, Complexity string
	// Room and Device are the site's room and the key of the device; DeviceName is shown. Mobile tells a mobile unit.
	Room, Device, DeviceName string
	Mobile                   bool
	// Operators are the pseudonyms, or where the reader may see them the names, of who did it. A case with two counts for both.
	Operators []string
	// Patient stands for the person, the same for all cases of one; it is never printed.
	Patient string
	// Quality marks the exposure of a test object, which counts nowhere.
	Quality bool
	// Totals marks a case known only by totals that the equipment announced, without a dose report.
	Totals bool

	Age    quantity.Opt[float64] // years
	Weight quantity.Opt[quantity.Kilogram]
	Height quantity.Opt[quantity.Millimetre]
	// Pregnant is a patient of whom report or person says that she is or may be pregnant.
	Pregnant bool

	// Kerma, KAP and FluoroTime are the sums over the planes as displayed. With a Doubt of DoubtPart the value is what
	// is known of it, a lower bound; with DoubtSuspect it is what was reported and is not believed.
	Kerma      quantity.Opt[quantity.Gray]
	KAP        quantity.Opt[quantity.GraySquareMetre]
	FluoroTime quantity.Opt[quantity.Second]
	// Images is the number of acquired images.
	Images                                       quantity.Opt[float64]
	KermaDoubt, KAPDoubt, TimeDoubt, ImagesDoubt Doubt
	// KermaFactor is the signed factor of the display, measured over displayed. Crossings go by the higher of the value as
	// displayed and the value times the factor, as levels do; percentiles go by the value as displayed, as reference levels do.
	KermaFactor quantity.Opt[float64]

	// PSD is the estimated peak skin dose with its range. PSDLowerBound tells that the dose may lie above the range; PSDNone
	// says why there is no estimate.
	PSD, PSDLow, PSDHigh quantity.Opt[quantity.Gray]
	PSDLowerBound        bool
	PSDMethod, PSDNone   string
	// Effective is the estimated effective dose; EffectiveNone says why there is none.
	Effective                      quantity.Opt[quantity.Sievert]
	EffectiveMethod, EffectiveNone string

	// State is the state of the case against the levels of the site: reached, near, unknown or below.
	State string
	// Flags are the levels that the newest version reached or came near, and those of unknown state that a person raised.
	Flags     []Flag
	Asks      []Ask
	Reactions []Reaction
	Review    Review
}

// Doubt says why a number of a case is not used as the value of the case. Whether there is a number at all is another
// question.
type Doubt string

// The doubts.
const (
	DoubtNone    Doubt = ""
	DoubtPart    Doubt = "part"    // a plane or event is missing: a lower bound
	DoubtSuspect Doubt = "suspect" // the number is not believed
)

// Flag is one level that the case, or a window of cases of its patient, was compared with.
type Flag struct {
	// Scope is ScopeCase, or the length of a window such as "60 days".
	Scope string
	// Scheme and Level name the level, Meaning what it prompts, such as MeaningFollowUp.
	Scheme, Level, Meaning string
	// Quantity is psd, kar, kap or ft, State reached or near.
	Quantity, State string
	// Value and LevelValue are in canonical units.
	Value, LevelValue quantity.Opt[float64]
	Settled           bool
}

// Words in the fields of a Flag and of a Case.
const (
	ScopeCase       = "case"
	MeaningFollowUp = "follow-up"
	StateReached    = "reached"
	StateNear       = "near"
	StateUnknown    = "unknown"
	StateBelow      = "below"
)

// Ask is what somebody was asked about the case.
type Ask struct {
	Kind  string // as followed up: inform, early-check, month-check, ...
	Owner string // role
	State string // open, answered, superseded, settled
	// From, Due and AnsweredOn are local dates; AnsweredOn is the day on which it was done or seen, "" without an answer.
	From, Due, AnsweredOn string
	Outcome               string
}

// The states of asks and the kinds that count as follow-up of a patient.
const (
	AskOpen       = "open"
	AskAnswered   = "answered"
	AskInform     = "inform"
	AskMonthCheck = "month-check"
)

// Reaction is what somebody saw on the skin after the case.
type Reaction struct {
	Day   string // local date on which it was seen
	Grade int    // 0 is nothing to see
	Place string // on the body
}

// Review is how far colleagues came in looking at the case.
type Review struct {
	State ReviewState
	Day   string
}

// ReviewState is what colleagues found. No dose alone decides it.
type ReviewState string

// The states of a review; a case that nobody has to look at has ReviewNone.
const (
	ReviewNone           ReviewState = ""
	ReviewPending        ReviewState = "pending"
	ReviewAppropriate    ReviewState = "appropriate"
	ReviewOpportunity    ReviewState = "opportunity"
	ReviewNotAppropriate ReviewState = "not-appropriate"
)

// ReviewStates lists the states that a person can give, the pending one first.
func ReviewStates() []ReviewState {
	return []ReviewState{ReviewPending, ReviewAppropriate, ReviewOpportunity, ReviewNotAppropriate}
}
