package main

import (
	"fmt"
	"slices"
	"strings"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/procedure"
)

// windowDays is the window over which a folder's procedures of one patient are added up.
// Source: SIR 2009 (Stecker et al, J Vasc Interv Radiol 20:S263; known from memory): doses within 60 days count as additive.
const windowDays = 60

// assessed is one procedure of a run.
type assessed struct {
	assessment.Assessment
	patient int      // number of the patient in this run, from 1; 0 for a test object
	files   []string // the files that it came from
	drawn   string   // the picture of its map, "" for none
	organs  *organs  // nil when nobody asked
}

// quality tells a case of a test object.
func (a assessed) quality() bool { return a.Procedure.Purpose == procedure.PurposeQualityControl }

// name names a case by its files, or its study where they are not known.
func (a assessed) name() string {
	const shown = 3
	switch {
	case len(a.files) == 0:
		return "study " + a.Procedure.StudyUID
	case len(a.files) > shown:
		return fmt.Sprintf("%s and %d more", strings.Join(a.files[:shown], ", "), len(a.files)-shown)
	}
	return strings.Join(a.files, ", ")
}

func patientName(n int) string { return fmt.Sprintf("patient %d", n) }

// summed is the sum over one patient's procedures in a window.
type summed struct {
	patient int
	sum     assessment.Sum
	dates   []string // local days of the procedures
	drawn   string
}

// line is what a run over files gives.
type line struct {
	cases    []assessed
	sums     []summed
	patients int
	notes    []string // what the sums may lack
}

// follow takes reports the whole way: merged into procedures, assessed, added up for each patient.
func follow(r received, m assessment.Method, facts procedure.Facts) line {
	var l line
	numbers := map[string]int{}
	for _, p := range inOrder(procedure.Merge(r.reports)) {
		a := assessed{Assessment: m.Assess(p, facts)}
		if !a.quality() {
			key := patientKey(p)
			if numbers[key] == 0 {
				numbers[key] = len(numbers) + 1
			}
			a.patient = numbers[key]
		}
		for _, uid := range p.ReportUIDs {
			a.files = append(a.files, r.files[uid]...)
		}
		l.cases = append(l.cases, a)
	}
	l.patients = len(numbers)
	l.sums = addUp(l.cases, l.patients, m)
	l.notes = doubts(l.cases)
	return l
}

// inOrder sorts procedures by their start, those without one first, and by study and device at the same time.
func inOrder(all []procedure.Procedure) []procedure.Procedure {
	slices.SortStableFunc(all, func(a, b procedure.Procedure) int {
		if c := a.Start.Time.Compare(b.Start.Time); c != 0 {
			return c
		}
		return strings.Compare(a.StudyUID+" "+a.DeviceKey, b.StudyUID+" "+b.DeviceKey)
	})
	return all
}

// patientKey joins procedures of one patient: number, issuer and birth date together. Without a number nothing joins but
// the study.
func patientKey(p procedure.Procedure) string {
	if p.Patient.ID == "" {
		return "study " + p.StudyUID
	}
	return fmt.Sprintf("%q %q %q", p.Patient.ID, p.Patient.Issuer, p.Patient.BirthDate)
}

// addUp gives, for each procedure that others of the same patient came before within the window, the sum up to its day.
// A procedure without a date lies in no window.
func addUp(cases []assessed, patients int, m assessment.Method) []summed {
	var sums []summed
	for patient := 1; patient <= patients; patient++ {
		var delivered []assessment.Delivered
		var days []string
		for _, c := range cases {
			if day := c.Procedure.Start.LocalDate(); c.patient == patient && day != "" {
				delivered = append(delivered, c.Delivered())
				days = append(days, day)
			}
		}
		slices.Sort(days)
		for _, day := range slices.Compact(slices.Clone(days)) {
			if sum := m.Sum(delivered, windowDays, day); sum.Procedures > 1 {
				in := slices.DeleteFunc(slices.Clone(days), func(d string) bool { return d < sum.From || d > sum.To })
				sums = append(sums, summed{patient: patient, sum: sum, dates: in})
			}
		}
	}
	return sums
}

// doubts tells why sums over procedures may lack some: no date, no patient number, or one number that stands with other
// issuers or birth dates.
func doubts(cases []assessed) []string {
	var notes, undated, unnumbered, order []string
	same := map[string][]string{}
	for _, c := range cases {
		if c.quality() {
			continue
		}
		name := patientName(c.patient)
		if c.Procedure.Start.LocalDate() == "" {
			undated = append(undated, name)
		}
		id := c.Procedure.Patient.ID
		if id == "" {
			unnumbered = append(unnumbered, name)
			continue
		}
		if same[id] == nil {
			order = append(order, id)
		}
		same[id] = append(same[id], name)
	}
	if names := once(undated); names != nil {
		notes = append(notes, "in no sum, since a report gives no date: a procedure of "+strings.Join(names, ", "))
	}
	if names := once(unnumbered); names != nil {
		notes = append(notes, "in no sum, since the report has no patient number: "+strings.Join(names, ", "))
	}
	for _, id := range order {
		if names := once(same[id]); len(names) > 1 {
			notes = append(notes, "NOT added up, though the patient number is the same, since issuer or birth date differ: "+strings.Join(names, ", ")+
				"; find out whether they are one person")
		}
	}
	return notes
}

// once gives the names in order without repetition.
func once(names []string) []string {
	var kept []string
	for _, n := range names {
		if !slices.Contains(kept, n) {
			kept = append(kept, n)
		}
	}
	return kept
}
