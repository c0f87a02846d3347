package naming

import (
	"cmp"
	"context"
	"maps"
	"slices"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

// Looked is what other rows of a site's lexicon would change.
type Looked struct {
	From, To string // the last 12 months, local days
	// Procedures are those that were looked at, Given those whose class a person said, which stays, Unread those of which is not
	// known yet what they are called: they are estimated anew in any case.
	Procedures, Given, Unread int
	// Moved are the procedures with another class or complexity, in the order of their ids.
	Moved []Moved
	// Moves counts them by what becomes of them, the most frequent first.
	Moves []Moves
	// ByClass tells that a level in force is for some classes alone; Flags are the procedures that would be flagged otherwise by
	// such a level, whose own class may stay when another procedure of the patient moves.
	ByClass bool
	Flags   []assessment.PreviewDifference
}

// Method says in words how Look came to its answer.
const Method = "each procedure of all times by its names alone, compared with the lexicon in force; levels that are for some classes are compared with the newest numbers of each procedure, alone and with those of its patient in the 60 days before. " +
	"Estimates may move with the class as well, by the region of the dose coefficients and by how totals relate to skin dose: how much, the list of differences says once they are made"

// Kind is a class with its complexity within it.
type Kind struct{ Class, Complexity string }

// Moved is a procedure that would be classed otherwise.
type Moved struct {
	ID, Day  string
	From, To Kind
}

// Moves counts procedures of one kind that would be another.
type Moves struct {
	From, To           Kind
	Procedures, Recent int
}

func kindOf(m lexicon.Match) Kind { return Kind{m.Class.ID, m.Complexity} }

// Look says what the rows would change of what is in force. table is that of the settings, levels those in force.
func Look(ctx context.Context, book Book, table *lexicon.Lexicon, levels level.Set, rows []lexicon.Row) (Looked, error) {
	l := Looked{To: book.Today(), ByClass: assessment.ByClass(levels)}
	var err error
	if l.From, err = year(l.To); err != nil {
		return l, err
	}
	before, _, err := inForce(ctx, book, table)
	if err != nil {
		return l, err
	}
	after, err := table.Over(rows)
	if err != nil {
		return l, err
	}
	cases, names, err := book.Called(ctx)
	if err != nil {
		return l, err
	}
	becomes := l.move(cases, lexicon.Moves(before, after, names))
	if !l.ByClass || len(becomes) == 0 {
		return l, nil
	}
	looked, err := previewed(ctx, book)
	if err != nil {
		return l, err
	}
	l.Flags = assessment.PreviewClasses(levels, looked, becomes)
	return l, nil
}

// move sorts the cases by what becomes of them, and gives the class that each of them would have.
func (l *Looked) move(cases []store.Called, moves map[string]lexicon.Move) map[string]string {
	becomes := map[string]string{}
	counted := map[Moves]*Moves{}
	for _, c := range cases {
		l.Procedures++
		m, moved := moves[c.Names]
		switch {
		case c.Given:
			l.Given++
			continue
		case c.Names == "":
			l.Unread++
			continue
		case !moved:
			continue
		}
		one := Moved{ID: c.CaseID, Day: c.Day, From: kindOf(m.From), To: kindOf(m.To)}
		l.Moved = append(l.Moved, one)
		becomes[c.CaseID] = one.To.Class
		key := Moves{From: one.From, To: one.To}
		if counted[key] == nil {
			counted[key] = &Moves{From: one.From, To: one.To}
		}
		counted[key].Procedures++
		if c.Day >= l.From {
			counted[key].Recent++
		}
	}
	for one := range maps.Values(counted) {
		l.Moves = append(l.Moves, *one)
	}
	slices.SortFunc(l.Moves, func(a, b Moves) int {
		return cmp.Or(cmp.Compare(b.Procedures, a.Procedures), cmp.Compare(a.From.Class, b.From.Class), cmp.Compare(a.From.Complexity, b.From.Complexity),
			cmp.Compare(a.To.Class, b.To.Class), cmp.Compare(a.To.Complexity, b.To.Complexity))
	})
	return becomes
}

// previewed gives every case as a preview of levels looks at it.
func previewed(ctx context.Context, book Book) ([]assessment.Previewed, error) {
	cases, err := book.Cases(ctx, store.Filter{})
	if err != nil {
		return nil, err
	}
	survivors, err := book.Survivors(ctx)
	if err != nil {
		return nil, err
	}
	looked := make([]assessment.Previewed, len(cases))
	for i, c := range cases {
		looked[i] = assessment.Previewed{ID: c.ID, Patient: cmp.Or(survivors[c.PatientID], c.PatientID), Delivered: ingest.Delivered(c)}
	}
	return looked, nil
}
