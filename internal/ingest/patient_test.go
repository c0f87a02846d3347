package ingest_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/ingest"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// scopes gives the scopes that a version's flags have, in order.
func scopes(v store.Version) []string {
	var all []string
	for _, f := range v.Flags {
		if len(all) == 0 || all[len(all)-1] != f.Scope {
			all = append(all, f.Scope)
		}
	}
	return all
}

const alone, two = "this procedure", "2 procedures in 60 days"

// TestTheSumOfSixtyDaysIsFlagged has two stages, 36 days apart, that reach a level together only.
func TestTheSumOfSixtyDaysIsFlagged(t *testing.T) {
	one, later := scene(t, stageOne, 75), scene(t, stageTwo, 75)
	for name, order := range map[string][]procedure.Report{"in order": {one, later}, "the earlier one late": {later, one}} {
		t.Run(name, func(t *testing.T) {
			r := newRig(t)
			for _, report := range order {
				r.send(t, report)
				r.work(t)
			}
			first, second := r.the(t, one.StudyUID), r.the(t, later.StudyUID)
			assert.Equal(t, []string{alone}, scopes(first), "the window ends on the day of the case")
			assert.Equal(t, []string{alone, two}, scopes(second))
			sum := first.Case.Kerma.Or(0) + second.Case.Kerma.Or(0)
			found := false
			for _, f := range second.Flags {
				if f.Scope == two && f.Quantity == "kar" {
					found = true
					assert.InDelta(t, float64(sum), f.Value.Or(0), 1e-9) // one addition
				}
			}
			assert.True(t, found, "%+v", second.Flags)
			if name == "the earlier one late" {
				assert.Equal(t, 2, second.Number)
				assert.Contains(t, second.Change, "the sum with the patient's other procedures is another")
				assert.Equal(t, 1, first.Number)
			}
			require.NotContains(t, r.log.String(), "failed")
		})
	}
}

func TestCasesOutsideTheWindowAreLeftAlone(t *testing.T) {
	r := newRig(t)
	one, later := scene(t, stageOne, 4), scene(t, stageTwo, 4)
	move := func(report procedure.Report, days int) procedure.Report {
		report.Study.Date.Time = report.Study.Date.Time.AddDate(0, 0, days)
		report.Content.Time = report.Content.Time.AddDate(0, 0, days)
		report.Events = append([]procedure.Event(nil), report.Events...)
		for i := range report.Events {
			report.Events[i].Start.Time = report.Events[i].Start.Time.AddDate(0, 0, days)
		}
		return report
	}
	r.send(t, one, move(later, 24)) // 36 and 24 days: the sixtieth day after
	r.work(t)
	assert.Equal(t, []string{alone}, scopes(r.the(t, later.StudyUID)))

	r = newRig(t)
	r.send(t, one, move(later, 23))
	r.work(t)
	assert.Equal(t, []string{alone, two}, scopes(r.the(t, later.StudyUID)))
}

func TestALinkRefreshesTheWindows(t *testing.T) {
	r := newRig(t)
	one, later := scene(t, stageOne, 4), scene(t, stageTwo, 4)
	later.Patient.ID = "ANOTHER-NUMBER"
	r.send(t, one, later)
	r.work(t)
	first, second := r.the(t, one.StudyUID), r.the(t, later.StudyUID)
	require.NotEqual(t, first.Case.PatientID, second.Case.PatientID)
	assert.Equal(t, []string{alone}, scopes(second))
	link, err := r.db.LinkPatients(t.Context(), store.System("test"), second.Case.PatientID, first.Case.PatientID, "one person")
	require.NoError(t, err)
	r.work(t)
	assert.Equal(t, []string{alone, two}, scopes(r.the(t, later.StudyUID)))
	require.NoError(t, r.db.UnlinkPatients(t.Context(), store.System("test"), link.ID, "two persons after all"))
	r.work(t)
	assert.Equal(t, []string{alone}, scopes(r.the(t, later.StudyUID)))
}

func TestAnotherBirthDateStaysApart(t *testing.T) {
	r := newRig(t)
	one, later := scene(t, stageOne, 4), scene(t, stageTwo, 4)
	later.Patient.BirthDate = "1931-02-03"
	r.send(t, one, later)
	r.work(t)
	first, second := r.the(t, one.StudyUID), r.the(t, later.StudyUID)
	assert.NotEqual(t, first.Case.PatientID, second.Case.PatientID)
	assert.Equal(t, []string{alone}, scopes(second))
	reviews, err := r.db.Reviews(t.Context(), "", 10)
	require.NoError(t, err)
	require.Len(t, reviews, 1)
	assert.Equal(t, store.ReviewIdentity, reviews[0].Kind)
}

// TestOneStudyOfTwoPatients has one study whose reports name two patients: each keeps what its reports say.
func TestOneStudyOfTwoPatients(t *testing.T) {
	r := newRig(t)
	one := scene(t, stageOne, 4)
	other := cut(scene(t, stageOne, 6), 4, 6, "2.25.98")
	other.Patient.ID = "ANOTHER-NUMBER"
	r.send(t, one, other)
	r.settle(t)
	cases := r.cases(t)
	require.Len(t, cases, 2)
	assert.NotEqual(t, cases[0].PatientID, cases[1].PatientID)
	assert.Equal(t, cases[0].StudyUID, cases[1].StudyUID)
	for _, c := range cases {
		v, err := r.db.Version(t.Context(), c.ID, 0)
		require.NoError(t, err)
		assert.Contains(t, string(v.Summary), "study-of-several-patients")
	}
}

func TestATestObjectHasNoFlag(t *testing.T) {
	r := newRig(t)
	report := scene(t, "neuro4-quality-control", 10)
	r.send(t, report)
	r.work(t)
	v := r.the(t, report.StudyUID)
	assert.True(t, v.Case.Quality)
	assert.Equal(t, "none", v.Case.FlagState)
	assert.Empty(t, v.Flags)
	assert.Empty(t, v.Map)
}

// TestWhatIsKeptOfAReportNamesNobody looks into the bodies as they lie in the store.
func TestWhatIsKeptOfAReportNamesNobody(t *testing.T) {
	r := newRig(t)
	report := scene(t, stageOne, 4)
	r.send(t, report)
	r.work(t)
	kept, err := r.db.ReportsOfStudy(t.Context(), report.StudyUID)
	require.NoError(t, err)
	require.Len(t, kept, 1)
	v := r.the(t, report.StudyUID)
	for _, frame := range [][]byte{kept[0].Body, v.Body} {
		text := expanded(t, frame)
		require.True(t, strings.Contains(text, report.StudyUID))
		for _, word := range []string{report.Patient.ID, report.Patient.Name, report.Patient.BirthDate} {
			assert.False(t, strings.Contains(text, word))
		}
	}
	patient, err := r.db.Patient(t.Context(), kept[0].PatientID)
	require.NoError(t, err)
	assert.Equal(t, report.Patient.ID, patient.Identity.Number)
	assert.Equal(t, report.Patient.BirthDate, patient.Identity.BirthDate)
}

// TestStoredCasesSumLikeFreshOnes compares sums over what the store's columns hold with sums over the assessments
// themselves, map by map aside: a level that a case reaches alone it reaches in the sum.
func TestStoredCasesSumLikeFreshOnes(t *testing.T) {
	r := newRig(t)
	for _, c := range demo.Cases() {
		report := cut(c.Report, 0, 40, "")
		if len(c.Report.Events) == 0 {
			report = c.Report
		}
		read, err := rdsr.Read(written(t, report), r.pipeline.Reading)
		require.NoError(t, err)
		fresh := r.pipeline.Method.Assess(procedure.Merge([]procedure.Report{*read})[0], procedure.Facts{}).Delivered()
		fresh.PSD.Map = nil
		r.send(t, report)
		r.work(t)
		v := r.the(t, report.StudyUID)
		day := v.Case.LocalDate
		want := r.pipeline.Method.Sum([]assessment.Delivered{fresh}, 60, day)
		got := r.pipeline.Method.Sum([]assessment.Delivered{ingest.Delivered(v.Case)}, 60, day)
		// Which planes lack a dose is not kept with the columns, only that one does.
		want.Levels.Reasons, got.Levels.Reasons = nil, nil
		assert.Equal(t, want, got, c.File)
	}
}
