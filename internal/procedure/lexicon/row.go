package lexicon

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strings"

	"afterbeam/internal/embedded"
)

// Kind says what a row of a lexicon is compared with.
type Kind string

// The kinds.
const (
	KindCode        Kind = "code"        // value|scheme of a procedure code
	KindDescription Kind = "description" // the whole description of a study or of its performed step
	KindProtocol    Kind = "protocol"    // the whole protocol name of an event
	KindText        Kind = "text"        // words that all stand in the description, or in the protocol names
)

// Kinds lists the kinds.
func Kinds() []Kind { return []Kind{KindDescription, KindProtocol, KindCode, KindText} }

// Complexities lists what a procedure of one class may be within it; "" is not known.
func Complexities() []string { return []string{"", "simple", "standard", "complex"} }

// Row is a line of a lexicon as people write it: what goes by which class.
type Row struct {
	Kind              Kind
	Match             string
	Class, Complexity string
}

const columns = "kind,match,class,complexity"

// rowOf reads the fields of a line.
func rowOf(f []string) Row { return Row{Kind: Kind(f[0]), Match: f[1], Class: f[2], Complexity: f[3]} }

// Key tells rows about the same thing by one text.
func (r Row) Key() string {
	match := strings.Join(words(r.Match), " ")
	if r.Kind == KindCode {
		match = r.Match
	}
	return string(r.Kind) + " " + match
}

// Same tells whether two names are one: their words in their order, in any case.
func Same(a, b string) bool { return a == b || slices.Equal(words(a), words(b)) }

// Nameable tells whether a name can be told by a lexicon: it has a letter or a number.
func Nameable(name string) bool { return len(words(name)) > 0 }

// Rows gives the rows of this lexicon, without those of the table that it stands over.
func (l *Lexicon) Rows() []Row {
	var all []Row
	for _, kind := range []Kind{KindDescription, KindProtocol} {
		for _, e := range l.names[kind] {
			all = append(all, Row{kind, e.text, e.class, e.complexity})
		}
	}
	for _, e := range l.entries {
		kind := KindText
		if !e.code.IsZero() {
			kind = KindCode
		}
		all = append(all, Row{kind, e.text, e.class, e.complexity})
	}
	return all
}

// longestMatch bounds what a row may say, in bytes: the longest description and protocol name of a report are shorter.
const longestMatch = 500

// Over gives the lexicon in which a site's rows stand over this one. It returns ErrInvalid naming the row for one that cannot
// be used or that is about the same as an earlier one. No rows are this lexicon.
func (l *Lexicon) Over(rows []Row) (*Lexicon, error) {
	if len(rows) == 0 {
		return l, nil
	}
	site := &Lexicon{names: map[Kind][]entry{}, under: l}
	seen := map[string]bool{}
	for i, r := range rows {
		err := site.add(r)
		switch {
		case err != nil:
		case seen[r.Key()]:
			err = fmt.Errorf("%s %q stands there twice", r.Kind, r.Match)
		case len(r.Match) > longestMatch:
			err = fmt.Errorf("match wants at most %d bytes", longestMatch)
		}
		if err != nil {
			return nil, fmt.Errorf("%w: row %d: %w", ErrInvalid, i+1, err)
		}
		seen[r.Key()] = true
	}
	return site, nil
}

// ReadRows reads rows as Parse does, without looking into them; a site that has none of its own has the line of columns alone.
func ReadRows(r io.Reader) ([]Row, error) {
	var all []Row
	err := embedded.Each(r, columns, func(_ int, f []string) error {
		all = append(all, rowOf(f))
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return all, nil
}

// WriteRows writes rows so that ReadRows reads them.
func WriteRows(w io.Writer, rows []Row) error {
	table := csv.NewWriter(w)
	lines := [][]string{strings.Split(columns, ",")}
	for _, r := range rows {
		lines = append(lines, []string{string(r.Kind), r.Match, r.Class, r.Complexity})
	}
	return table.WriteAll(lines)
}

// Digest names the table below a site's rows, with the first 12 digits of a SHA-256.
func (l *Lexicon) Digest() string {
	for l.under != nil {
		l = l.under
	}
	sum := sha256.New()
	_, _ = fmt.Fprintf(sum, "%+v", &struct{ entries []entry }{l.entries}) // a hash never fails
	for _, kind := range Kinds() {
		for _, e := range l.names[kind] {
			_, _ = fmt.Fprintf(sum, "%s %+v", kind, e)
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:6])
}
