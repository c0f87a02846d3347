package store_test

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/monthly"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// The summary of a month takes less than a second and that of all ten years that a site has less than five, in a store of 100,000
// procedures; and no more than 1.5 times what the database needs for the table of classes alone, asked in SQL.
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
		from, to     string
		goal         time.Duration
	}{
		{"month", "2026-07", "2026-06-01", "2026-07-31", time.Second},
		{"year", "2025", "2024-01-01", "2025-12-31", 5 * time.Second},
	} {
		period, err := summary.ParsePeriod(one.period)
		require.NoError(b, err)
		b.Run(one.name, func(b *testing.B) {
			var took timings
			for b.Loop() {
				started := time.Now()
				made, err := monthly.Make(context.Background(), g.db, monthly.Ask{Period: period, Settings: summary.DefaultSettings()})
				took.add(time.Since(started))
				if err != nil || made.Counts.Cases == 0 {
					b.Fatal(made.Counts, err)
				}
			}
			if slowest := took.report(b); full && slowest > one.goal {
				b.Errorf("%v, wanted under %v", slowest, one.goal)
			}
		})
		b.Run(one.name+" in SQL", func(b *testing.B) {
			var took timings
			for b.Loop() {
				started := time.Now()
				inSQL(b, g.db.Reader(), one.from, one.to)
				took.add(time.Since(started))
			}
			took.report(b)
		})
	}
	b.Run("all days", func(b *testing.B) {
		var took timings
		for b.Loop() {
			started := time.Now()
			in, err := monthly.Input(context.Background(), g.db, monthly.Ask{Period: periodOf(b, "2026"), Settings: summary.DefaultSettings()})
			require.NoError(b, err)
			in.Cases, err = g.db.SummaryCases(context.Background(), store.SummaryFilter{To: "9999-12-31"})
			require.NoError(b, err)
			_, err = summary.Summarise(in, summary.DefaultSettings())
			took.add(time.Since(started))
			if err != nil || len(in.Cases) != procedures {
				b.Fatal(len(in.Cases), err)
			}
		}
		if slowest := took.report(b); full && slowest > 5*time.Second {
			b.Errorf("%v, wanted under 5 s", slowest)
		}
	})
	b.Run("all days in SQL", func(b *testing.B) {
		var took timings
		for b.Loop() {
			started := time.Now()
			inSQL(b, g.db.Reader(), "", "9999-12-31")
			took.add(time.Since(started))
		}
		took.report(b)
	})
}

func periodOf(tb testing.TB, name string) summary.Period {
	tb.Helper()
	p, err := summary.ParsePeriod(name)
	require.NoError(tb, err)
	return p
}

// inSQL asks the database for what the table of classes holds of two periods: quartiles of six quantities by class, and by class
// parted by room and by device, as type 7 has them.
func inSQL(tb testing.TB, db *sql.DB, from, to string) {
	tb.Helper()
	for _, part := range []string{"''", "room", "device_key"} {
		for _, quantity := range []string{"kap_gym2", "kerma_gy", "fluoro_s", "psd_gy", "effective_sv"} {
			rows, err := db.Query(fmt.Sprintf(`WITH ranked AS (
				SELECT class, %[1]s AS part, %[2]s AS v, row_number() OVER (PARTITION BY class, %[1]s ORDER BY %[2]s) - 1 AS place,
					count(*) OVER (PARTITION BY class, %[1]s) - 1 AS last
				FROM procedure_case WHERE basis <> 'replaced' AND quality = 0 AND local_date >= $1 AND local_date <= $2 AND %[2]s IS NOT NULL AND gaps = 0)
				SELECT class, part, max(last) + 1,
					sum(v * max(0, 1 - abs(place - 0.25 * last))), sum(v * max(0, 1 - abs(place - 0.5 * last))), sum(v * max(0, 1 - abs(place - 0.75 * last)))
				FROM ranked GROUP BY class, part ORDER BY class, part`, part, quantity), from, to)
			require.NoError(tb, err)
			groups := 0
			for rows.Next() {
				var class, name string
				var n int
				var low, median, high float64
				require.NoError(tb, rows.Scan(&class, &name, &n, &low, &median, &high))
				groups++
			}
			require.NoError(tb, rows.Err())
			require.NoError(tb, rows.Close())
			require.Positive(tb, groups)
		}
	}
}
