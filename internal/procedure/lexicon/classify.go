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
	// From says what decided, such as `description "branched aortic repair"`; it repeats the lexicon's own words, never
	// the report's.
	From string
}

// Classify gives the class of a procedure. Procedure codes decide first, then the descriptions of the study, then the
// protocol names of the events; what matches nothing is Unclassified.
func (l *Lexicon) Classify(p procedure.Procedure) Match {
	for _, code := range p.Study.ProcedureCodes {
		for _, e := range l.entries {
			if !e.code.IsZero() && code.Is(e.code.Value, e.code.Scheme) {
				return e.match("procedure code")
			}
		}
	}
	if e, ok := l.best(p.Study.Description + " " + p.Study.Performed); ok {
		return e.match("description")
	}
	var protocols []string
	for _, e := range p.Events {
		if !slices.Contains(protocols, e.Protocol) {
			protocols = append(protocols, e.Protocol)
		}
	}
	slices.Sort(protocols)
	if e, ok := l.best(strings.Join(protocols, " ")); ok {
		return e.match("protocol names")
	}
	return Match{Class: ClassOf(Unclassified), From: "nothing in the report matches the lexicon"}
}

func (e entry) match(by string) Match {
	return Match{Class: ClassOf(e.class), Complexity: e.complexity, From: by + ` matches "` + e.text + `"`}
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
