package roll_test

import (
	"context"
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/ingest/roll"
	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/store"
	"afterbeam/internal/store/invented"
)

// The whole way on a real store: 1,000 procedures whose reports are there, told by a table; 37 reports that were withheld
// and 12 that are filed under another study are found, and nothing else is.
func TestThousandProceduresThroughTheStore(t *testing.T) {
	const reported, withheld, moved = 963, 37, 12
	dir := t.TempDir()
	db, err := store.Open(t.Context(), store.Config{Dir: dir, Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	_, err = invented.Fill(t.Context(), dir, reported)
	require.NoError(t, err)
	cases, err := db.Cases(t.Context(), store.Filter{})
	require.NoError(t, err)
	require.Len(t, cases, reported)
	rows := [][]string{}
	for i, c := range cases {
		study := c.StudyUID
		if i < moved {
			study = fmt.Sprint("2.25.777", i) // the table knows another study than the report
		}
		p, err := db.Patient(t.Context(), c.PatientID)
		require.NoError(t, err)
		rows = append(rows, []string{study, c.Start.Add(-15 * time.Minute).UTC().Format(time.RFC3339), c.Room, p.Identity.Number, p.Identity.Issuer})
	}
	for i := range withheld {
		c := cases[20*i]
		rows = append(rows, []string{fmt.Sprint("2.25.888", i), c.Start.UTC().Format(time.RFC3339), c.Room, fmt.Sprint("NOBODY", i), "Saltmarsh"})
	}
	var first string
	for run := range uint64(2) {
		rng := rand.New(rand.NewPCG(20260914, run))
		rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		r := imported(t, db, rows)
		assert.Equal(t, []int{reported + withheld, 0}, []int{r.Added + r.Same, r.Refused})
		got := ""
		var missing, elsewhere int
		for year := 2021; year <= 2026; year++ {
			l, roomOf, err := db.Completeness(t.Context(), fmt.Sprint(year, "-01-01"), fmt.Sprint(year, "-12-31"),
				completeness.Rules{Window: completeness.DefaultWindow, Grace: completeness.DefaultGrace, Now: time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)})
			require.NoError(t, err)
			l = l.Within(completeness.Scope{From: fmt.Sprint(year, "-01-01"), To: fmt.Sprint(year, "-12-31")}, roomOf)
			assert.Empty(t, l.Unannounced)
			for _, row := range l.Rows {
				got += fmt.Sprintln(row.Steps[0].StudyUID, row.Outcome, row.By)
				switch row.Outcome {
				case completeness.Missing:
					missing++
					assert.Contains(t, row.Steps[0].StudyUID, "2.25.888")
				case completeness.Elsewhere:
					elsewhere++
					assert.Contains(t, row.Steps[0].StudyUID, "2.25.777")
				default:
					assert.Equal(t, completeness.Reported, row.Outcome)
				}
			}
		}
		assert.Equal(t, []int{withheld, moved}, []int{missing, elsewhere})
		if run > 0 {
			assert.Equal(t, first, got, "the order of the lines leaves no trace")
		}
		first = got
	}
}

func imported(t *testing.T, db *store.DB, rows [][]string) roll.Result {
	t.Helper()
	var b strings.Builder
	w := csv.NewWriter(&b)
	require.NoError(t, w.Write([]string{"study_uid", "start", "room", "patient_id", "patient_id_issuer"}))
	require.NoError(t, w.WriteAll(rows))
	r, err := roll.Import(t.Context(), db, store.System("test"), strings.NewReader(b.String()), performed.Options{})
	require.NoError(t, err)
	return r
}

// brittle is a book whose storage ends in the middle.
type brittle struct {
	roll.Book
	left int
}

func (b *brittle) AddSteps(ctx context.Context, actor store.Actor, id string, steps []store.StepRow) ([]store.Outcome, error) {
	if b.left--; b.left < 0 {
		return nil, store.ErrUnavailable
	}
	return b.Book.AddSteps(ctx, actor, id, steps)
}

// An import that broke off is completed by the same table again.
func TestBrokenImportIsCompleted(t *testing.T) {
	db, err := store.Open(t.Context(), store.Config{Dir: t.TempDir(), Program: "test"})
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, db.Close()) })
	table := "study_uid,start\n"
	for i := range 500 {
		table += fmt.Sprintf("2.25.%d,2026-09-14T08:30\n", i)
	}
	_, err = roll.Import(t.Context(), &brittle{db, 1}, store.System("test"), strings.NewReader(table), performed.Options{})
	require.ErrorIs(t, err, store.ErrUnavailable)
	r, err := roll.Import(t.Context(), db, store.System("test"), strings.NewReader(table+"x,y\n"), performed.Options{})
	require.NoError(t, err)
	assert.Equal(t, []int{300, 200, 1}, []int{r.Added, r.Same, r.Refused})
	assert.Len(t, r.Digest, 64)
}
