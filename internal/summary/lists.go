package summary

import (
	"afterbeam/internal/quantity"
)

// CaseLine is one case as lists print it.
type CaseLine struct {
	ID         string                `json:"id"`
	Day        string                `json:"day"`
	Class      string                `json:"class"`
	Title      string                `json:"class_title"`
	Complexity string                `json:"complexity"`
	Room       string                `json:"room"`
	Device     string                `json:"device"`
	Kerma      quantity.Opt[float64] `json:"kar_gy"`
	KAP        quantity.Opt[float64] `json:"kap_gy_cm2"`
	Time       quantity.Opt[float64] `json:"ft_min"`
	PSD        quantity.Opt[float64] `json:"psd_gy"`
	PSDLow     quantity.Opt[float64] `json:"psd_low_gy"`
	PSDHigh    quantity.Opt[float64] `json:"psd_high_gy"`
	PSDMethod  string                `json:"psd_method"`
	PSDNone    string                `json:"psd_none"`
	Effective  quantity.Opt[float64] `json:"e_msv"`
	// KermaDoubt and KAPDoubt are part or suspect; the number beside is then a lower bound, or not believed.
	KermaDoubt Doubt  `json:"kar_doubt"`
	KAPDoubt   Doubt  `json:"kap_doubt"`
	State      string `json:"state"`
	// Reached names the follow-up levels that were reached, as scheme/level.
	Reached []string `json:"reached"`
	// Age in years and Weight in kg stand in the lists of children and pregnant patients alone.
	Age      quantity.Opt[float64] `json:"age_years"`
	Weight   quantity.Opt[float64] `json:"weight_kg"`
	Pregnant bool                  `json:"pregnant"`
}

// Crossing is how many cases passed a step of reference air kerma (Q7).
type Crossing struct {
	Level float64 `json:"level_gy"`
	// Cases of those whose Ka,r is known; a part that is known and passes counts. Unknown ones are in neither.
	Cases Proportion `json:"cases"`
	// Per100 is the rate per hundred cases.
	Per100 quantity.Opt[float64] `json:"per_100"`
	Source string                `json:"source"`
}

// Substantial is the cases that reached a follow-up level (Q8).
type Substantial struct {
	Rate Proportion `json:"rate"`
	// ByQuantity counts by what reached it: psd, kar, kap, ft. One case can be in several.
	ByQuantity []Reason `json:"by_quantity"`
	// Near are below with a range that reaches the level, Unknown could not be compared.
	Near    int        `json:"near"`
	Unknown int        `json:"unknown"`
	Cases   []CaseLine `json:"cases"`
}

// FollowUp is what came of follow-up (Q9).
type FollowUp struct {
	// Informed, Contacted and Outcome are of the period's cases that reached a follow-up level and whose asks of that
	// kind are due: patient told; contact at about 30 days by its last day; any look at the skin with a result.
	Informed  Proportion `json:"informed"`
	Contacted Proportion `json:"contacted"`
	Outcome   Proportion `json:"outcome"`
	// ContactNotYetDue counts cases of the period with an ask of that kind whose last day has not come.
	ContactNotYetDue int `json:"contact_not_yet_due"`
	// Asks by kind: answered in time, late, open in time, overdue.
	Kinds []AskKind `json:"kinds"`
	// Ageing is how long what is open has been overdue, of all cases that were given.
	Ageing []Age     `json:"ageing"`
	Open   []AskLine `json:"open"`
}

// AskKind is what became of the asks of a kind, of the period's cases.
type AskKind struct {
	Kind     string     `json:"kind"`
	InTime   int        `json:"answered_in_time"`
	Late     int        `json:"answered_late"`
	Open     int        `json:"open"`
	Overdue  int        `json:"overdue"`
	Dropped  int        `json:"dropped"` // superseded or settled without an answer
	Total    int        `json:"total"`
	Answered Proportion `json:"answered"`
}

// Age is a band of days overdue: From to To days, To is 0 in the last. The band of From and To 0 is not yet due.
type Age struct {
	From int `json:"from_days"`
	To   int `json:"to_days"`
	Asks int `json:"asks"`
}

// AskLine is one open ask.
type AskLine struct {
	Case    string `json:"case"`
	Day     string `json:"day"`
	Class   string `json:"class"`
	Title   string `json:"class_title"`
	Room    string `json:"room"`
	Kind    string `json:"kind"`
	Owner   string `json:"owner"`
	Due     string `json:"due"`
	Overdue int    `json:"overdue_days"` // below 0: days left
}

// Reactions is what was seen on the skin (Q10).
type Reactions struct {
	// Looked is, of the period's cases that reached a follow-up level, those at whose skin somebody looked; Seen is
	// those of them with a reaction.
	Looked Proportion     `json:"looked"`
	Seen   Proportion     `json:"seen"`
	Rows   []ReactionLine `json:"rows"`
}

// ReactionLine is one reaction: of a case of the period, or seen in it.
type ReactionLine struct {
	Case  CaseLine `json:"case"`
	Seen  string   `json:"seen_on"`
	Grade int      `json:"grade"`
	Place string   `json:"place"`
	// Days is from the procedure to the look.
	Days int `json:"days"`
}

// ReviewList is what colleagues look at (Q11). A dose alone decides no state.
type ReviewList struct {
	States []Reason     `json:"states"`
	Rows   []ReviewLine `json:"rows"`
}

// ReviewLine is one case for review, with why it is on the list: follow-up-level, reaction,
// above-chart, asked (somebody wanted it) or carried (pending since an earlier period).
type ReviewLine struct {
	Case  CaseLine    `json:"case"`
	Why   []string    `json:"why"`
	State ReviewState `json:"state"`
	Day   string      `json:"reviewed_on"`
}

// Cumulative is the patients for whom a sum over a window of days reached a follow-up level (Q12).
type Cumulative struct {
	Window   string   `json:"window"`
	Scheme   string   `json:"scheme"`
	Level    string   `json:"level"`
	Quantity string   `json:"quantity"`
	Patients int      `json:"patients"`
	Cases    []string `json:"cases"`
	// Largest is the largest sum and LevelValue the level that it was compared with, which may be scaled for the field: Gy,
	// Gy cm2 or min.
	Largest    quantity.Opt[float64] `json:"largest"`
	LevelValue quantity.Opt[float64] `json:"level_value"`
	Unit       string                `json:"unit"`
	Withheld   string                `json:"withheld"`
}

// MeterLine is the display of one device (Q13). Status is in-date, expired, old, checked or unchecked.
type MeterLine struct {
	Room             string                `json:"room"`
	Device           string                `json:"device"`
	Name             string                `json:"device_name"`
	Cases            int                   `json:"cases"`
	KermaFactor      quantity.Opt[float64] `json:"kar_factor"`
	KAPFactor        quantity.Opt[float64] `json:"kap_factor"`
	KermaUncertainty quantity.Opt[float64] `json:"kar_factor_sd_percent"`
	KAPUncertainty   quantity.Opt[float64] `json:"kap_factor_sd_percent"`
	CheckedOn        string                `json:"checked_on"`
	From             string                `json:"from"`
	Until            string                `json:"until"`
	AgeDays          quantity.Opt[int]     `json:"age_days"`
	Status           string                `json:"status"`
	// Outside tells that the display is off by more than 35 %, see displayTolerance.
	Outside bool `json:"outside"`
}

// Estimates is how often the skin and effective dose could be estimated (Q14).
type Estimates struct {
	PSD           Proportion `json:"psd"`
	PSDNone       []Reason   `json:"psd_none"`
	PSDMethods    []Reason   `json:"psd_methods"`
	Effective     Proportion `json:"effective"`
	EffectiveNone []Reason   `json:"effective_none"`
}

// Apart is children and pregnant patients (Q15), whom the tables of classes leave out.
type Apart struct {
	// ByWeight has the children by weight band, those without a weight last.
	ByWeight []WeightBand `json:"by_weight"`
	Children []CaseLine   `json:"children"`
	Pregnant []CaseLine   `json:"pregnant"`
	// PerWeight is what a paper found for KAP by weight; no reference level.
	PerWeight []PerWeight `json:"per_weight"`
}

// PerWeight is published KAP by weight of children.
type PerWeight struct {
	Procedure string  `json:"procedure"`
	Mean      float64 `json:"mean_kap_gy_cm2_per_kg"`
	P90       float64 `json:"p90_kap_gy_cm2_per_kg"`
	Source    string  `json:"source"`
	Known     string  `json:"known"`
}

// WeightBand is the children of one class and weight band; To is absent in the last, both are without a weight.
type WeightBand struct {
	Class string                `json:"class"`
	Title string                `json:"class_title"`
	From  quantity.Opt[float64] `json:"from_kg"`
	To    quantity.Opt[float64] `json:"to_kg"`
	// Group has statistics of KAP, of KAP by weight (kap_gy_cm2_per_kg), Ka,r and time.
	Group Group `json:"group"`
}

// Signal is a signal of a chart that ends in the period.
type Signal struct {
	Chart    string `json:"chart"` // the key of the chart
	Title    string `json:"title"`
	Quantity string `json:"quantity"`
	Rule     string `json:"rule"` // outside-high, outside-low, one-side-high, one-side-low, rising, falling
	From     string `json:"from"`
	To       string `json:"to"`
	Count    int    `json:"count"` // of points
}

// ActionLine is an action with how it stands: new, carried, overdue or closed.
type ActionLine struct {
	Action
	Standing string `json:"standing"`
	// Carried is the number of months since it was agreed, of one that was agreed before the period.
	Carried int `json:"carried_months"`
}

// Indicator is one of Q1 to Q15.
type Indicator struct {
	ID string `json:"id"`
	// Name is its key, Where the path in the summary.
	Name  string `json:"name"`
	Where string `json:"where"`
	// Given tells that there is something to show; else Absent says why not.
	Given  bool   `json:"given"`
	Absent string `json:"absent"`
}
