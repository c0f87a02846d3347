package ask

import (
	_ "embed"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"

	"afterbeam/internal/embedded"
	"afterbeam/internal/quantity"
)

//go:embed schedule.csv
var scheduleCSV string

//go:embed escalation.csv
var escalationCSV string

//go:embed grades.csv
var gradesCSV string

// ErrInvalid marks a schedule or an answer that cannot be used.
var ErrInvalid = errors.New("not usable")

// What the days of a row are counted from.
const (
	fromProcedure = "procedure"
	fromFlag      = "flag"
	fromAnswer    = "answer"
)

// Row is one line of a schedule.
type Row struct {
	Slot  string
	Kind  Kind
	Owner Role
	// Count is what the days are counted from: procedure, flag or answer. Working counts Monday to Friday alone.
	Count   string
	Working bool
	// From and Due are days; HasFrom tells whether there is a first one.
	From, Due int
	HasFrom   bool
	// IfPast is the day after the raising of the flag on which the ask is due when its own day is past; absent it is not made.
	IfPast quantity.Opt[float64]
	// State and Meaning say which flags make the ask; see the header of the table. Both are "" in a row made by an answer.
	State, Meaning string
	Kerma, PSD     quantity.Opt[quantity.Gray]
	// Grade is the least reaction that makes the ask, absent in a row made by flags.
	Grade quantity.Opt[float64]
	// CloseSuperseded and CloseSettled tell whether an open ask ends when its flags no longer hold or were settled.
	CloseSuperseded, CloseSettled bool
	Text, Source, Known           string
}

// Step is one rung of the ladder of an overdue ask.
type Step struct {
	Owner  Role
	Number int
	Days   int
	To     Role
	Source string
	Known  string
}

// MostDays is how far back a procedure may lie to be followed up: later than the last check of the default schedule nobody
// is asked, so that a back-fill of years floods nobody. Judgement.
const MostDays = 372

// Schedule is who is asked what, and who else is told when nothing happens.
type Schedule struct {
	Rows   []Row
	Ladder []Step
}

var builtIn = sync.OnceValue(func() Schedule {
	return embedded.Must(parse(strings.NewReader(scheduleCSV), strings.NewReader(escalationCSV)))
})

// Default gives the schedule of a new site.
func Default() Schedule {
	s := builtIn()
	return Schedule{Rows: slices.Clone(s.Rows), Ladder: slices.Clone(s.Ladder)}
}

// Parse reads a site's own schedule: CSV with the columns of the embedded file. The ladder stays the default. A schedule that
// asks nobody about a reached follow-up level is ErrInvalid.
func Parse(r io.Reader) (Schedule, error) {
	s, err := parse(r, strings.NewReader(escalationCSV))
	if err != nil {
		return s, err
	}
	if !slices.ContainsFunc(s.Rows, func(r Row) bool { return r.State == "reached" && (r.Meaning == "follow-up" || r.Meaning == anyMeaning) }) {
		return Schedule{}, fmt.Errorf("%w: no row asks anything when a follow-up level is reached", ErrInvalid)
	}
	return s, nil
}

// anyMeaning in a row is a level of whatever meaning; ofCase is the state of the case as a whole.
const (
	anyMeaning = "*"
	ofCase     = "case"
)

const (
	scheduleColumns   = "slot,kind,owner,count,days,from,due,if_past,state,meaning,kar_gy,psd_gy,grade,superseded,settled,text,source,known"
	escalationColumns = "owner,step,days,to,source,known"
)

func parse(schedule, ladder io.Reader) (Schedule, error) {
	var s Schedule
	err := table(schedule, scheduleColumns, func(f map[string]string) error {
		row, err := parseRow(f)
		s.Rows = append(s.Rows, row)
		return err
	})
	if err != nil {
		return Schedule{}, err
	}
	err = table(ladder, escalationColumns, func(f map[string]string) error {
		number, err1 := strconv.Atoi(f["step"])
		days, err2 := strconv.Atoi(f["days"])
		s.Ladder = append(s.Ladder, Step{Owner: Role(f["owner"]), Number: number, Days: days, To: Role(f["to"]), Source: f["source"], Known: f["known"]})
		return errors.Join(err1, err2)
	})
	return s, err
}

func parseRow(f map[string]string) (Row, error) {
	r := Row{
		Slot: f["slot"], Kind: Kind(f["kind"]), Owner: Role(f["owner"]), Count: f["count"], Working: f["days"] == "working", State: f["state"], Meaning: f["meaning"],
		CloseSuperseded: f["superseded"] == "close", CloseSettled: f["settled"] == "close", Text: f["text"], Source: f["source"], Known: f["known"],
	}
	for _, want := range []struct {
		column  string
		allowed []string
	}{
		{"owner", []string{string(Operator), string(Physicist)}},
		{"count", []string{fromProcedure, fromFlag, fromAnswer}},
		{"days", []string{"calendar", "working"}},
		{"superseded", []string{"close", "keep"}},
		{"settled", []string{"close", "keep"}},
		{"state", []string{"reached", "near", "unknown", "pregnant", ""}},
	} {
		if !slices.Contains(want.allowed, f[want.column]) {
			return r, fmt.Errorf("%s wants %s, got %q", want.column, strings.Join(want.allowed, ", "), f[want.column])
		}
	}
	switch {
	case r.Slot == "" || r.Text == "" || r.Source == "" || r.Known == "":
		return r, errors.New("slot, text, source and known are wanted")
	case !slices.Contains(Kinds(), r.Kind):
		return r, fmt.Errorf("kind wants one of %v, got %q", Kinds(), f["kind"])
	case (r.State == "") != (r.Meaning == ""):
		return r, errors.New("state and meaning go together")
	}
	return r, r.readNumbers(f)
}

func (r *Row) readNumbers(f map[string]string) error {
	var errs []error
	number := func(column string) quantity.Opt[float64] {
		if f[column] == "" {
			return quantity.None[float64]()
		}
		v, err := strconv.ParseFloat(f[column], 64)
		if err != nil || !(v >= 0) || v > 1e6 {
			errs = append(errs, fmt.Errorf("%s wants a number from 0, got %q", column, f[column]))
		}
		return quantity.Some(v)
	}
	from, due, past := number("from"), number("due"), f["if_past"]
	r.HasFrom, r.From, r.Due = from.Present(), int(from.Or(0)), int(due.Or(0))
	if past != "skip" {
		if r.IfPast = number("if_past"); !r.IfPast.Present() {
			errs = append(errs, errors.New("if_past wants skip or a number of days"))
		}
	}
	kerma, psd := number("kar_gy"), number("psd_gy")
	r.Kerma, r.PSD = gray(kerma), gray(psd)
	r.Grade = number("grade")
	switch {
	case !due.Present():
		errs = append(errs, errors.New("due wants a number of days"))
	case r.HasFrom && r.From > r.Due:
		errs = append(errs, fmt.Errorf("from %d is after due %d", r.From, r.Due))
	case (r.State == "") != r.Grade.Present():
		errs = append(errs, errors.New("a row wants either state and meaning, or a grade"))
	case r.Grade.Present() && r.Count == fromFlag, !r.Grade.Present() && r.Count == fromAnswer:
		errs = append(errs, errors.New("count wants procedure or answer with a grade, procedure or flag without one"))
	}
	return errors.Join(errs...)
}

func gray(v quantity.Opt[float64]) quantity.Opt[quantity.Gray] {
	n, ok := v.Get()
	if !ok {
		return quantity.None[quantity.Gray]()
	}
	return quantity.Some(quantity.Gray(n))
}

// Tables gives the embedded tables by name, so that a program can say which ones it holds.
func Tables() map[string]string {
	return map[string]string{"follow-up schedule": scheduleCSV, "escalation": escalationCSV, "grades": gradesCSV}
}
