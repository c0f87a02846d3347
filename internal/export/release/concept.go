package release

import (
	_ "embed"
	"slices"
	"strings"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

//go:embed concepts.csv
var conceptsCSV string

//go:embed values.csv
var valuesCSV string

// action is what happens to a content item.
type action string

const (
	keep     action = "keep"
	shift    action = "shift"
	undate   action = "undate"
	renew    action = "renew"
	blank    action = "blank"
	maker    action = "make"
	serial   action = "serial"
	called   action = "name"
	person   action = "person"
	observer action = "observer"
)

// removed stands where a text must stand.
const removed = "removed"

// place is where a content item stands in the list: its value type and the code of its concept.
type place struct{ kind, code, scheme string }

// rule is a row of the list.
type rule struct {
	do      action
	meaning string
}

// allowed holds the two lists.
type allowed struct {
	concepts map[place]rule
	values   map[procedure.Code]string
}

// theLists reads the embedded tables once.
var theLists = sync.OnceValue(func() allowed {
	lists := allowed{map[place]rule{}, map[procedure.Code]string{}}
	for _, r := range embedded.Records(conceptsCSV) {
		lists.concepts[place{r[0], r[1], r[2]}] = rule{action(r[3]), r[4]}
	}
	for _, r := range embedded.Records(valuesCSV) {
		lists.values[procedure.Code{Value: r[0], Scheme: r[1]}] = r[2]
	}
	return lists
})

// Scheme designators of the SRT codes in older reports stand for SRT.
func plainScheme(scheme string) string {
	if scheme == "SNM3" || scheme == "99SDM" {
		return "SRT"
	}
	return scheme
}

// rule gives the row of a content item.
func (l allowed) rule(kind string, c procedure.Code) (rule, bool) {
	r, ok := l.concepts[place{kind, c.Value, plainScheme(c.Scheme)}]
	return r, ok
}

// value gives our text for a coded value; false when the value is not known.
func (l allowed) value(c procedure.Code) (string, bool) {
	if meaning, ok := l.values[procedure.Code{Value: c.Value, Scheme: plainScheme(c.Scheme)}]; ok {
		return meaning, true
	}
	return rdsr.Known(c)
}

// unitList is how dose reports spell the units that are kept; an annotation in braces could say anything.
var unitList = strings.Fields(`Gy mGy cGy uGy nGy Gy.m2 Gy.cm2 m2.Gy dGy.cm2 cGy.cm2 mGy.cm2 uGy.m2 uGy.cm2 mGy.m2 cGy.m2 dGy.m2 Gy.mm2 mGy.mm2
	Gym2 Gym² Gy*m2 Gy·m2 dGycm2 dGy*cm2 dGy·cm2 cGycm2 cGy*cm2 cGy·cm2 mGycm2 mGy*cm2 mGy·cm2 Gycm2 Gy*cm2 Gy·cm2 uGym2 uGy*m2 µGym2 µGy.m2
	μGy.m2 kV V kVp mA A uA mA.s uA.s A.s mAs uAs µAs mC s ms us min h sec msec mm cm m um dm m2 cm2 mm2 deg ° degrees rad 1 % {pulse}/s
	{pulses}/s pulses/s /s Hz 1/s s-1 {frame} {frames} {frames}/s {frame}/s {pulse} {pulses} {ratio} {index}`)

// knownUnit tells whether a unit may stand in a released report.
func knownUnit(code string) bool {
	return slices.Contains(unitList, code) || code == "no units" || code == "Gy m2"
}
