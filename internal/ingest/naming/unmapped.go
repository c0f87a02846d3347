package naming

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// Book is what this package asks of the store. store.DB is one.
type Book interface {
	Called(ctx context.Context) ([]store.Called, map[string]lexicon.Names, error)
	LexiconInForce(ctx context.Context) (int, []lexicon.Row, error)
	Cases(ctx context.Context, f store.Filter) ([]store.Case, error)
	Survivors(ctx context.Context) (map[string]string, error)
	Today() string
}

// List is the names of procedures that the lexicon does not know.
type List struct {
	From, To string // the last 12 months, local days
	// Procedures are those of which no name tells a class, quality-control exposures aside, Recent those of the last 12 months among them, Given those whose
	// class a person said.
	Procedures, Recent, Given int
	// Nameless are those among them that have no name at all, Unread those of which is not known yet what they are called.
	Nameless, Unread int
	Names            []Name
}

// Name is a name by which procedures go that the lexicon does not know.
type Name struct {
	Kind               lexicon.Kind
	Match              string // as a row of the lexicon would have it
	Title              string // what a code means, as the reports say
	Procedures, Recent int
	LastDay            string // local day of the last of them, "" when not known
}

// year gives the local days of the last 12 months.
func year(today string) (from string, err error) {
	end, err := time.Parse(time.DateOnly, today)
	if err != nil {
		return "", fmt.Errorf("day of today: %w", err)
	}
	return end.AddDate(-1, 0, 0).Format(time.DateOnly), nil
}

// inForce gives the lexicon in force over the table of the settings, and its version.
func inForce(ctx context.Context, book Book, table *lexicon.Lexicon) (*lexicon.Lexicon, int, error) {
	version, rows, err := book.LexiconInForce(ctx)
	if err != nil {
		return nil, 0, err
	}
	now, err := table.Over(rows)
	return now, version, err
}

// Unmapped lists the names that the lexicon in force does not know, the most frequent of the last 12 months first. table is
// that of the settings.
func Unmapped(ctx context.Context, book Book, table *lexicon.Lexicon) (List, error) {
	l := List{To: book.Today()}
	var err error
	if l.From, err = year(l.To); err != nil {
		return l, err
	}
	now, _, err := inForce(ctx, book, table)
	if err != nil {
		return l, err
	}
	cases, names, err := book.Called(ctx)
	if err != nil {
		return l, err
	}
	unknown := map[string][]lexicon.Row{}
	for key, n := range names {
		if now.Of(n).Class.ID == lexicon.Unclassified {
			unknown[key] = n.Rows()
		}
	}
	counted := map[string]*Name{}
	for _, c := range cases {
		rows, is := unknown[c.Names]
		switch {
		case c.Quality:
			continue
		case c.Names == "":
			l.Unread++
			continue
		case !is:
			continue
		}
		l.count(c, len(rows) == 0)
		for _, r := range rows {
			one := counted[r.Key()]
			if one == nil {
				one = &Name{Kind: r.Kind, Match: r.Match, Title: titleOf(names[c.Names], r)}
				counted[r.Key()] = one
			}
			one.count(c, r.Match, l.From)
		}
	}
	for _, one := range counted {
		l.Names = append(l.Names, *one)
	}
	slices.SortFunc(l.Names, byFrequency)
	return l, nil
}

func (l *List) count(c store.Called, nameless bool) {
	l.Procedures++
	if c.Day >= l.From {
		l.Recent++
	}
	if c.Given {
		l.Given++
	}
	if nameless {
		l.Nameless++
	}
}

// count adds a case; the name is shown as it was written last.
func (n *Name) count(c store.Called, written, from string) {
	n.Procedures++
	if c.Day >= from {
		n.Recent++
	}
	if c.Day > n.LastDay || (c.Day == n.LastDay && written > n.Match) {
		n.LastDay, n.Match = c.Day, written
	}
}

func titleOf(n lexicon.Names, r lexicon.Row) string {
	if r.Kind != lexicon.KindCode {
		return ""
	}
	for _, code := range n.Codes {
		if code.Value+"|"+code.Scheme == r.Match {
			return code.Meaning
		}
	}
	return ""
}

// byFrequency puts the most frequent name first, and of equally frequent ones a description, which says most.
func byFrequency(a, b Name) int {
	kind := func(n Name) int { return slices.Index(lexicon.Kinds(), n.Kind) }
	return cmp.Or(cmp.Compare(b.Recent, a.Recent), cmp.Compare(b.Procedures, a.Procedures), cmp.Compare(kind(a), kind(b)), cmp.Compare(a.Match, b.Match))
}
