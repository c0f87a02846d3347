package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// caseOn is a procedure of totals alone: 2 Gy on a local day, "" for no date.
func caseOn(t *testing.T, id, day string) procedure.Report {
	t.Helper()
	r := caseOf("mobile-rhythm-device.dcm")
	r.SOPInstanceUID, r.StudyUID = "report "+id+day, "study "+id+day
	r.ScopeUID = r.StudyUID
	r.Patient.ID = id
	r.Planes[0].RefKerma = quantity.Some(quantity.Gray(2))
	r.Planes[0].KAP = quantity.Some(quantity.GraySquareMetre(100 * quantity.GraySquareCentimetre))
	r.Content, r.Study.Date = procedure.Moment{}, procedure.Moment{}
	if day != "" {
		start, err := time.Parse(time.DateOnly, day)
		require.NoError(t, err)
		r.Study.Date = procedure.Moment{Time: start.Add(10 * time.Hour), Offset: procedure.OffsetOfDataSet}
		r.Content = r.Study.Date
	}
	return r
}

func followed(reports ...procedure.Report) line {
	return follow(received{reports: reports, files: map[string][]string{}}, assessment.Default(), procedure.Facts{})
}

func TestWindow(t *testing.T) {
	tests := map[string]struct {
		days []string
		want [][]string // dates of each sum
	}{
		"one case":                        {[]string{"2026-03-01"}, nil},
		"the 60th day counts":             {[]string{"2026-03-01", "2026-04-29"}, [][]string{{"2026-03-01", "2026-04-29"}}},
		"the 61st does not":               {[]string{"2026-03-01", "2026-04-30"}, nil},
		"two on one day":                  {[]string{"2026-03-01", "2026-03-01"}, [][]string{{"2026-03-01", "2026-03-01"}}},
		"each case looks back":            {[]string{"2026-03-01", "2026-04-01", "2026-05-10"}, [][]string{{"2026-03-01", "2026-04-01"}, {"2026-04-01", "2026-05-10"}}},
		"over the turn of the year":       {[]string{"2025-12-20", "2026-01-10"}, [][]string{{"2025-12-20", "2026-01-10"}}},
		"no date lies in no window":       {[]string{"", "", "2026-03-01"}, nil},
		"in any order the same":           {[]string{"2026-04-29", "2026-03-01"}, [][]string{{"2026-03-01", "2026-04-29"}}},
		"the day of a leap year is a day": {[]string{"2024-01-31", "2024-03-30"}, [][]string{{"2024-01-31", "2024-03-30"}}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			var reports []procedure.Report
			for i, day := range tt.days {
				r := caseOn(t, "one", day)
				r.StudyUID += string(rune('a' + i))
				r.SOPInstanceUID, r.ScopeUID = "report of "+r.StudyUID, r.StudyUID
				reports = append(reports, r)
			}
			l := followed(reports...)
			require.Len(t, l.cases, len(tt.days))
			var got [][]string
			for _, s := range l.sums {
				got = append(got, s.dates)
				assert.Equal(t, len(s.dates), s.sum.Procedures)
				assert.InDelta(t, 2*float64(len(s.dates)), float64(s.sum.Kerma.Value.Or(0)), 1e-12) // one rounding a sum
			}
			assert.Equal(t, tt.want, got)
		})
	}
}

func TestASumIsFlagged(t *testing.T) {
	l := followed(caseOn(t, "one", "2026-03-01"), caseOn(t, "one", "2026-03-20"))
	for _, c := range l.cases {
		assert.NotEqual(t, level.Reached, c.Levels.State, "2 Gy each")
	}
	require.Len(t, l.sums, 1)
	assert.Equal(t, level.Reached, l.sums[0].sum.Levels.State, "4 Gy together")
	assert.Equal(t, []string{"2026-03-01", "2026-03-20"}, l.sums[0].dates)
}

func TestPatients(t *testing.T) {
	test := caseOn(t, "phantom", "2026-03-05")
	test.Purpose = procedure.PurposeQualityControl
	l := followed(caseOn(t, "two", "2026-03-03"), caseOn(t, "one", "2026-03-01"), caseOn(t, "two", "2026-03-09"), test)
	var got []int
	for _, c := range l.cases {
		got = append(got, c.patient)
	}
	assert.Equal(t, []int{1, 2, 0, 2}, got, "numbered by date; a test object is no patient")
	assert.Equal(t, 2, l.patients)
	require.Len(t, l.sums, 1)
	assert.Equal(t, 2, l.sums[0].patient)
	assert.Empty(t, l.notes)
}

func TestDoubtsAboutSums(t *testing.T) {
	other := caseOn(t, "one", "2026-03-02")
	other.Patient.Issuer = "another"
	unnumbered := caseOn(t, "", "2026-03-03")
	l := followed(caseOn(t, "one", "2026-03-01"), other, unnumbered, caseOn(t, "two", ""))
	assert.Empty(t, l.sums)
	assert.Equal(t, []string{
		"in no sum, since a report gives no date: a procedure of patient 1",
		"in no sum, since the report has no patient number: patient 4",
		"NOT added up, though the patient number is the same, since issuer or birth date differ: patient 2, patient 3; find out whether they are one person",
	}, l.notes)
}

func TestNameOfACase(t *testing.T) {
	a := assessed{files: []string{"a", "b", "c", "d", "e"}}
	assert.Equal(t, "a, b, c and 2 more", a.name())
	a.files = nil
	a.Procedure.StudyUID = "2.25.1"
	assert.Equal(t, "study 2.25.1", a.name())
}

func TestSumsTellWhatTheyLack(t *testing.T) {
	bare := caseOn(t, "one", "2026-03-20")
	bare.Planes[0].RefKerma, bare.Planes[0].KAP = quantity.None[quantity.Gray](), quantity.None[quantity.GraySquareMetre]()
	l := followed(caseOn(t, "one", "2026-03-01"), bare)
	require.Len(t, l.sums, 1)
	text := printed(false, func(p *printer) { p.sum(l.sums[0]) })
	assert.Contains(t, text, "Ka,r at least 2.00 Gy (known of 1 of 2 procedures)")
	assert.Contains(t, text, "1 of 2 procedures without an estimate: the sum lacks their dose")
	assert.Contains(t, text, "estimated, at least")
	assert.Contains(t, text, "Ka,r 2.00 Gy at least: a part is missing")
	assert.NotContains(t, text, "BELOW")
}
