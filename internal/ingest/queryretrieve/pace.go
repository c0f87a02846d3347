package queryretrieve

import (
	"context"
	"fmt"
	"time"
)

// Hours are when an archive may be asked: from and to as time since midnight, over midnight where To is not after From.
// Two equal ones are all day.
type Hours struct{ From, To time.Duration }

// ParseHours reads two times such as 20:00 and 06:00; two empty ones are all day.
func ParseHours(from, to string) (Hours, error) {
	if from == "" && to == "" {
		return Hours{}, nil
	}
	var h Hours
	for _, one := range []struct {
		text string
		to   *time.Duration
	}{{from, &h.From}, {to, &h.To}} {
		t, err := time.Parse("15:04", one.text)
		if err != nil {
			return h, fmt.Errorf("hours want two times such as 20:00 and 06:00, or none, got %q and %q", from, to)
		}
		*one.to = time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute
	}
	return h, nil
}

// Wait gives how long it is until the hours are open, 0 within them, by the clock of the time's own zone.
func (h Hours) Wait(now time.Time) time.Duration {
	clock := func(days int, d time.Duration) time.Time {
		return time.Date(now.Year(), now.Month(), now.Day()+days, int(d/time.Hour), int(d%time.Hour/time.Minute), 0, 0, now.Location())
	}
	from, to := clock(0, h.From), clock(0, h.To)
	switch {
	case h.From == h.To:
		return 0
	case from.Before(to) && !now.Before(from) && now.Before(to), to.Before(from) && (!now.Before(from) || now.Before(to)):
		return 0
	case now.Before(from):
		return from.Sub(now)
	}
	return clock(1, h.From).Sub(now)
}

// longestHeld is how long an association is kept without a request.
const longestHeld = 5 * time.Second

// pace waits until the next request may be sent: first for the rate, then for the hours. For a long wait the association
// is released.
func (f *fetch) pace(ctx context.Context) error {
	if err := f.wait(ctx, f.next.Sub(f.cfg.Now())); err != nil {
		return err
	}
	for {
		closed := f.cfg.Hours.Wait(f.cfg.Now())
		if closed == 0 {
			break
		}
		f.cfg.Log.Warn("waiting for the hours in which the archive may be asked", "archive", f.cfg.Title, "minutes", int(closed.Minutes()))
		if err := f.wait(ctx, closed); err != nil {
			return err
		}
	}
	if f.cfg.Rate > 0 {
		f.next = f.cfg.Now().Add(time.Duration(float64(time.Second) / f.cfg.Rate))
	}
	return ctx.Err()
}

func (f *fetch) wait(ctx context.Context, pause time.Duration) error {
	if pause > longestHeld {
		f.link.release()
	}
	if pause <= 0 {
		return nil
	}
	return f.cfg.Sleep(ctx, pause)
}

// Sleep waits for a time or for the end of ctx.
func Sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
