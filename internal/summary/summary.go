package summary

import (
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

// Schema names the form of a Summary; a change that breaks a reader gets another number.
const Schema = "afterbeam/summary/1"

// Summary is a period summed up. Fields are in the units that their names end with; a Statistic and a Chart name theirs.
// Words with hyphens, such as possibly-above, are keys for whoever prints in a language; Title and Source are text.
type Summary struct {
	Schema string `json:"schema"`
	Period Period `json:"period"`
	Before Period `json:"before"`
	AsOf   string `json:"as_of"`
	Filter Filter `json:"filter"`
	// Methods names every method used, by what it is used for.
	Methods Methods `json:"methods"`
	// Cautions are keys of what has to be printed with the numbers.
	Cautions []string `json:"cautions"`
	// OperatorNames tells that operators stand here by name and not by pseudonym.
	OperatorNames bool `json:"operator_names"`

	Counts       Counts       `json:"counts"`
	Completeness Completeness `json:"completeness"` // Q1, Q2
	Volume       []Volume     `json:"volume"`       // Q3
	Classes      []Class      `json:"classes"`      // Q4, Q5, Q6
	Crossings    []Crossing   `json:"crossings"`    // Q7
	Substantial  Substantial  `json:"substantial"`  // Q8
	FollowUp     FollowUp     `json:"follow_up"`    // Q9
	Reactions    Reactions    `json:"reactions"`    // Q10
	Review       ReviewList   `json:"review"`       // Q11
	Cumulative   []Cumulative `json:"cumulative"`   // Q12
	Meters       []MeterLine  `json:"meters"`       // Q13
	Estimates    Estimates    `json:"estimates"`    // Q14
	Apart        Apart        `json:"apart"`        // Q15
	// Charts are the control charts of classes and rates, Signals those that end in the period.
	Charts  []trend.Chart `json:"charts"`
	Signals []Signal      `json:"signals"`
	Actions []ActionLine  `json:"actions"`
	// Indicators says in one line each what became of Q1 to Q15, and where in the summary it stands.
	Indicators []Indicator `json:"indicators"`
	// Leaving tells that this is the form for readers outside of the department: small groups and lists of cases are withheld.
	Leaving bool `json:"leaving"`
}

// Methods names the methods.
type Methods struct {
	Percentile       string `json:"percentile"`
	QuantileInterval string `json:"quantile_interval"`
	ShareInterval    string `json:"share_interval"`
	MedianChange     string `json:"median_change"`
	ShareChange      string `json:"share_change"`
	ValueChart       string `json:"value_chart"`
	RateChart        string `json:"rate_chart"`
	BetweenChart     string `json:"between_chart"`
	SmallNumbers     string `json:"small_numbers"`
}

// Counts is how many cases there were.
type Counts struct {
	Cases       int `json:"cases"`
	CasesBefore int `json:"cases_before"`
	Patients    int `json:"patients"`
	// Adults are the cases of the tables of classes, Children and Pregnant those summed up apart; AgeUnknown are among the adults.
	Adults     int `json:"adults"`
	Children   int `json:"children"`
	Pregnant   int `json:"pregnant"`
	AgeUnknown int `json:"age_unknown"`
	// TestObjects are exposures of test objects, which count nowhere else; TotalsOnly cases are known by announced totals alone.
	TestObjects  int `json:"test_objects"`
	TotalsOnly   int `json:"totals_only"`
	Unclassified int `json:"unclassified"`
	// Withheld names the counts that are left out, as 0, because they are small.
	Withheld []string `json:"withheld"`
}

// Completeness is how much of what was done is known.
type Completeness struct {
	// Records are cases with Ka,r, KAP and fluoroscopy time, each whole and believed (Q1).
	Records Proportion `json:"records"`
	// Each quantity by itself.
	Quantities []QuantityKnown `json:"quantities"`
	// Arrival is reports received of procedures performed (Q2); absent without a list of what was performed.
	Arrival       *Proportion    `json:"arrival"`
	ArrivalAbsent string         `json:"arrival_absent"`
	ByRoom        []RoomComplete `json:"by_room"`
	// Pending are performed procedures whose report may still come, Excluded those of which none is expected.
	Pending  int `json:"pending"`
	Excluded int `json:"excluded"`
	// Missing says why reports are missing, by what came near.
	Missing []Reason `json:"missing"`
}

// QuantityKnown is of how many cases a quantity is known.
type QuantityKnown struct {
	Quantity string     `json:"quantity"`
	Known    Proportion `json:"known"`
	LeftOut  []LeftOut  `json:"left_out"`
}

// RoomComplete is the completeness of one room.
type RoomComplete struct {
	Room    string      `json:"room"`
	Records Proportion  `json:"records"`
	Arrival *Proportion `json:"arrival"`
}

// Proportion is x of n with its share and 95 % Wilson interval. Shares are fractions of 1, absent when n is 0.
type Proportion struct {
	X     int                   `json:"x"`
	N     int                   `json:"n"`
	Share quantity.Opt[float64] `json:"share"`
	Low   quantity.Opt[float64] `json:"low"`
	High  quantity.Opt[float64] `json:"high"`
	// Unknown are cases that could not be decided and are in neither X nor N.
	Unknown int `json:"unknown"`
	// Change against the period before, absent where either period has fewer than five cases.
	Change *ShareChange `json:"change"`
	// Withheld tells that the numbers are left out because the group is small.
	Withheld string `json:"withheld"`
}

// ShareChange is the difference of two shares with its 95 % interval, in fractions of 1.
type ShareChange struct {
	XBefore    int     `json:"x_before"`
	NBefore    int     `json:"n_before"`
	Difference float64 `json:"difference"`
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
}

// LeftOut is how many cases a statistic does without, and why: absent, part or suspect.
type LeftOut struct {
	Reason string `json:"reason"`
	Cases  int    `json:"cases"`
}

// Reason is a text with how many cases have it.
type Reason struct {
	Text  string `json:"text"`
	Cases int    `json:"cases"`
}

// Volume is how many cases a group had. By is class, room, device, operator, complexity or size.
type Volume struct {
	By     string `json:"by"`
	Key    string `json:"key"`
	Title  string `json:"title"`
	Cases  int    `json:"cases"`
	Before int    `json:"before"`
	// Share is of all cases of the period, absent by operator, of whom a case may have two.
	Share quantity.Opt[float64] `json:"share"`
	// Withheld is small when the number itself is left out.
	Withheld string `json:"withheld"`
}

// Class is one procedure class: adults, pregnant patients left out.
type Class struct {
	Class string `json:"class"`
	Title string `json:"title"`
	All   Group  `json:"all"`
	// Positions are of medians against reference levels, Distributions against published distributions.
	Positions     []Position     `json:"positions"`
	Distributions []Distribution `json:"distributions"`
	// Withheld says which comparisons are left out and why.
	Withheld []Withheld `json:"withheld"`
	// Year has the same comparisons for the twelve months to the end of a month or a quarter, nil for longer periods and
	// where there are no earlier cases.
	Year *ClassYear `json:"year"`
	// Parts are the same cases parted by complexity, mount, room, device, operator and size, where there is more than one.
	Parts []Part `json:"parts"`
}

// ClassYear is a class over more months than the period, whose cases are often too few to be compared.
type ClassYear struct {
	From          string         `json:"from"`
	To            string         `json:"to"`
	Cases         int            `json:"cases"`
	Positions     []Position     `json:"positions"`
	Distributions []Distribution `json:"distributions"`
	Withheld      []Withheld     `json:"withheld"`
}

// Part is the cases of a class parted by one property.
type Part struct {
	By     string  `json:"by"`
	Groups []Group `json:"groups"`
}

// Group is some cases of one class. Groups stand in the order of their keys, never of their doses.
type Group struct {
	Key   string `json:"key"`
	Title string `json:"title"`
	// Complexity stands beside every operator, whose cases are never summed up without it.
	Complexity string `json:"complexity"`
	Cases      int    `json:"cases"`
	// Show is what the small-number rules allow at this number of cases.
	Show statistic.Show `json:"show"`
	// Statistics are KAP, Ka,r, fluoroscopy time, images, peak skin dose and effective dose.
	Statistics []Statistic `json:"statistics"`
	// Substantial is cases with a follow-up level reached.
	Substantial *Proportion `json:"substantial"`
	// List is the cases themselves, of a group too small for a statistic.
	List []CaseLine `json:"list"`
	// Withheld says what is left out of the whole group and why.
	Withheld []Withheld `json:"withheld"`
}

// Statistic is the distribution of one quantity in one group. Its numbers are in Unit.
type Statistic struct {
	// Quantity is kap_gy_cm2, kar_gy, ft_min, images, psd_gy or e_msv; Unit is the UCUM code.
	Quantity string `json:"quantity"`
	Unit     string `json:"unit"`
	// Basis is displayed for what the equipment shows, estimated for what is worked out.
	Basis string `json:"basis"`
	// N values of Of cases: the completeness. LeftOut says why the others are not in it.
	N        int            `json:"n"`
	Of       int            `json:"of"`
	Complete Proportion     `json:"complete"`
	LeftOut  []LeftOut      `json:"left_out"`
	Method   string         `json:"method"`
	Show     statistic.Show `json:"show"`

	Min quantity.Opt[float64] `json:"min"`
	Max quantity.Opt[float64] `json:"max"`
	// The percentiles that may be shown; nil ones stand in Withheld with the reason.
	P10    *statistic.Quantile `json:"p10"`
	P25    *statistic.Quantile `json:"p25"`
	Median *statistic.Quantile `json:"median"`
	P75    *statistic.Quantile `json:"p75"`
	P90    *statistic.Quantile `json:"p90"`
	P95    *statistic.Quantile `json:"p95"`
	// Change of the median against the period before.
	Change   *MedianChange `json:"change"`
	Withheld []Withheld    `json:"withheld"`
}

// Withheld is something that is not shown: what, and the key of the reason, with the number of values it needs.
type Withheld struct {
	What   string `json:"what"`
	Reason string `json:"reason"`
	Need   int    `json:"need"`
}

// MedianChange is the median against that of the period before, as a ratio with its 95 % interval.
type MedianChange struct {
	Before  float64               `json:"before"`
	NBefore int                   `json:"n_before"`
	Percent float64               `json:"percent"`
	Low     quantity.Opt[float64] `json:"low_percent"`
	High    quantity.Opt[float64] `json:"high_percent"`
	// Withheld is why there is no interval.
	Withheld string `json:"withheld"`
}

// Position is the median of a group against one reference level. It is never about a single patient.
type Position struct {
	Level reference.Level `json:"level"`
	// Mount is fixed or mobile where the class has both, which are never compared together.
	Mount  string  `json:"mount"`
	Median float64 `json:"median"`
	N      int     `json:"n"`
	// Verdict says where the median lies, Provisional that the group is small.
	Verdict     reference.Verdict `json:"verdict"`
	Provisional bool              `json:"provisional"`
	// IntervalReaches tells that the interval of a median that is not above reaches beyond the level.
	IntervalReaches bool                  `json:"interval_reaches"`
	Low             quantity.Opt[float64] `json:"low"`
	High            quantity.Opt[float64] `json:"high"`
}

// Distribution is a whole local distribution against a published one.
type Distribution struct {
	Published reference.Distribution `json:"published"`
	N         int                    `json:"n"`
	Rows      []DistributionRow      `json:"rows"`
	// AboveP75 is the local cases above the published 75th percentile; a quarter would be alike.
	AboveP75 *Proportion `json:"above_p75"`
}

// DistributionRow is one percentile of both.
type DistributionRow struct {
	Percent   int                   `json:"percent"`
	Published float64               `json:"published"`
	Local     quantity.Opt[float64] `json:"local"`
}
