package lexicon

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/procedure"
)

//go:embed classes.csv
var classesCSV string

//go:embed entries.csv
var entriesCSV string

//go:embed targets.csv
var targetsCSV string

// Unclassified is the class of what matches nothing.
const Unclassified = "unclassified"

// ErrInvalid marks a lexicon file that cannot be used; the text names the line and the expected form.
var ErrInvalid = errors.New("lexicon not usable")

// Class is a procedure class.
type Class struct {
	ID    string
	Title string
	// Group says how totals relate to skin dose: coronary, static_projection, neuro, body or unknown.
	Group string
	// DoseRegion is the region of the effective dose coefficients, Place what lies at the isocentre; "" when unknown.
	DoseRegion, Place string
}

// target is where an event's target region code points.
type target struct{ place, doseRegion string }

var tables = sync.OnceValues(func() ([]Class, map[procedure.Code]target) {
	var classes []Class
	for _, f := range embedded.Records(classesCSV) {
		classes = append(classes, Class{ID: f[0], Title: f[1], Group: f[2], DoseRegion: f[3], Place: f[4]})
	}
	targets := map[procedure.Code]target{}
	for _, f := range embedded.Records(targetsCSV) {
		targets[procedure.Code{Value: f[0], Scheme: f[1]}] = target{f[3], f[4]}
	}
	return classes, targets
})

// Classes lists every class.
func Classes() []Class {
	classes, _ := tables()
	return slices.Clone(classes)
}

// ClassOf gives a class by its id; an unknown id is the class Unclassified.
func ClassOf(id string) Class {
	all := Classes()
	if i := slices.IndexFunc(all, func(c Class) bool { return c.ID == id }); i >= 0 {
		return all[i]
	}
	return all[slices.IndexFunc(all, func(c Class) bool { return c.ID == Unclassified })]
}

// Known tells whether there is a class of that id.
func Known(id string) bool { return ClassOf(id).ID == id }

// PlaceOf gives the place along the body that an event's target region code means.
func PlaceOf(code procedure.Code) (string, bool) {
	_, targets := tables()
	t, ok := targets[procedure.Code{Value: code.Value, Scheme: code.Scheme}]
	return t.place, ok
}

// DoseRegionOf gives the region of the effective dose coefficients that an event's target region, else its anatomy,
// means.
func DoseRegionOf(e procedure.Event) (string, bool) {
	_, targets := tables()
	for _, code := range []procedure.Code{e.Target, e.Anatomy} {
		if t, ok := targets[procedure.Code{Value: code.Value, Scheme: code.Scheme}]; ok {
			return t.doseRegion, true
		}
	}
	return "", false
}

// entry is one line of a lexicon; one of a whole name has neither words nor code.
type entry struct {
	words      []string
	code       procedure.Code
	class      string
	complexity string
	text       string
}

// Lexicon turns the names and codes of a procedure into its class.
type Lexicon struct {
	entries []entry // of words and codes
	names   map[Kind][]entry
	under   *Lexicon // the table that this one stands over, nil for none
}

var standard = sync.OnceValue(func() *Lexicon {
	return embedded.Must(Parse(strings.NewReader(entriesCSV)))
})

// Default gives the embedded lexicon.
func Default() *Lexicon { return standard() }

// Parse reads a lexicon: CSV with the columns of the embedded file, # starting a comment. It returns ErrInvalid naming the
// line for anything it cannot use.
func Parse(r io.Reader) (*Lexicon, error) {
	l := &Lexicon{names: map[Kind][]entry{}}
	err := embedded.Each(r, columns, func(_ int, f []string) error { return l.add(rowOf(f)) })
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if len(l.entries)+len(l.names) == 0 {
		return nil, fmt.Errorf("%w: no entries", ErrInvalid)
	}
	return l, nil
}

// add takes a row in, behind those that are there.
func (l *Lexicon) add(r Row) error {
	e := entry{class: r.Class, complexity: r.Complexity, text: r.Match}
	if !Known(e.class) || e.class == Unclassified {
		return fmt.Errorf("class %q is not one of the known classes", r.Class)
	}
	if !slices.Contains(Complexities(), e.complexity) {
		return fmt.Errorf("complexity wants simple, standard, complex or nothing, got %q", r.Complexity)
	}
	switch r.Kind {
	case KindText:
		e.words = words(r.Match)
		if len(e.words) == 0 {
			return errors.New("match wants at least one word")
		}
	case KindCode:
		value, scheme, ok := strings.Cut(r.Match, "|")
		if !ok || value == "" || scheme == "" {
			return fmt.Errorf("match of a code wants value|scheme, got %q", r.Match)
		}
		e.code = procedure.Code{Value: value, Scheme: scheme}
	case KindDescription, KindProtocol:
		if len(words(r.Match)) == 0 {
			return errors.New("match wants at least one word")
		}
		l.names[r.Kind] = append(l.names[r.Kind], e)
		return nil
	default:
		return fmt.Errorf("kind wants text, code, description or protocol, got %q", r.Kind)
	}
	l.entries = append(l.entries, e)
	return nil
}
