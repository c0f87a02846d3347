package queryretrieve_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/peer"
)

func TestHours(t *testing.T) {
	london, err := time.LoadLocation("Europe/London")
	require.NoError(t, err)
	tests := map[string]struct {
		from, to, now string
		want          time.Duration
	}{
		"all day":                       {"", "", "2026-01-05 12:00:00", 0},
		"equal times are all day":       {"08:00", "08:00", "2026-01-05 12:00:00", 0},
		"by night, in the evening":      {"20:00", "06:00", "2026-01-05 23:30:00", 0},
		"by night, at its begin":        {"20:00", "06:00", "2026-01-05 20:00:00", 0},
		"by night, in the morning":      {"20:00", "06:00", "2026-01-05 05:59:59", 0},
		"by night, at its end":          {"20:00", "06:00", "2026-01-05 06:00:00", 14 * time.Hour},
		"by night, at noon":             {"20:00", "06:00", "2026-01-05 12:00:00", 8 * time.Hour},
		"by day, before":                {"12:30", "13:30", "2026-01-05 12:00:00", 30 * time.Minute},
		"by day, within":                {"12:30", "13:30", "2026-01-05 13:00:00", 0},
		"by day, after":                 {"12:30", "13:30", "2026-01-05 13:30:00", 23 * time.Hour},
		"over a clock that is put on":   {"12:30", "13:30", "2026-03-28 13:30:00", 22 * time.Hour}, // British summer time begins on 29 March 2026
		"over a clock that is put back": {"12:30", "13:30", "2026-10-24 13:30:00", 24 * time.Hour},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			h, err := queryretrieve.ParseHours(tt.from, tt.to)
			require.NoError(t, err)
			now, err := time.ParseInLocation(time.DateTime, tt.now, london)
			require.NoError(t, err)
			assert.Equal(t, tt.want, h.Wait(now))
		})
	}
	for _, bad := range [][2]string{{"20:00", ""}, {"", "06:00"}, {"8 pm", "6 am"}, {"25:00", "06:00"}} {
		_, err := queryretrieve.ParseHours(bad[0], bad[1])
		require.ErrorContains(t, err, "such as 20:00 and 06:00")
	}
}

// paced is a clock that only waiting moves.
type paced struct {
	now   time.Time
	waits []time.Duration
}

func (p *paced) sleep(ctx context.Context, d time.Duration) error {
	p.now = p.now.Add(d)
	p.waits = append(p.waits, d)
	return ctx.Err()
}

// TestPace waits for the hours that are open, and between requests.
func TestPace(t *testing.T) {
	tests := map[string]struct {
		now    string
		config func(*queryretrieve.Config)
		want   []time.Duration
		reqs   int
	}{
		"two a second": {
			now: "2026-03-05 12:00:00", config: func(c *queryretrieve.Config) { c.Rate = 2 },
			want: []time.Duration{500 * time.Millisecond, 500 * time.Millisecond, 500 * time.Millisecond}, reqs: 1,
		},
		"so seldom that the association is released": {
			now: "2026-03-05 12:00:00", config: func(c *queryretrieve.Config) { c.Rate = 0.1 },
			want: []time.Duration{10 * time.Second, 10 * time.Second, 10 * time.Second}, reqs: 4,
		},
		"by night": {
			now: "2026-03-05 05:59:59", config: func(c *queryretrieve.Config) {
				c.Rate = 1
				c.Hours, _ = queryretrieve.ParseHours("20:00", "06:00")
			},
			want: []time.Duration{time.Second, 14 * time.Hour, time.Second, time.Second}, reqs: 2,
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			now, err := time.Parse(time.DateTime, tt.now)
			require.NoError(t, err)
			p := &paced{now: now}
			s := &script{find: one, retrieve: unavailable}
			r := newRig(t)
			cfg := r.config(s.serve(t))
			cfg.Now, cfg.Sleep = func() time.Time { return p.now }, p.sleep
			tt.config(&cfg)
			_, err = queryretrieve.Run(t.Context(), cfg, period(t, 1))
			require.NoError(t, err)
			assert.Equal(t, tt.want, p.waits, "before each of the four requests but the first")
			assert.Equal(t, tt.reqs, s.reqs)
		})
	}
}

// TestAttempts tries an association again, with longer and longer pauses.
func TestAttempts(t *testing.T) {
	p := &paced{now: time.Now()}
	r := newRig(t)
	cfg := r.config(peer.Unused(t))
	cfg.Attempts, cfg.Sleep = 4, p.sleep
	counts, err := queryretrieve.Run(t.Context(), cfg, period(t, 1))
	require.NoError(t, err)
	assert.Equal(t, 1, counts.DaysOpen)
	assert.Equal(t, []time.Duration{time.Second, 2 * time.Second, 4 * time.Second}, p.waits)
}

func TestSleep(t *testing.T) {
	require.NoError(t, queryretrieve.Sleep(t.Context(), time.Microsecond))
	ctx, stop := context.WithCancel(t.Context())
	stop()
	require.ErrorIs(t, queryretrieve.Sleep(ctx, time.Hour), context.Canceled)
}
