package completeness

import "slices"

// Scope narrows a list after the comparison: what lies outside must be compared as well, or a report beyond the edge would
// be missed. Empty fields do not narrow; Rooms is the caller's scope, nil every room.
type Scope struct {
	From, To string // local days, both included
	Room     string
	Rooms    []string
}

// Counts is how many performed procedures have each outcome, and how many reports belong to none.
type Counts struct {
	Performed, Missing, Elsewhere, Pending, Reported, Excluded, Unannounced int
}

// Within gives the part of a list that lies in a scope. Of cases in rooms outside of it nothing is told but the reason.
func (l List) Within(s Scope, roomOf func(caseID string) string) List {
	var out List
	for _, row := range l.Rows {
		first := row.Steps[0]
		if !s.holds(first.Start.LocalDate(), first.Room) {
			continue
		}
		if s.Rooms != nil {
			row.Why = slices.Clone(row.Why)
			for i, c := range row.Why {
				if !slices.Contains(s.Rooms, roomOf(c.Case)) {
					row.Why[i].Case = ""
				}
			}
			row.Cases = slices.DeleteFunc(slices.Clone(row.Cases), func(id string) bool { return !slices.Contains(s.Rooms, roomOf(id)) })
		}
		out.Rows = append(out.Rows, row)
	}
	for _, c := range l.Unannounced {
		if s.holds(c.Day, c.Room) {
			out.Unannounced = append(out.Unannounced, c)
		}
	}
	return out
}

func (s Scope) holds(day, room string) bool {
	return (s.From == "" || day >= s.From) && (s.To == "" || day <= s.To) && (s.Room == "" || room == s.Room) &&
		(s.Rooms == nil || slices.Contains(s.Rooms, room))
}

// Counts counts a list.
func (l List) Counts() Counts {
	c := Counts{Performed: len(l.Rows), Unannounced: len(l.Unannounced)}
	for _, row := range l.Rows {
		switch row.Outcome {
		case Missing:
			c.Missing++
		case Elsewhere:
			c.Elsewhere++
		case Pending:
			c.Pending++
		case Reported:
			c.Reported++
		case Excluded:
			c.Excluded++
		}
	}
	return c
}
