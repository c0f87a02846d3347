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
	patient int      // number of the patient in this run, from 1
	files   []string // the files that it came from
}

// summed is the sum over one patient's procedures in a window.
type summed struct {
	patient int
	sum     assessment.Sum
}

// line is what a run over files gives.
type line struct {
	cases    []assessed
	sums     []summed
	patients int
}

// follow takes reports the whole way: merged into procedures, assessed, added up for each patient.
func follow(r received, m assessment.Method, facts procedure.Facts) line {
	var l line
	numbers := map[string]int{}
	procedures := procedure.Merge(r.reports)
	slices.SortStableFunc(procedures, func(a, b procedure.Procedure) int {
		return strings.Compare(a.Start.LocalDate()+a.Start.Time.UTC().Format("T15:04:05"), b.Start.LocalDate()+b.Start.Time.UTC().Format("T15:04:05"))
	})
	for _, p := range procedures {
		key := patientKey(p)
		if numbers[key] == 0 {
			numbers[key] = len(numbers) + 1
		}
		a := assessed{Assessment: m.Assess(p, facts), patient: numbers[key]}
		for _, uid := range p.ReportUIDs {
			a.files = append(a.files, r.files[uid]...)
		}
		l.cases = append(l.cases, a)
	}
	l.patients = len(numbers)
	l.sums = addUp(l.cases, l.patients, m)
	return l
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
func addUp(cases []assessed, patients int, m assessment.Method) []summed {
	var sums []summed
	for patient := 1; patient <= patients; patient++ {
		var delivered []assessment.Delivered
		var days []string
		for _, c := range cases {
			if c.patient == patient {
				delivered = append(delivered, c.Delivered())
				days = append(days, c.Procedure.Start.LocalDate())
			}
		}
		slices.Sort(days)
		for _, day := range slices.Compact(days) {
			if sum := m.Sum(delivered, windowDays, day); sum.Procedures > 1 {
				sums = append(sums, summed{patient, sum})
			}
		}
	}
	return sums
}
