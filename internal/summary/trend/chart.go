// Package trend has control charts: of single values on a logarithmic scale, of rates, and of what lies between rare
// events. A signal prompts people to look for a cause; it says nothing about a case.
//
// Equations (10) to (17) are in STATISTICS.md of package summary.
package trend

import "afterbeam/internal/quantity"

// Kind is the kind of a chart.
type Kind string

// The kinds.
const (
	ValueAndRange Kind = "x-mr" // each value and its moving range, on natural logarithms
	Share         Kind = "p"    // x of n of each month
	CasesBetween  Kind = "g"    // cases between two events
	DaysBetween   Kind = "t"    // days between two events
)

// Status is how far the baseline of a chart has come.
type Status string

// The statuses.
const (
	Frozen      Status = "frozen"
	Proposed    Status = "proposed"    // enough points; nobody froze it yet
	Provisional Status = "provisional" // fewer points than a baseline wants
	Forming     Status = "forming"     // no limits yet
	NoSpread    Status = "no-spread"   // the baseline's points are all alike: no limits
)

// Rules is what a site decides about its charts.
type Rules struct {
	// BaselineLeast points make a baseline, of which the first BaselineMost are used.
	BaselineLeast, BaselineMost int
	// ProvisionalLeast months, or events, make a provisional baseline of a chart of rates or of what lies between events.
	ProvisionalLeast int
	// PointsMost is how many points of a chart are given, the newest.
	PointsMost int
	// OneSide points on one side of the centre, and Run points rising or falling, are signals.
	OneSide, Run int
}

// DefaultRules gives the rules of a new site. Source: at least 20 points, 8 on one side and 6 rising or falling: standard
// practice of control charts (memory: Montgomery, Introduction to Statistical Quality Control; Nelson 1984 J Qual Technol
// 16:237); the others are judgement of the project.
func DefaultRules() Rules {
	return Rules{BaselineLeast: 20, BaselineMost: 50, ProvisionalLeast: 8, PointsMost: 200, OneSide: 8, Run: 6}
}

// Baseline is what a chart's limits rest on. A frozen one is kept and handed in again; see Chart.
type Baseline struct {
	// Key names the chart.
	Key  string `json:"key"`
	Kind Kind   `json:"kind"`
	// From and To are the local dates of its first and last point, N their number.
	From string `json:"from"`
	To   string `json:"to"`
	N    int    `json:"n"`
	// Centre is the mean of the logarithms (x-mr), the share (p), the mean number of cases (g), or the mean of the
	// transformed days (t). MovingRange is the mean moving range of x-mr and t, 0 else.
	Centre      float64 `json:"centre"`
	MovingRange float64 `json:"moving_range"`
	// Frozen tells that it was kept; FrozenOn and FrozenBy are the store's to fill in.
	Frozen   bool   `json:"frozen"`
	FrozenOn string `json:"frozen_on"`
	FrozenBy string `json:"frozen_by"`
}

// Chart is one control chart. Centre, limits and points are in Unit; those of a p chart are fractions of 1.
type Chart struct {
	Key   string `json:"key"`
	Kind  Kind   `json:"kind"`
	Title string `json:"title"`
	// Class, Room, Device and Quantity say what it is about; a rate has Quantity records, arrival or substantial.
	Class    string `json:"class"`
	Room     string `json:"room"`
	Device   string `json:"device"`
	Quantity string `json:"quantity"`
	Unit     string `json:"unit"`
	Status   Status `json:"status"`
	// Have is the number of points from which a baseline could be made, Need how many it takes.
	Have int `json:"have"`
	Need int `json:"need"`
	// Baseline is nil while it is forming. One that is not frozen is a proposal.
	Baseline *Baseline             `json:"baseline"`
	Centre   quantity.Opt[float64] `json:"centre"`
	Lower    quantity.Opt[float64] `json:"lower"`
	Upper    quantity.Opt[float64] `json:"upper"`
	// RangeUpper is the limit of the moving range of x-mr: as a factor between two values one after the other.
	RangeUpper quantity.Opt[float64] `json:"range_upper"`
	// Earlier points than those given, and cases left out for lack of a value.
	Earlier int      `json:"earlier"`
	LeftOut int      `json:"left_out"`
	Points  []Point  `json:"points"`
	Signals []Signal `json:"signals"`
	// Rare tells that the chart shows what lies between events because a month has fewer than 5 of them.
	Rare bool `json:"rare"`
}

// Point is one point of a chart.
type Point struct {
	// Day is the local date of the case or of the event, or the month of a rate. Case is the case, "" of a month.
	Day  string `json:"day"`
	Case string `json:"case"`
	// Value is what is charted; X of N of a rate.
	Value float64 `json:"value"`
	X     int     `json:"x"`
	N     int     `json:"n"`
	// Range is the moving range of x-mr, as a factor.
	Range quantity.Opt[float64] `json:"range"`
	// Lower and Upper are the limits of this point of a p chart.
	Lower quantity.Opt[float64] `json:"lower"`
	Upper quantity.Opt[float64] `json:"upper"`
	// Rules are the signals that end at this point; Baseline tells that the point is part of the baseline.
	Rules    []string `json:"rules"`
	Baseline bool     `json:"baseline"`
}

// Signal is a signal, by the days of its first and last point.
type Signal struct {
	Rule  string `json:"rule"`
	From  string `json:"from"`
	To    string `json:"to"`
	Count int    `json:"count"`
}

// The rules of signals. WideRange stands at points alone and is none.
const (
	OutsideHigh = "outside-high"
	OutsideLow  = "outside-low"
	WideRange   = "wide-range" // a moving range beyond its limit
	OneSideHigh = "one-side-high"
	OneSideLow  = "one-side-low"
	Rising      = "rising"
	Falling     = "falling"
)
