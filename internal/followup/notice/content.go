package notice

import (
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// Content is what a notice says, in no language. Numbers come unrounded in the unit beside them, and as they are shown, with a
// decimal point.
type Content struct {
	Room string `json:"room"`
	Date string `json:"date"` // local, 2006-01-02
	Time string `json:"time"` // local, 15:04, "" when not known
	// Class is the class of procedure, ClassTitle its name in English.
	Class      string `json:"class"`
	ClassTitle string `json:"class_title"`
	State      string `json:"state"` // provisional, complete, amended
	// Totals tells that equipment announced totals and sent no dose report.
	Totals bool `json:"announced_totals,omitempty"`

	Kerma   Figure `json:"kerma"`
	KAP     Figure `json:"kap"`
	Fluoro  Figure `json:"fluoroscopy_time"`
	Skin    Spread `json:"peak_skin_dose"`
	Whole   Spread `json:"effective_dose"`
	Picture bool   `json:"picture"` // there is a map of the skin dose
	// Place is where the peak lies.
	Place skindose.Place `json:"place"`

	// Flag is the state of the case: reached, near, unknown, below.
	Flag    string   `json:"flag"`
	Reasons []string `json:"reasons"` // why it is unknown
	Levels  []Level  `json:"levels"`  // those reached and, after them, those nearly reached

	Earlier     *Earlier  `json:"earlier,omitempty"`
	Asks        []ask.Ask `json:"asks"`
	Assumptions []string  `json:"assumptions"`
	// Amended is what differs from the last notice of the case.
	Amended *Amended `json:"amended,omitempty"`
	// Alarm is the content of a notice about notices; the rest is empty then.
	Alarm *Alarm `json:"alarm,omitempty"`
}

// Figure is a reported quantity.
type Figure struct {
	Value quantity.Opt[float64] `json:"value"`
	Unit  string                `json:"unit"`
	Shown string                `json:"shown"` // with its unit, "" when nothing is known
	// AtLeast tells that planes are missing; Missing names them.
	AtLeast bool     `json:"at_least"`
	Missing []string `json:"missing"`
	// Doubtful tells that the value is not believed.
	Doubtful bool `json:"doubtful"`
}

// Spread is an estimated quantity with its range (k=2).
type Spread struct {
	Value  quantity.Opt[float64] `json:"value"`
	Low    quantity.Opt[float64] `json:"low"`
	High   quantity.Opt[float64] `json:"high"`
	Unit   string                `json:"unit"`
	Shown  [3]string             `json:"shown"` // value, low, high
	Method string                `json:"method"`
	// AtLeast tells that an unknown part of what was delivered is left out.
	AtLeast bool `json:"at_least"`
	// Reason says why there is no estimate.
	Reason string `json:"reason"`
}

// Level is a level that the case, or a sum in which it is, has reached or nearly reached.
type Level struct {
	// Procedures and Days are those of the window, 0 for the case alone.
	Procedures int    `json:"procedures"`
	Days       int    `json:"days"`
	Scheme     string `json:"scheme"`
	Title      string `json:"title"`
	ID         string `json:"id"`
	Meaning    string `json:"meaning"`
	Quantity   string `json:"quantity"` // psd, kar, kap, ft
	State      string `json:"state"`    // reached, near
	Basis      string `json:"basis"`
	Shown      string `json:"shown"` // the value
	ShownLevel string `json:"shown_level"`
	// ShownStep is the highest step of a stepped level that was reached, "" for none above the level itself.
	ShownStep string `json:"shown_step"`
	Source    string `json:"source"`
	Rank      Rank   `json:"rank"`
}

// Key names the level within a case: one reached by the case alone is another than one reached by a sum.
func (l Level) Key() string {
	scope := "case"
	if l.Days > 0 {
		scope = "window"
	}
	return scope + "/" + l.Scheme + "/" + l.ID
}

// Earlier is what the patient's other procedures in the window add.
type Earlier struct {
	Days       int    `json:"days"`
	Procedures int    `json:"procedures"` // the others, this one aside
	Kerma      Figure `json:"kerma"`      // sums with this case
	KAP        Figure `json:"kap"`
	Skin       Spread `json:"peak_skin_dose"`
	// Mapped tells that the procedures were laid on one body; otherwise the peaks are added, which is an upper bound.
	Mapped bool           `json:"mapped"`
	Place  skindose.Place `json:"place"`
	// OwnShown is what this case gave to the peak of the sum, "" when it is not known.
	OwnShown string `json:"own_shown"`
}

// Amended is what differs from the last notice of a case.
type Amended struct {
	New  []Level `json:"new"`
	Gone []Level `json:"gone"` // as they were told
	// Why says in words what changed.
	Why string `json:"why"`
}

// Alarm tells that notices do not get through.
type Alarm struct {
	Channel string `json:"channel"` // "" when nobody is known to be told
	Since   string `json:"since"`   // UTC, RFC 3339
	Waiting int    `json:"waiting"`
	Why     string `json:"why"`
}

// Rank gives the rank of the highest level reached. What is not known may be at a level that tells.
func (c Content) Rank() Rank {
	rank := EveryCase
	if c.Flag == level.Unknown.String() {
		rank = Notification
	}
	for _, l := range c.reached() {
		rank = max(rank, l.Rank)
	}
	return rank
}

func (c Content) reached() []Level {
	var all []Level
	for _, l := range c.Levels {
		if l.State == "reached" {
			all = append(all, l)
		}
	}
	return all
}
