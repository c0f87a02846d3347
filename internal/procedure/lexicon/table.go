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

// entry is one line of a lexicon.
type entry struct {
	words      []string
	code       procedure.Code
	class      string
	complexity string
	text       string
}

// Lexicon turns the names and codes of a procedure into its class.
type Lexicon struct{ entries []entry }

var standard = sync.OnceValue(func() *Lexicon {
	return embedded.Must(Parse(strings.NewReader(entriesCSV)))
})

// Default gives the embedded lexicon.
func Default() *Lexicon { return standard() }

const columns = "kind,match,class,complexity"

// Parse reads a site's lexicon: CSV with the columns of the embedded file, # starting a comment. It returns ErrInvalid
// naming the line for anything it cannot use.
func Parse(r io.Reader) (*Lexicon, error) {
	l := &Lexicon{}
	err := embedded.Each(r, columns, func(_ int, fields []string) error {
		e, err := parseEntry(fields)
		l.entries = append(l.entries, e)
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if len(l.entries) == 0 {
		return nil, fmt.Errorf("%w: no entries", ErrInvalid)
	}
	return l, nil
}

func parseEntry(f []string) (entry, error) {
	e := entry{class: f[2], complexity: f[3], text: f[1]}
	if !Known(e.class) || e.class == Unclassified {
		return e, fmt.Errorf("class %q is not one of the known classes", f[2])
	}
	if !slices.Contains([]string{"", "simple", "standard", "complex"}, e.complexity) {
		return e, fmt.Errorf("complexity wants simple, standard, complex or nothing, got %q", f[3])
	}
	switch f[0] {
	case "text":
		e.words = words(f[1])
		if len(e.words) == 0 {
			return e, errors.New("match wants at least one word")
		}
	case "code":
		value, scheme, ok := strings.Cut(f[1], "|")
		if !ok || value == "" || scheme == "" {
			return e, fmt.Errorf("match of a code wants value|scheme, got %q", f[1])
		}
		e.code = procedure.Code{Value: value, Scheme: scheme}
	default:
		return e, fmt.Errorf("kind wants text or code, got %q", f[0])
	}
	return e, nil
}
