package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/monthly"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// worked gives the time that processors worked for the process so far: what it takes counts also on a machine that is busy with
// other things.
func worked(tb testing.TB) time.Duration {
	tb.Helper()
	var u syscall.Rusage
	require.NoError(tb, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// measured runs f as often as the benchmark wants, reports times and the work of processors each time, and gives the latter: on
// an idle machine it is what a time would be, and on a busy one that says nothing.
func measured(b *testing.B, f func()) time.Duration {
	b.Helper()
	var took timings
	before := worked(b)
	for b.Loop() {
		started := time.Now()
		f()
		took.add(time.Since(started))
	}
	each := (worked(b) - before) / time.Duration(len(took.all))
	b.ReportMetric(float64(each.Milliseconds()), "cpu-ms")
	took.report(b)
	return each
}

// The summary of a month takes less than a second and that of all ten years that a site has less than five, in a store of 100,000
// procedures; and no more than 1.5 times what the database needs for the bulk of it, asked in SQL.
func BenchmarkSummary(b *testing.B) {
	procedures, full := 5_000, false
	if os.Getenv("AFTERBEAM_BENCH") == "full" { // as make bench asks for
		procedures, full = 100_000, true
	}
	g := generate(b, procedures)
	_, err := g.db.MakeSummaryRows(context.Background(), store.System("bench"), "the invented site writes beside the store")
	require.NoError(b, err)
	for _, one := range []struct {
		name, period string
		history      string
		from, to     string
		goal         time.Duration
	}{
		{"month", "2026-07", "2024-07-01", "2026-06-01", "2026-07-31", time.Second},
		{"year", "2025", "2023-01-01", "2024-01-01", "2025-12-31", 5 * time.Second},
	} {
		period, err := summary.ParsePeriod(one.period)
		require.NoError(b, err)
		var ours time.Duration
		b.Run(one.name, func(b *testing.B) {
			work := measured(b, func() {
				made, err := monthly.Make(context.Background(), g.db, monthly.Ask{Period: period, Settings: summary.DefaultSettings()})
				if err != nil || made.Counts.Cases == 0 {
					b.Fatal(made.Counts, err)
				}
			})
			if ours = work; full && work > one.goal {
				b.Errorf("%v, wanted under %v", work, one.goal)
			}
		})
		b.Run(one.name+" in SQL", func(b *testing.B) {
			if sql := measured(b, func() { inSQL(b, g.db.Reader(), one.history, one.from, one.to) }); full && ours > sql*3/2 {
				b.Errorf("the summary took %v, wanted at most 1.5 times the %v of SQL", ours, sql)
			}
		})
	}
	b.Run("all days", func(b *testing.B) {
		work := measured(b, func() {
			in, err := monthly.Input(context.Background(), g.db, monthly.Ask{Period: periodOf(b, "2026"), Settings: summary.DefaultSettings()})
			require.NoError(b, err)
			in.Cases, err = g.db.SummaryCases(context.Background(), store.SummaryFilter{To: "9999-12-31"})
			require.NoError(b, err)
			_, err = summary.Summarise(in, summary.DefaultSettings())
			if err != nil || len(in.Cases) != procedures {
				b.Fatal(len(in.Cases), err)
			}
		})
		if full && work > 5*time.Second {
			b.Errorf("%v, wanted under 5 s", work)
		}
	})
	b.Run("all days in SQL", func(b *testing.B) {
		measured(b, func() { inSQL(b, g.db.Reader(), "", "", "9999-12-31") })
	})
}

func periodOf(tb testing.TB, name string) summary.Period {
	tb.Helper()
	p, err := summary.ParsePeriod(name)
	require.NoError(tb, err)
	return p
}

// inSQL asks the database for the bulk of what a summary holds: for the table of classes, quartiles of five quantities of two
// periods by class, and by class parted by room and by device, as type 7 has them; for the charts, means and moving ranges of the
// logarithms of two quantities since the beginning of the history, by class and device.
func inSQL(tb testing.TB, db *sql.DB, history, from, to string) {
	tb.Helper()
	for _, quantity := range []string{"kap_gym2", "kerma_gy"} {
		groups := quartiles(tb, db, fmt.Sprintf(`WITH ordered AS (
			SELECT class, device_key, %[1]s AS v, row_number() OVER w AS place, lag(%[1]s) OVER w AS before
			FROM procedure_case WHERE basis <> 'replaced' AND quality = 0 AND local_date >= $1 AND local_date <= $2 AND %[1]s IS NOT NULL AND gaps = 0
			WINDOW w AS (PARTITION BY class, device_key ORDER BY local_date, start_at, id))
			SELECT class, device_key, max(place), avg(ln(v)), avg(abs(ln(v / before))), max(abs(ln(v / before))) FROM ordered GROUP BY class, device_key`, quantity), history, to)
		require.Positive(tb, groups)
	}
	for _, part := range []string{"''", "room", "device_key"} {
		for _, quantity := range []string{"kap_gym2", "kerma_gy", "fluoro_s", "psd_gy", "effective_sv"} {
			groups := quartiles(tb, db, fmt.Sprintf(`WITH ranked AS (
				SELECT class, %[1]s AS part, %[2]s AS v, row_number() OVER (PARTITION BY class, %[1]s ORDER BY %[2]s) - 1 AS place,
					count(*) OVER (PARTITION BY class, %[1]s) - 1 AS last
				FROM procedure_case WHERE basis <> 'replaced' AND quality = 0 AND local_date >= $1 AND local_date <= $2 AND %[2]s IS NOT NULL AND gaps = 0)
				SELECT class, part, max(last) + 1,
					sum(v * max(0, 1 - abs(place - 0.25 * last))), sum(v * max(0, 1 - abs(place - 0.5 * last))), sum(v * max(0, 1 - abs(place - 0.75 * last)))
				FROM ranked GROUP BY class, part ORDER BY class, part`, part, quantity), from, to)
			require.Positive(tb, groups)
		}
	}
}

// quartiles reads the groups of one question, and gives their number.
func quartiles(tb testing.TB, db *sql.DB, question, from, to string) (groups int) {
	tb.Helper()
	rows, err := db.Query(question, from, to)
	require.NoError(tb, err)
	defer func() { require.NoError(tb, rows.Close()) }()
	for rows.Next() {
		var class, name string
		var n int
		var low, median, high float64
		require.NoError(tb, rows.Scan(&class, &name, &n, &low, &median, &high))
		groups++
	}
	require.NoError(tb, rows.Err())
	return groups
}
