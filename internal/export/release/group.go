package release

import (
	"fmt"
	"slices"

	"afterbeam/internal/procedure"
)

// SmallestGroup is the number of patients that a group must have to be told. Source: numbers below 5 are commonly withheld;
// common practice, no source.
const SmallestGroup = 5

// withheld says which of a case's particulars are shared by too few patients of the release.
type withheld struct{ class, device, operators, characteristics bool }

// Withheld counts the procedures whose particulars are not told, since too few patients share them.
type Withheld struct {
	Class           int `json:"class"`
	Device          int `json:"device"`
	Operators       int `json:"operators"`
	Characteristics int `json:"characteristics"`
}

// group collects the patients of a value.
type group map[string]map[string]struct{}

func (g group) add(value, patient string) {
	if g[value] == nil {
		g[value] = map[string]struct{}{}
	}
	g[value][patient] = struct{}{}
}

func (g group) small(value string) bool { return len(g[value]) < SmallestGroup }

// decade is the band of age by which groups are made; -1 is an age that is not known.
func decade(c Case) int {
	years, ok := c.Age.Get()
	if !ok {
		return -1
	}
	return int(min(years, oldest)) / 10
}

// smallGroups looks for what few patients share: a class, a device, somebody who took part, and sex and decade of age within a
// class. Each is looked at over the whole release.
func (p Pseudonyms) smallGroups(cases []Case) ([]withheld, Withheld) {
	classes, devices, people, cells := group{}, group{}, group{}, group{}
	for _, c := range cases {
		classes.add(c.Class, c.Patient)
		devices.add(c.Device, c.Patient)
		for _, who := range c.Operators {
			people.add(p.Person(who), c.Patient)
		}
	}
	cell := func(c Case) string {
		class := c.Class
		if classes.small(class) {
			class = "" // told as the others that are withheld
		}
		return fmt.Sprintf("%s\x00%s\x00%d", class, c.Sex, decade(c))
	}
	for _, c := range cases {
		cells.add(cell(c), c.Patient)
	}
	out, count := make([]withheld, len(cases)), Withheld{}
	for i, c := range cases {
		w := withheld{class: classes.small(c.Class), device: devices.small(c.Device), characteristics: cells.small(cell(c))}
		w.operators = slices.ContainsFunc(c.Operators, func(who procedure.Person) bool { return people.small(p.Person(who)) })
		out[i] = w
		count.Class += one(w.class)
		count.Device += one(w.device)
		count.Operators += one(w.operators)
		count.Characteristics += one(w.characteristics)
	}
	return out, count
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// options are those of a release as far as they hold for a case: what too few share is not told in its reports either.
func (w withheld) options(o Options) Options {
	if w.device {
		o.Device = DevicePseudonym
	}
	if w.operators {
		o.Persons = PersonsDropped
	}
	if w.characteristics {
		o.Characteristics = false
	}
	return o
}

// device is what the device's pseudonym is made of: all those that are withheld have one.
func (w withheld) deviceOf(c Case) string {
	if w.device {
		return ""
	}
	return c.Device
}
