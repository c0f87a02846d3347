package summary

import (
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/reference"
	"afterbeam/internal/summary/statistic"
	"afterbeam/internal/summary/trend"
)

// Input is all that a summary is made from. The order of its lists leaves no trace.
type Input struct {
	Period Period
	// AsOf is the local date on which the summary is made; ages of open asks and of calibrations count up to it.
	AsOf   string
	Filter Filter
	// Cases are those of the period and of the period before, which is compared. Cases of earlier days are the history of
	// control charts without a frozen baseline; they, and cases of any day with open asks, may be there as well.
	Cases []Case
	// History is the local date from which on every case is there, "" when that is so for all days. Earlier ones are there for
	// their open asks alone, and in no chart.
	History string
	// Performed are the procedures that other systems say were done, of the same days as Cases; empty when no such list exists.
	Performed []Performed
	Meters    []Meter
	// Actions are all that are open, and those opened or closed in the period.
	Actions []Action
	// Baselines are the frozen ones; a chart without one proposes its own, see Summary.Charts.
	Baselines []trend.Baseline
	// OperatorNames tells that Case.Operators are names and not pseudonyms.
	OperatorNames bool
}

// Filter narrows a summary; empty fields do not. It is applied to cases, performed procedures and meters.
type Filter struct {
	Class  string `json:"class"`
	Room   string `json:"room"`
	Device string `json:"device"`
	// Rooms are those that the reader may see, nil every room.
	Rooms []string `json:"rooms"`
}

// Performed is a procedure that another system says was done, and whether its dose report came.
type Performed struct {
	Day, Class, Room, Device string
	Arrived                  bool
	// Excluded tells that no report is to be expected, Pending that it may still come; both count in no rate.
	Excluded, Pending bool
	// Why says what came near when it is missing.
	Why string
}

// Meter is what is known of the dose display of a device.
type Meter struct {
	Room, Device, DeviceName string
	// KermaFactor and KAPFactor are signed factors, measured over displayed; absent without one.
	KermaFactor, KAPFactor quantity.Opt[float64]
	// KermaUncertainty and KAPUncertainty are one standard deviation.
	KermaUncertainty, KAPUncertainty quantity.Opt[quantity.Percent]
	// CheckedOn, From and Until are local dates: of the last check, and of the validity of the factors; "" when unknown or open.
	CheckedOn, From, Until string
	// Checked tells that a check of the display is on file, with or without factors.
	Checked bool
}

// Action is what people agreed to do.
type Action struct {
	ID string `json:"id"`
	// Period is that of the summary at which it was agreed.
	Period string `json:"period"`
	Text   string `json:"text"`
	Owner  string `json:"owner"`
	// Opened, Due and Closed are local dates; Closed is "" while it is open.
	Opened  string `json:"opened_on"`
	Due     string `json:"due_on"`
	Closed  string `json:"closed_on"`
	Outcome string `json:"outcome"`
}

// Settings is what a site decides about its summaries.
type Settings struct {
	Percentile statistic.Type
	// Crossings are the steps of reference air kerma that are counted, in Gy.
	CrossingFrom, CrossingStep quantity.Gray
	CrossingSource             string
	// ChildBelow is the age in years below which a case is summed up apart.
	ChildBelow float64
	// MeterMonths is how old a check of a display may be.
	MeterMonths int
	Trend       trend.Rules
	References  []reference.Level
	// Distributions are published distributions that whole local ones are held against.
	Distributions []reference.Distribution
}
