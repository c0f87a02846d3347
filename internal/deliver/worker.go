package deliver

import (
	"context"
	"errors"
	"log/slog"
	"sync"
	"time"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/store"
)

// The times of a Worker.
const (
	pollEvery = time.Second
	// sendWithin bounds one try.
	sendWithin = time.Minute
	// nobodyAgain is when it is looked again for somebody to tell.
	nobodyAgain = 10 * time.Minute
	// DefaultAlarmAfter is how long a channel fails until an alarm is raised, alarmAgain how soon the next one.
	DefaultAlarmAfter = 5 * time.Minute
	alarmAgain        = 24 * time.Hour
	// atOnce is how many notices or messages are read at a time.
	atOnce = 50
)

// Book is the part of the store that a Worker needs. store.DB is one.
type Book interface {
	NoticesToPlace(ctx context.Context, limit int) ([]store.Notice, error)
	PlaceNotice(ctx context.Context, n store.Notice, to []store.Placement, why string) error
	DelayNotice(ctx context.Context, id, problem string, due time.Time) error
	RaiseAlarm(ctx context.Context, channel string, before time.Time, content []byte) (bool, error)
	Notice(ctx context.Context, id string) (store.Notice, error)
	MessagesDue(ctx context.Context, channel string, limit int) ([]store.Message, error)
	BeginAttempt(ctx context.Context, message string) (store.Attempt, error)
	EndAttempt(ctx context.Context, m store.Message, a store.Attempt, ending store.Ending, reason string, again time.Time) error
	ChannelStates(ctx context.Context) ([]store.ChannelState, error)
	OperatorsOf(ctx context.Context, caseID string) (accounts []string, fallback bool, err error)
	Accounts(ctx context.Context) ([]store.Account, error)
	NoticePreferences(ctx context.Context, account string) (notice.Preferences, error)
	Version(ctx context.Context, id string, number int) (store.Version, error)
}

// Pictures draws skin dose maps.
type Pictures interface {
	Draw(ctx context.Context, v store.Version, format string) (contentType string, body []byte, err error)
}

// Way is a channel under its name.
type Way struct {
	Name    string
	Channel notice.Channel
	// Addressed tells that the channel needs an address of the person's own.
	Addressed bool
	// Bare leaves numbers and pictures out of what it carries.
	Bare bool
}

// Worker delivers notices. Store, Pictures, Policy, Zone, Log, Now and Fatal are required.
type Worker struct {
	Store    Book
	Ways     []Way
	Pictures Pictures
	// Policy is the site's, Zone where its hours of the day hold.
	Policy notice.Policy
	Zone   *time.Location
	// Base is the address of the pages, such as https://afterbeam.example.org; "" leaves links out.
	Base string
	// AlarmAfter is how long a channel fails until an alarm is raised; 0 is DefaultAlarmAfter.
	AlarmAfter time.Duration
	Log        *slog.Logger
	Now        func() time.Time
	// Fatal is told of a failed fsync; it must end the process.
	Fatal func(error)

	rests rests
}

// Run works until ctx ends. Each channel has a goroutine of its own, so that a slow one holds no other up.
func (w *Worker) Run(ctx context.Context) {
	var running sync.WaitGroup
	running.Go(func() { w.repeat(ctx, "place notices", w.Place) })
	for _, way := range w.Ways {
		running.Go(func() {
			w.repeat(ctx, "send notices", func(ctx context.Context) (int, error) { return w.Send(ctx, way) })
		})
	}
	running.Wait()
}

// repeat does something again and again, at once as long as there is work.
func (w *Worker) repeat(ctx context.Context, doing string, do func(context.Context) (int, error)) {
	for ctx.Err() == nil {
		n, err := do(ctx)
		if err != nil && ctx.Err() == nil {
			w.Log.Error(doing+" failed", "error", err)
			if errors.Is(err, store.ErrFatal) {
				w.Fatal(err)
			}
		}
		if n > 0 && err == nil {
			continue
		}
		timer := time.NewTimer(pollEvery)
		select {
		case <-ctx.Done():
		case <-timer.C:
		}
		timer.Stop()
	}
}
