package completeness

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"afterbeam/internal/procedure/performed"
)

// Step is a performed step as the comparison needs it.
type Step struct {
	ID string
	performed.Step
}

// Case is a procedure of which a dose report came.
type Case struct {
	ID                  string
	StudyUID, Accession string
	// Patients are the identities that stand for the patient: that of the report, and those of records linked to it.
	Patients []performed.Patient
	Start    time.Time
	Day      string // local, 2006-01-02
	Room     string
	Device   string
	// QualityControl marks a report about a test object, of which no performed procedure is to be expected.
	QualityControl bool
}

// Defaults of Rules. Source: judgement, from how far the beginning in a hospital's record and the first irradiation may
// lie apart, and how late reports come: common practice, no source.
const (
	DefaultWindow = 2 * time.Hour
	DefaultGrace  = 24 * time.Hour
)

// Rules are what a site decides about the comparison.
type Rules struct {
	// Window is how far apart a performed procedure and a report of the same patient and room may lie.
	Window time.Duration
	// Grace is how long after its end a procedure may be without a report before it counts as missing.
	Grace time.Duration
	Now   time.Time
}

// Outcome is what became of a performed procedure.
type Outcome string

// The outcomes.
const (
	Reported  Outcome = "reported"
	Elsewhere Outcome = "filed under another study"
	Missing   Outcome = "missing"
	Pending   Outcome = "within grace"
	Excluded  Outcome = "excluded"
)

// Outcomes lists the outcomes.
func Outcomes() []Outcome { return []Outcome{Missing, Elsewhere, Pending, Reported, Excluded} }

// How a report was found.
const (
	ByStudy     = "study UID"
	ByAccession = "accession number"
	ByPatient   = "patient, time and room"
)

// Candidate is a report that does not fit, with the reason.
type Candidate struct{ Case, Reason string }

// Row is one performed procedure: all steps that tell of it, and what became of it.
type Row struct {
	Steps   []Step // the first is shown
	Outcome Outcome
	By      string   // how its reports were found, "" without one
	Cases   []string // the cases of its reports
	// Why says of a missing one what came near, nearest first; the last may say that nothing did.
	Why []Candidate
}

// List is the result.
type List struct {
	Rows []Row // by start
	// Unannounced are the cases of which no performed procedure is known, by start.
	Unannounced []Case
}

// Compare finds the reports of each performed procedure: by study UID first, then by accession number, then by patient,
// time and room. No report is taken twice, except that all cases of one study go together. An identity that speaks
// against another never joins, whatever the UIDs say: somebody has to look.
func Compare(steps []Step, cases []Case, r Rules) List {
	m := newMatcher(steps, cases, r)
	m.byStudy()
	m.byAccession()
	m.byPatient()
	return m.list()
}

// group is one performed procedure.
type group struct {
	steps []Step
	by    string
	cases []*candidate
}

// candidate is a case that may be claimed by one group.
type candidate struct {
	Case
	owner *group
}

func (g *group) first() Step { return g.steps[0] }

// study and accession are those that a step of the group gives.
func (g *group) study() string {
	return g.pick(func(s Step) string { return s.StudyUID })
}

func (g *group) accession() string {
	return g.pick(func(s Step) string { return s.Accession })
}

func (g *group) pick(of func(Step) string) string {
	for _, s := range g.steps {
		if v := of(s); v != "" {
			return v
		}
	}
	return ""
}

func (g *group) excluded() bool {
	return !slices.ContainsFunc(g.steps, func(s Step) bool { return s.Excluded == performed.NotExcluded })
}

// waiting tells whether a report may still come in time.
func (g *group) waiting(r Rules) bool {
	for _, s := range g.steps {
		last := s.Start.Time
		if s.End.Time.After(last) {
			last = s.End.Time
		}
		if s.Start.DateOnly {
			last = last.AddDate(0, 0, 1)
		}
		if r.Now.Before(last.Add(r.Grace)) {
			return true
		}
	}
	return false
}

// agrees tells whether no step's patient speaks against the case's; same whether one names the same patient.
func (g *group) agrees(c *candidate) bool {
	return !slices.ContainsFunc(g.steps, func(s Step) bool {
		return !slices.ContainsFunc(c.Patients, s.Patient.Agrees)
	})
}

func (g *group) same(c *candidate) bool {
	return g.agrees(c) && slices.ContainsFunc(g.steps, func(s Step) bool {
		return slices.ContainsFunc(c.Patients, s.Patient.Same)
	})
}

// distance is how far a case lies outside of the group's time; ok is false when that is not known.
func (g *group) distance(c *candidate) (apart time.Duration, ok bool) {
	if c.Start.IsZero() {
		return 0, false
	}
	for _, s := range g.steps {
		d := outside(s, c.Case)
		if !ok || d < apart {
			apart, ok = d, true
		}
	}
	return apart, ok
}

func outside(s Step, c Case) time.Duration {
	from, to := s.Start.Time, s.Start.Time
	if s.End.Time.After(to) {
		to = s.End.Time
	}
	if s.Start.DateOnly {
		if s.Start.LocalDate() == c.Day {
			return 0
		}
		to = from.AddDate(0, 0, 1)
	}
	switch {
	case c.Start.Before(from):
		return from.Sub(c.Start)
	case c.Start.After(to):
		return c.Start.Sub(to)
	}
	return 0
}

// place tells whether a case may be of the group's room or equipment; what is not known speaks against nothing.
func (g *group) place(c *candidate) bool {
	if c.Room == "" {
		return true
	}
	return slices.ContainsFunc(g.steps, func(s Step) bool {
		return s.Room == "" || strings.EqualFold(s.Room, c.Room) || (s.Station != "" && c.Device == "station|"+s.Station)
	})
}

func orderSteps(a, b Step) int {
	return cmp.Or(
		a.Start.Time.Compare(b.Start.Time), cmp.Compare(a.StudyUID, b.StudyUID), cmp.Compare(a.Accession, b.Accession),
		cmp.Compare(a.Source, b.Source), cmp.Compare(a.Key, b.Key),
	)
}

func orderCases(a, b Case) int {
	return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.StudyUID, b.StudyUID), cmp.Compare(a.Device, b.Device), cmp.Compare(a.ID, b.ID))
}
