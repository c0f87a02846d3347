package lexicon

import (
	"slices"
	"strings"
	"unicode"

	"afterbeam/internal/procedure"
)

// Match is what the lexicon found.
type Match struct {
	Class      Class
	Complexity string
	// From says what decided, such as `description matches "branched aortic repair"`; it repeats the lexicon's own words,
	// never the report's.
	From string
}

// Classify gives the class of a procedure: that of its names.
func (l *Lexicon) Classify(p procedure.Procedure) Match { return l.Of(NamesOf(p)) }

// Of gives the class of names. Procedure codes decide first, then the descriptions of the study, then the protocol names of
// the events; at each of them the site's rows come before the table that they stand over, and whole names before words. What
// matches nothing is Unclassified.
func (l *Lexicon) Of(n Names) Match {
	for _, look := range []func(*Lexicon, Names) (Match, bool){(*Lexicon).byCode, (*Lexicon).byDescription, (*Lexicon).byProtocol} {
		for table := l; table != nil; table = table.under {
			if m, ok := look(table, n); ok {
				return m
			}
		}
	}
	return Match{Class: ClassOf(Unclassified), From: "nothing in the report matches the lexicon"}
}

func (l *Lexicon) byCode(n Names) (Match, bool) {
	for _, code := range n.Codes {
		for _, e := range l.entries {
			if !e.code.IsZero() && code.Is(e.code.Value, e.code.Scheme) {
				return l.match(e, "procedure code matches"), true
			}
		}
	}
	return Match{}, false
}

func (l *Lexicon) byDescription(n Names) (Match, bool) {
	if e, ok := l.whole(KindDescription, n.Descriptions()); ok {
		return l.match(e, "description is"), true
	}
	e, ok := l.best(n.Description + " " + n.Performed)
	return l.match(e, "description matches"), ok
}

func (l *Lexicon) byProtocol(n Names) (Match, bool) {
	if e, ok := l.whole(KindProtocol, n.Protocols); ok {
		return l.match(e, "a protocol name is"), true
	}
	e, ok := l.best(strings.Join(n.Protocols, " "))
	return l.match(e, "protocol names matches"), ok
}

func (l *Lexicon) match(e entry, by string) Match {
	from := by + ` "` + e.text + `"`
	if l.under != nil {
		from += " in the site's lexicon"
	}
	return Match{Class: ClassOf(e.class), Complexity: e.complexity, From: from}
}

// whole gives the first row whose name is one of the names.
func (l *Lexicon) whole(kind Kind, of []string) (entry, bool) {
	for _, e := range l.names[kind] {
		if slices.ContainsFunc(of, func(name string) bool { return Same(name, e.text) }) {
			return e, true
		}
	}
	return entry{}, false
}

// best gives the entry whose words all stand in the text: the one with the most words, then the longest, then the first.
func (l *Lexicon) best(text string) (entry, bool) {
	have := map[string]bool{}
	for _, w := range words(text) {
		have[w] = true
	}
	var found entry
	ok := false
	for _, e := range l.entries {
		if len(e.words) == 0 || slices.ContainsFunc(e.words, func(w string) bool { return !have[w] }) {
			continue
		}
		if !ok || len(e.words) > len(found.words) || (len(e.words) == len(found.words) && len(e.text) > len(found.text)) {
			found, ok = e, true
		}
	}
	return found, ok
}

func words(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsNumber(r) })
}
