package completeness_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/performed"
)

var day = time.Date(2026, 9, 14, 8, 0, 0, 0, time.UTC)

func rules() completeness.Rules {
	return completeness.Rules{Window: completeness.DefaultWindow, Grace: completeness.DefaultGrace, Now: day.AddDate(1, 0, 0)}
}

// step is procedure n of the patient with that number, in a room, on a day of its own.
func step(n int) completeness.Step {
	start := day.AddDate(0, 0, n)
	return completeness.Step{ID: fmt.Sprint("step ", n), Step: performed.Step{
		Source: performed.SourceCSV, Key: fmt.Sprint("id ", n), StudyUID: fmt.Sprint("2.25.", n), Accession: fmt.Sprint("A-", n), State: performed.Completed,
		Start: procedure.Moment{Time: start}, End: procedure.Moment{Time: start.Add(time.Hour)}, Room: "Hybrid 1",
		Patient: performed.Patient{Number: fmt.Sprint("P-", n), Issuer: "S", BirthDate: "1950-01-31", Sex: "F"},
	}}
}

// report is that of a step, some minutes after its start.
func report(s completeness.Step) completeness.Case {
	start := s.Start.Time.Add(17 * time.Minute)
	return completeness.Case{
		ID: "case of " + s.ID, StudyUID: s.StudyUID, Accession: s.Accession, Patients: []performed.Patient{s.Patient}, Start: start,
		Day: start.Format(time.DateOnly), Room: s.Room, Device: "device of " + s.Room,
	}
}

func TestOutcomes(t *testing.T) {
	type parts struct {
		step completeness.Step
		is   completeness.Case
	}
	tests := map[string]struct {
		change  func(p *parts)
		want    completeness.Outcome
		by, why string
	}{
		"by study":                         {func(*parts) {}, completeness.Reported, completeness.ByStudy, ""},
		"by study, on another day":         {func(p *parts) { p.is.Start = day.AddDate(-1, 0, 0) }, completeness.Reported, completeness.ByStudy, ""},
		"by study, patient unknown":        {func(p *parts) { p.is.Patients = []performed.Patient{{}} }, completeness.Reported, completeness.ByStudy, ""},
		"no study in the table":            {func(p *parts) { p.step.StudyUID = "" }, completeness.Reported, completeness.ByAccession, ""},
		"other study, same order":          {func(p *parts) { p.is.StudyUID = "2.25.999" }, completeness.Elsewhere, completeness.ByAccession, "another study"},
		"other study, order unknown":       {func(p *parts) { p.is.StudyUID, p.is.Accession = "2.25.999", "" }, completeness.Elsewhere, completeness.ByPatient, "another study"},
		"started before the record begins": {func(p *parts) { p.is.StudyUID, p.is.Accession, p.is.Start = "", "", day.Add(-119*time.Minute) }, completeness.Elsewhere, completeness.ByPatient, ""},
		"room in capitals":                 {func(p *parts) { p.is.StudyUID, p.is.Accession, p.is.Room = "", "", "HYBRID 1" }, completeness.Elsewhere, completeness.ByPatient, ""},
		"only a day is known": {func(p *parts) {
			p.is.StudyUID, p.is.Accession, p.is.Start = "", "", day.Add(9*time.Hour)
			p.step.Start, p.step.End = procedure.Moment{Time: day.Add(-8 * time.Hour), DateOnly: true}, procedure.Moment{}
		}, completeness.Elsewhere, completeness.ByPatient, ""},
		"linked record": {func(p *parts) {
			p.is.StudyUID, p.is.Accession = "", ""
			p.is.Patients = []performed.Patient{{Number: "OLD", Issuer: "S"}, p.step.Patient}
		}, completeness.Elsewhere, completeness.ByPatient, ""},

		"another patient in the study": {func(p *parts) { p.is.Patients = []performed.Patient{{Number: "Q", Issuer: "S"}} }, completeness.Missing, "", "study names another patient"},
		"another birth date": {func(p *parts) {
			p.is.Patients = []performed.Patient{{Number: "P-0", Issuer: "S", BirthDate: "1951-01-31"}}
		}, completeness.Missing, "", "study names another patient"},
		"another patient of the order": {func(p *parts) { p.is.StudyUID, p.is.Patients = "", []performed.Patient{{Number: "Q"}} }, completeness.Missing, "", "accession number names another patient"},
		"too far":                      {func(p *parts) { p.is.StudyUID, p.is.Accession, p.is.Start = "", "", day.Add(5*time.Hour) }, completeness.Missing, "", "4h0m0s away, wanted within 2h0m0s"},
		"another room":                 {func(p *parts) { p.is.StudyUID, p.is.Accession, p.is.Room = "", "", "Cath 2" }, completeness.Missing, "", "another room"},
		"a test object":                {func(p *parts) { p.is.StudyUID, p.is.Accession, p.is.QualityControl = "", "", true }, completeness.Missing, "", "test object"},
		"nothing near": {func(p *parts) {
			p.is.StudyUID, p.is.Accession, p.is.Patients = "", "", []performed.Patient{{Number: "Q"}}
		}, completeness.Missing, "", "none of the patient"},
		"within grace": {func(p *parts) { *p = parts{step: step(365)} }, completeness.Pending, "", ""},
		"excluded": {func(p *parts) {
			p.step.Excluded, p.is = performed.NotXRay, completeness.Case{ID: "x", StudyUID: "2.25.1000"}
		}, completeness.Excluded, "", ""},
		"excluded and reported": {func(p *parts) { p.step.Excluded = performed.Cancelled }, completeness.Excluded, completeness.ByStudy, "all the same"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			p := parts{step(0), report(step(0))}
			tt.change(&p)
			l := completeness.Compare([]completeness.Step{p.step}, []completeness.Case{p.is}, rules())
			require.Len(t, l.Rows, 1)
			row := l.Rows[0]
			assert.Equal(t, tt.want, row.Outcome)
			assert.Equal(t, tt.by, row.By)
			assert.Contains(t, fmt.Sprint(row.Why), tt.why)
			if tt.want == completeness.Missing {
				assert.NotEmpty(t, row.Why)
				assert.Equal(t, p.is.QualityControl, len(l.Unannounced) == 0, "a test object's report wants no procedure")
			} else if tt.by != "" {
				assert.Empty(t, l.Unannounced)
				assert.Equal(t, []string{p.is.ID}, row.Cases)
			}
		})
	}
}

// Two sources tell of one procedure, and a study on two devices has two cases: each counts once.
func TestNothingIsCountedTwice(t *testing.T) {
	table, announced := step(1), step(1)
	announced.ID, announced.Source, announced.Key, announced.Accession = "announced", performed.SourceMPPS, "2.25.77", ""
	order := step(1)
	order.ID, order.Key, order.StudyUID = "order", "accession A-1", ""
	second := report(step(1))
	second.ID, second.Device = "second device", "another device"
	l := completeness.Compare([]completeness.Step{table, order, announced}, []completeness.Case{second, report(step(1))}, rules())
	require.Len(t, l.Rows, 1)
	assert.Len(t, l.Rows[0].Steps, 3)
	assert.Len(t, l.Rows[0].Cases, 2)
	assert.Empty(t, l.Unannounced)
}

// Two procedures of one patient on one day in one room take the report that is theirs, and one report serves one of them.
func TestNearestReportIsTaken(t *testing.T) {
	morning, noon := step(1), step(1)
	noon.ID, noon.Key, noon.StudyUID, noon.Accession = "noon", "id noon", "2.25.88", "A-88"
	noon.Start.Time, noon.End.Time = noon.Start.Time.Add(3*time.Hour), noon.End.Time.Add(3*time.Hour)
	only := report(noon)
	only.StudyUID, only.Accession = "2.25.99", ""
	l := completeness.Compare([]completeness.Step{morning, noon}, []completeness.Case{only}, rules())
	assert.Equal(t, completeness.Missing, l.Rows[0].Outcome)
	assert.Equal(t, completeness.Elsewhere, l.Rows[1].Outcome)
	assert.Contains(t, l.Rows[0].Why[0].Reason, "belongs to another performed procedure")
}

// site is 1,000 performed procedures with 37 reports withheld and 12 filed under another study, and what should be found.
type site struct {
	steps              []completeness.Step
	cases              []completeness.Case
	missing, elsewhere []string
	unannounced        []string
}

func invented(rng *rand.Rand) site {
	var s site
	var twins []completeness.Step
	fate := rng.Perm(1000)
	withheld, moved := fate[:37], fate[37:49]
	rooms := []string{"Hybrid 1", "Cath 2", "Rhythm 3", "Neuro 4"}
	for n := range 1000 {
		one := step(n)
		one.Start.Time = day.AddDate(0, 0, n/20).Add(time.Duration(n%5) * 150 * time.Minute)
		one.End.Time = one.Start.Time.Add(time.Duration(20+rng.IntN(100)) * time.Minute)
		one.Room = rooms[n%20/5]
		if n%20%5 == 1 { // the patient of the case before it comes again in the same room
			one.Patient = s.steps[n-1].Patient
		}
		is := report(one)
		switch {
		case slices.Contains(withheld, n):
			s.missing = append(s.missing, one.ID)
		case slices.Contains(moved, n):
			s.elsewhere = append(s.elsewhere, one.ID)
			switch slices.Index(moved, n) % 3 {
			case 0: // a study that nobody knows, the order right
				is.StudyUID = fmt.Sprint("2.25.5000", n)
			case 1: // a study that nobody knows, the order lost
				is.StudyUID, is.Accession = fmt.Sprint("2.25.5000", n), ""
			case 2: // another patient's study and order
				is.StudyUID, is.Accession = fmt.Sprint("2.25.", (n+500)%1000), fmt.Sprint("A-", (n+500)%1000)
			}
			s.cases = append(s.cases, is)
		default:
			s.cases = append(s.cases, is)
		}
		switch rng.IntN(10) {
		case 0: // announced by the equipment as well
			twin := one
			twin.ID, twin.Source, twin.Key, twin.Accession = one.ID+" announced", performed.SourceMPPS, "2.25.6000"+fmt.Sprint(n), ""
			s.steps = append(s.steps, one)
			twins = append(twins, twin)
		case 1: // the table knows the order alone
			if !slices.Contains(moved, n) {
				one.StudyUID = ""
			}
			s.steps = append(s.steps, one)
		default:
			s.steps = append(s.steps, one)
		}
	}
	s.steps = append(s.steps, twins...)
	return s.withOthers()
}

// withOthers adds what must not disturb: rows of which no report is expected, reports of test objects, and three reports
// of procedures that nobody recorded.
func (s site) withOthers() site {
	for n := range 60 {
		one := step(2000 + n)
		one.Start.Time = day.AddDate(0, 0, n%50)
		one.Excluded = performed.Exclusions()[n%3]
		s.steps = append(s.steps, one)
	}
	for n := range 10 {
		c := report(step(3000 + n))
		c.QualityControl = true
		s.cases = append(s.cases, c)
	}
	for n := range 3 {
		c := report(step(4000 + n))
		s.cases = append(s.cases, c)
		s.unannounced = append(s.unannounced, c.ID)
	}
	return s
}

func found(l completeness.List, wanted completeness.Outcome) []string {
	var ids []string
	for _, row := range l.Rows {
		if row.Outcome == wanted {
			ids = append(ids, strings.TrimSuffix(row.Steps[0].ID, " announced"))
		}
	}
	return ids
}

// The exact list, nothing false, in 20 runs, each in another order of arrival.
func TestThousandProcedures(t *testing.T) {
	for run := range uint64(20) {
		rng := rand.New(rand.NewPCG(20260914, run))
		s := invented(rng)
		l := completeness.Compare(s.steps, s.cases, rules())
		assert.ElementsMatch(t, s.missing, found(l, completeness.Missing), "run %d", run)
		assert.ElementsMatch(t, s.elsewhere, found(l, completeness.Elsewhere), "run %d", run)
		assert.Len(t, found(l, completeness.Reported), 1000-37-12, "run %d", run)
		var unannounced []string
		for _, c := range l.Unannounced {
			unannounced = append(unannounced, c.ID)
		}
		assert.ElementsMatch(t, s.unannounced, unannounced, "run %d", run)
		rng.Shuffle(len(s.steps), func(i, j int) { s.steps[i], s.steps[j] = s.steps[j], s.steps[i] })
		rng.Shuffle(len(s.cases), func(i, j int) { s.cases[i], s.cases[j] = s.cases[j], s.cases[i] })
		require.Equal(t, l, completeness.Compare(s.steps, s.cases, rules()), "run %d in another order", run)
	}
}

// Whatever there is: no order of arrival leaves a trace, no case is taken twice, every case is somewhere.
func TestAnyOrderGivesTheSameList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		few := rapid.IntRange(0, 3)
		var steps []completeness.Step
		for i := range rapid.IntRange(0, 6).Draw(t, "steps") {
			s := step(few.Draw(t, "n"))
			s.ID, s.Key = fmt.Sprint("s", i), fmt.Sprint("k", i)
			s.Patient.Number = fmt.Sprint("P", few.Draw(t, "patient"))
			if rapid.Bool().Draw(t, "order alone") {
				s.StudyUID = ""
			}
			s.Start.Time = day.Add(time.Duration(few.Draw(t, "hour")) * time.Hour)
			s.End.Time = s.Start.Time.Add(30 * time.Minute)
			steps = append(steps, s)
		}
		var cases []completeness.Case
		for i := range rapid.IntRange(0, 6).Draw(t, "cases") {
			c := report(step(few.Draw(t, "n")))
			c.ID, c.Device = fmt.Sprint("c", i), fmt.Sprint("d", i)
			c.Patients = []performed.Patient{{Number: fmt.Sprint("P", few.Draw(t, "patient")), Issuer: "S"}}
			c.Start = day.Add(time.Duration(few.Draw(t, "hour")) * time.Hour)
			cases = append(cases, c)
		}
		want := completeness.Compare(steps, cases, rules())
		taken := map[string]int{}
		for _, row := range want.Rows {
			for _, id := range row.Cases {
				taken[id]++
			}
		}
		for _, c := range want.Unannounced {
			taken[c.ID]++
		}
		for _, c := range cases {
			require.Equal(t, 1, taken[c.ID], c.ID)
		}
		require.Equal(t, want, completeness.Compare(rapid.Permutation(steps).Draw(t, "other steps"), rapid.Permutation(cases).Draw(t, "other cases"), rules()))
	})
}

func TestScope(t *testing.T) {
	s := invented(rand.New(rand.NewPCG(1, 1)))
	l := completeness.Compare(s.steps, s.cases, rules())
	room := map[string]string{}
	for _, c := range s.cases {
		room[c.ID] = c.Room
	}
	roomOf := func(id string) string { return room[id] }
	whole := l.Counts()
	assert.Equal(t, completeness.Counts{Performed: 1060, Missing: 37, Elsewhere: 12, Reported: 951, Excluded: 60, Unannounced: 3}, whole)
	part := l.Within(completeness.Scope{Room: "Cath 2", From: "2026-09-15", To: "2026-09-20"}, roomOf)
	for _, row := range part.Rows {
		assert.Equal(t, "Cath 2", row.Steps[0].Room)
		assert.Contains(t, []string{"2026-09-15", "2026-09-16", "2026-09-17", "2026-09-18", "2026-09-19", "2026-09-20"}, row.Steps[0].Start.LocalDate())
	}
	assert.Len(t, part.Rows, 30, "six days of five")
	for _, row := range l.Within(completeness.Scope{Rooms: []string{"Neuro 4"}}, roomOf).Rows {
		for _, id := range row.Cases {
			assert.Equal(t, "Neuro 4", room[id], "a case of another room is not named")
		}
	}
}
