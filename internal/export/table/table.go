package table

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"time"
)

// The kinds of errors.
var (
	// ErrInvalid marks a table that contradicts itself and a row that does not fit its table.
	ErrInvalid = errors.New("invalid table")
	// ErrTooLong marks a row or text for which a workbook has no place.
	ErrTooLong = errors.New("too long for a workbook")
)

// Kind is what the cells of a column are.
type Kind string

// The kinds.
const (
	Text   Kind = "text"
	ID     Kind = "id"     // a text that is never a number, whatever it looks like
	Number Kind = "number" // in Unit, with Decimals
	Date   Kind = "date"   // a day of the calendar, without zone
	Time   Kind = "time"   // a moment; files for people show it in the table's Zone
)

// Column is one column.
type Column struct {
	// Name is the machine's, stable: lower case, words parted by underscores, ending with the unit: kar_gy.
	Name string
	// Title is what people read, unique in the table. Its unit is added to it.
	Title string
	Kind  Kind
	// Unit is the UCUM code of a number, "" for none.
	Unit string
	// Decimals is how many digits a number has after the point, the same in each file.
	Decimals int
	// Meaning says in a sentence what the column holds, Source where it comes from.
	Meaning, Source string
	// Reasoned adds a column Name_absent with why a value is not there.
	Reasoned bool
}

// Pair is a name with its value, for filters and methods.
type Pair struct{ Name, Value string }

// Table is what a table is, without its rows.
type Table struct {
	// Name is the machine's, Version goes up when a reader of it would break, Title is what people read.
	Name    string
	Version int
	Title   string
	Columns []Column
	// Language of words that the files add, "en" or "de".
	Language string
	// Zone is in which files for people give times; nil is UTC. ZoneName says which it is, "" for the name of Zone.
	Zone     *time.Location
	ZoneName string
	// Program is the version of the program, Made when, Filters by what the rows were chosen, Methods what figures go by,
	// Notes what has to be known, such as that these are estimates.
	Program          string
	Made             time.Time
	Filters, Methods []Pair
	Notes            []string
}

var nameForm = regexp.MustCompile(`^[a-z][a-z0-9]*(_[a-z0-9]+)*$`)

// Validate returns ErrInvalid with the column that is wrong.
func (t Table) Validate() error {
	if !nameForm.MatchString(t.Name) || t.Version < 1 || len(t.Columns) == 0 {
		return fmt.Errorf("%w: %q wants a name of lower-case words, a version from 1 and columns", ErrInvalid, t.Name)
	}
	names, titles := map[string]bool{}, map[string]bool{}
	for _, c := range t.cells() {
		switch {
		case !nameForm.MatchString(c.Name), c.Title == "":
			return fmt.Errorf("%w %s: column %q wants a name of lower-case words and a title", ErrInvalid, t.Name, c.Name)
		case names[c.Name] || titles[c.head()]:
			return fmt.Errorf("%w %s: column %q or its title stands twice", ErrInvalid, t.Name, c.Name)
		case !slices.Contains([]Kind{Text, ID, Number, Date, Time}, c.Kind):
			return fmt.Errorf("%w %s: column %q is of no kind", ErrInvalid, t.Name, c.Name)
		case !c.printable():
			return fmt.Errorf("%w %s: column %q: a number alone has a unit and 0 to %d decimals", ErrInvalid, t.Name, c.Name, maxDecimals)
		}
		names[c.Name], titles[c.head()] = true, true
	}
	return nil
}

const maxDecimals = 12

// printable tells that unit and decimals go with the kind.
func (c Column) printable() bool {
	if c.Kind != Number {
		return c.Unit == "" && c.Decimals == 0
	}
	return c.Decimals >= 0 && c.Decimals <= maxDecimals
}

// head is the title with its unit.
func (c Column) head() string {
	if c.Unit == "" || c.Unit == "1" {
		return c.Title
	}
	return c.Title + " (" + c.Unit + ")"
}

// cells are the columns as they stand in the files, those of reasons among them.
func (t Table) cells() []Column {
	var all []Column
	w := t.words()
	for _, c := range t.Columns {
		all = append(all, c)
		if c.Reasoned {
			all = append(all, Column{
				Name: c.Name + "_absent", Title: w.Text("table.absent", "title", c.Title), Kind: Text,
				Meaning: w.Text("table.absent_meaning", "title", c.Title),
			})
		}
	}
	return all
}

// zone is the location that files for people give times in.
func (t Table) zone() *time.Location {
	if t.Zone == nil {
		return time.UTC
	}
	return t.Zone
}

func (t Table) zoneName() string {
	if t.ZoneName != "" {
		return t.ZoneName
	}
	return t.zone().String()
}
