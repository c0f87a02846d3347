// Package notebook collects the Findings of one report and joins those that say the same of many events, so that a
// report of a thousand events with one oddity has one Finding that names them.
//
// A reader needs three things: Place says where something was found, Notebook.Add writes it down, and
// Notebook.Findings gives the joined Findings in the order of their first sight.
package notebook

import (
	"fmt"
	"strconv"
	"strings"

	"afterbeam/internal/procedure"
)

// Place is where in a report something was found.
type Place struct {
	// Event is the position of the irradiation event, from 1; 0 is none.
	Event int
	// Total tells that the place is the accumulated dose of Plane.
	Total bool
	Plane procedure.Plane
	// Item is the name of the content item or attribute, "" for the whole.
	Item string
}

// Of gives the place of an item inside p.
func (p Place) Of(item string) Place {
	p.Item = item
	return p
}

// EventPlace is the place of the event at the given index of a report's events.
func EventPlace(index int, e *procedure.Event) Place {
	return Place{Event: index + 1, Plane: e.Plane}
}

// TotalPlace is the place of the accumulated dose of a plane.
func TotalPlace(t *procedure.PlaneTotal) Place { return Place{Total: true, Plane: t.Plane} }

// EventName names an event by its place in the report, such as "irradiation event 3".
func EventName(index int) string { return "irradiation event " + strconv.Itoa(index+1) }

type key struct {
	rule     string
	severity procedure.Severity
	total    bool
	event    bool
	plane    procedure.Plane
	item     string
	text     string
}

type entry struct {
	key
	first  Place
	events []int
}

// Notebook collects Findings. The zero Notebook is empty and ready.
type Notebook struct {
	entries []*entry
	index   map[key]*entry
}

// Add writes a Finding down. Findings of the same rule, severity, item and text become one that names all their events.
func (n *Notebook) Add(rule string, severity procedure.Severity, place Place, text string) {
	k := key{rule: rule, severity: severity, total: place.Total, event: place.Event > 0, item: place.Item, text: text}
	if place.Total {
		k.plane = place.Plane
	}
	if n.index == nil {
		n.index = map[key]*entry{}
	}
	e, ok := n.index[k]
	if !ok {
		e = &entry{key: k, first: place}
		n.index[k] = e
		n.entries = append(n.entries, e)
	}
	if place.Event > 0 && (len(e.events) == 0 || e.events[len(e.events)-1] != place.Event) {
		e.events = append(e.events, place.Event)
	}
}

// Addf is Add with a formatted text.
func (n *Notebook) Addf(rule string, severity procedure.Severity, place Place, format string, args ...any) {
	n.Add(rule, severity, place, fmt.Sprintf(format, args...))
}

// Findings gives the joined Findings in the order of their first sight, nil when there are none.
func (n *Notebook) Findings() []procedure.Finding {
	var out []procedure.Finding
	for _, e := range n.entries {
		out = append(out, procedure.Finding{Rule: e.rule, Severity: e.severity, Place: e.place(), Text: e.text})
	}
	return out
}

// namedEvents is how many events a joined Finding names before it counts the rest.
const namedEvents = 8

func (e *entry) place() string {
	where := "report"
	switch {
	case len(e.events) == 1:
		where = fmt.Sprintf("irradiation event %d (%v)", e.events[0], e.first.Plane)
	case len(e.events) > 1:
		where = "irradiation events " + eventList(e.events)
	case e.total:
		where = fmt.Sprintf("accumulated dose (%v)", e.first.Plane)
	}
	if e.item == "" {
		return where
	}
	return where + " / " + e.item
}

func eventList(events []int) string {
	named := make([]string, 0, namedEvents)
	for _, n := range events[:min(len(events), namedEvents)] {
		named = append(named, strconv.Itoa(n))
	}
	list := strings.Join(named, ", ")
	if rest := len(events) - namedEvents; rest > 0 {
		return fmt.Sprintf("%s and %d more", list, rest)
	}
	return list
}
