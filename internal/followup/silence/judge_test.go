package silence_test

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"afterbeam/internal/followup/silence"
)

// every gives n days, each so many days after the one before; the last is the given one.
func every(last string, step, n int) []string {
	d, _ := time.Parse(time.DateOnly, last)
	var days []string
	for range n {
		days = append(days, d.Format(time.DateOnly))
		d = d.AddDate(0, 0, -step)
	}
	return days
}

// workdays gives the n working days up to a day.
func workdays(last string, n int) []string {
	d, _ := time.Parse(time.DateOnly, last)
	var days []string
	for ; len(days) < n; d = d.AddDate(0, 0, -1) {
		if d.Weekday() != time.Saturday && d.Weekday() != time.Sunday {
			days = append(days, d.Format(time.DateOnly))
		}
	}
	return days
}

// 2026-09-04 and 2026-09-11 are Fridays.
func TestJudge(t *testing.T) {
	closed := append(workdays("2026-09-04", 20), workdays("2026-06-26", 40)...) // nine weeks of refurbishment once
	tests := map[string]struct {
		days  []string
		today string
		want  silence.Verdict
	}{
		"never used": {nil, "2026-09-14", silence.Verdict{}},
		"too few":    {workdays("2026-09-04", 10), "2026-12-14", silence.Verdict{Waited: 70}},
		"just enough": {
			workdays("2026-09-04", 11), "2026-09-05", silence.Verdict{Known: true, Usual: 1, Allowed: 3},
		},
		"a daily room on Monday morning": {
			workdays("2026-09-04", 60), "2026-09-07", silence.Verdict{Known: true, Usual: 1, Allowed: 3},
		},
		"three working days are over": {
			workdays("2026-09-04", 60), "2026-09-10", silence.Verdict{Known: true, Usual: 1, Allowed: 3, Waited: 3},
		},
		"the fourth is over": {
			workdays("2026-09-04", 60), "2026-09-11", silence.Verdict{Known: true, Usual: 1, Allowed: 3, Waited: 4, Since: "2026-09-10"},
		},
		"since stays while time goes on": {
			workdays("2026-09-04", 60), "2026-12-31", silence.Verdict{Known: true, Usual: 1, Allowed: 3, Waited: 83, Since: "2026-09-10"},
		},
		"a weekly room within its habit": {
			every("2026-09-04", 7, 30), "2026-09-19", silence.Verdict{Known: true, Usual: 5, Allowed: 10, Waited: 10},
		},
		"a weekly room beyond it": {
			every("2026-09-04", 7, 30), "2026-09-22", silence.Verdict{Known: true, Usual: 5, Allowed: 10, Waited: 11, Since: "2026-09-21"},
		},
		"one long closure hides nothing": {
			closed, "2026-09-11", silence.Verdict{Known: true, Usual: 1, Allowed: 3, Waited: 4, Since: "2026-09-10"},
		},
		"used on the weekend too": {
			every("2026-09-06", 1, 60), "2026-09-10", silence.Verdict{Known: true, Usual: 1, Allowed: 3, Waited: 3},
		},
		"a day to come and no day are left out": {
			append(workdays("2026-09-04", 60), "2031-01-01", "", "2026-13-45"), "2026-09-11",
			silence.Verdict{Known: true, Usual: 1, Allowed: 3, Waited: 4, Since: "2026-09-10"},
		},
		"today is no date": {workdays("2026-09-04", 60), "soon", silence.Verdict{}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got := silence.Judge(tt.days, tt.today)
			assert.Equal(t, tt.want, got)
			assert.Equal(t, tt.want.Since != "", got.Silent())
		})
	}
}

// Order and repetition of the days say nothing, and a device once silent stays so until it is used.
func TestSilenceOnlyGrows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 90).Draw(t, "days")
		day := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
		var days []string
		for range n {
			day = day.AddDate(0, 0, rapid.IntRange(0, 30).Draw(t, "gap"))
			days = append(days, day.Format(time.DateOnly))
		}
		mixed := rapid.Permutation(days).Draw(t, "order")
		today := day.AddDate(0, 0, rapid.IntRange(0, 200).Draw(t, "wait"))
		got := silence.Judge(days, today.Format(time.DateOnly))
		assert.Equal(t, got, silence.Judge(slices.Concat(mixed, days), today.Format(time.DateOnly)))
		later := silence.Judge(days, today.AddDate(0, 0, 1).Format(time.DateOnly))
		if got.Silent() {
			assert.Equal(t, got.Since, later.Since)
		}
		assert.GreaterOrEqual(t, later.Waited, got.Waited)
		used := silence.Judge(append(days, today.Format(time.DateOnly)), today.Format(time.DateOnly))
		assert.False(t, used.Silent())
	})
}
