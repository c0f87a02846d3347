package deliver

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"sync"
	"time"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/store"
)

// The times between tries of a message, and between tries of a channel that fails.
const (
	firstAgain   = 30 * time.Second
	longestAgain = 30 * time.Minute
	longestRest  = 5 * time.Minute
)

// again is how long to wait after so many tries: twice as long each time, and a little apart for each message, so that what
// waited together does not come together.
func again(id string, tries int, longest time.Duration) time.Duration {
	d := min(firstAgain<<min(max(tries-1, 0), 10), longest)
	h := fnv.New32a()
	_, _ = fmt.Fprintf(h, "%s %d", id, tries) // a hash never fails
	return d + d*time.Duration(h.Sum32()%100)/1000
}

// rests are the times until which channels that fail are left alone.
type rests struct {
	mu    sync.Mutex
	fails map[string]int
	until map[string]time.Time
}

func (r *rests) resting(channel string, now time.Time) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return now.Before(r.until[channel])
}

// did notes one try. One failure may be the receiver's; after two in a row the channel rests.
func (r *rests) did(channel string, failed bool, now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.fails == nil {
		r.fails, r.until = map[string]int{}, map[string]time.Time{}
	}
	if !failed {
		r.fails[channel] = 0
		return
	}
	if r.fails[channel]++; r.fails[channel] > 1 {
		r.until[channel] = now.Add(again(channel, r.fails[channel]-1, longestRest))
	}
}

// Send tries the messages of one channel that are due, and tells how many it sent.
func (w *Worker) Send(ctx context.Context, way Way) (sent int, err error) {
	if w.rests.resting(way.Name, w.Now()) {
		return 0, nil
	}
	all, err := w.Store.MessagesDue(ctx, way.Name, atOnce)
	if err != nil {
		return 0, err
	}
	for _, m := range all {
		if ctx.Err() != nil || w.rests.resting(way.Name, w.Now()) {
			return sent, nil
		}
		ok, err := w.send(ctx, way, m)
		if err != nil {
			return sent, fmt.Errorf("message %s: %w", m.ID, err)
		}
		if ok {
			sent++
		}
	}
	return sent, nil
}

func (w *Worker) send(ctx context.Context, way Way, m store.Message) (sent bool, err error) {
	a, err := w.Store.BeginAttempt(ctx, m.ID)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil // no longer waiting
	}
	if err != nil {
		return false, err
	}
	m.Attempts++
	crashpoint.Reached(crashpoint.NoticeBegun)
	// A try under way is ended and written down even when the service stops meanwhile.
	finishing := context.WithoutCancel(ctx)
	failure := w.carry(finishing, way, m, a.Repeat)
	if failure == nil {
		crashpoint.Reached(crashpoint.NoticeSent)
	}
	ending, reason := endingOf(failure)
	if failure != nil {
		w.Log.Warn("a message was not delivered", "channel", way.Name, "message", m.ID, "attempt", m.Attempts, "ending", string(ending), "error", failure)
	}
	w.rests.did(way.Name, ending == store.EndingNotSent || ending == store.EndingUnsure, w.Now())
	if err := w.Store.EndAttempt(finishing, m, a, ending, reason, w.Now().Add(again(m.ID, m.Attempts, longestAgain))); err != nil {
		return false, err
	}
	return failure == nil, w.watch(finishing, way.Name, ending, reason)
}

// endingOf tells how a try ended, and why in words that are kept.
func endingOf(err error) (store.Ending, string) {
	switch {
	case err == nil:
		return store.EndingSent, ""
	case errors.Is(err, notice.ErrNever):
		return store.EndingRefused, err.Error()
	case errors.Is(err, notice.ErrUnsure):
		return store.EndingUnsure, err.Error()
	}
	return store.EndingNotSent, err.Error()
}

// carry composes a message as it stands now and hands it to the channel.
func (w *Worker) carry(ctx context.Context, way Way, m store.Message, repeat bool) error {
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	message, err := w.Compose(ctx, way, m, repeat)
	if err != nil {
		return err
	}
	return way.Channel.Send(ctx, message)
}

// Compose writes a message in the language of its reader.
func (w *Worker) Compose(ctx context.Context, way Way, m store.Message, repeat bool) (notice.Message, error) {
	policy, chosen, err := w.policyOf(ctx, m.Account)
	if err != nil {
		return notice.Message{}, err
	}
	out := notice.Message{
		ID: m.ID, References: m.Notices, Account: m.Account, Repeat: repeat, Urgent: m.Urgent, Language: policy.Language,
	}
	if way.Addressed {
		if out.Address = chosen.Mail; out.Address == "" {
			return out, fmt.Errorf("%w: the account has no address any more", notice.ErrNever)
		}
	}
	letter := notice.Letter{Repeat: repeat, Bare: way.Bare}
	var data []sentNotice
	for _, id := range m.Notices {
		n, err := w.Store.Notice(ctx, id)
		if err != nil {
			return out, err
		}
		item, err := w.item(n)
		if err != nil {
			return out, err
		}
		letter.Items = append(letter.Items, item)
		one := sentNotice{Reference: n.ID, CaseID: n.CaseID, Version: n.Version, Kind: string(n.Kind), Rank: n.Rank.String(), Urgent: n.Urgent, QueuedAt: n.CreatedAt, Link: item.Link}
		if !way.Bare {
			one.Content = n.Content
		}
		data = append(data, one)
		out.Link = item.Link
		if item.Content.Picture && !way.Bare && !m.Digest {
			out.Pictures = append(out.Pictures, w.picture(ctx, n)...)
		}
	}
	if len(data) > 1 {
		out.Link = ""
	}
	out.Subject, out.Text = notice.Render(letter, policy.Language)
	out.Data, err = json.Marshal(data)
	return out, err
}

// sentNotice is a notice as machines read it.
type sentNotice struct {
	Reference string          `json:"reference"`
	CaseID    string          `json:"procedure_id,omitempty"`
	Version   int             `json:"version,omitempty"`
	Kind      string          `json:"kind"`
	Rank      string          `json:"rank"`
	Urgent    bool            `json:"urgent"`
	QueuedAt  time.Time       `json:"queued_at"`
	Link      string          `json:"link,omitempty"`
	Content   json.RawMessage `json:"content,omitempty"`
}

// item gives a notice as a letter tells it.
func (w *Worker) item(n store.Notice) (notice.Item, error) {
	i := notice.Item{Reference: n.ID, Kind: n.Kind, Urgent: n.Urgent, Link: notice.Link(w.Base, n.CaseID)}
	if err := json.Unmarshal(n.Content, &i.Content); err != nil {
		return i, fmt.Errorf("read notice: %w", err)
	}
	return i, nil
}

// picture draws the map of the version that a notice is about. A notice goes out without it rather than not at all.
func (w *Worker) picture(ctx context.Context, n store.Notice) []notice.Picture {
	v, err := w.Store.Version(ctx, n.CaseID, n.Version)
	if err == nil {
		var png []byte
		if _, png, err = w.Pictures.Draw(ctx, v, "png"); err == nil {
			return []notice.Picture{{Name: "skin-dose-" + n.ID + ".png", PNG: png}}
		}
	}
	w.Log.Warn("the picture of a notice cannot be drawn", "reference", n.ID, "error", err)
	return nil
}

// watch raises the alarm for a channel that has been failing for long, and at once for a message that it will never take.
func (w *Worker) watch(ctx context.Context, channel string, ending store.Ending, reason string) error {
	switch ending {
	case store.EndingSent:
		return nil
	case store.EndingRefused:
		return w.alarm(ctx, notice.Alarm{Channel: channel, Since: w.Now().UTC().Format(time.RFC3339), Why: reason}, time.Hour)
	case store.EndingBegun, store.EndingNotSent, store.EndingUnsure:
	}
	states, err := w.Store.ChannelStates(ctx)
	if err != nil {
		return err
	}
	for _, s := range states {
		if s.Channel == channel && !s.FailingFrom.IsZero() && w.Now().Sub(s.FailingFrom) >= w.alarmAfter() {
			return w.alarm(ctx, notice.Alarm{Channel: channel, Since: s.FailingFrom.UTC().Format(time.RFC3339), Why: reason}, alarmAgain)
		}
	}
	return nil
}

func (w *Worker) alarmAfter() time.Duration {
	if w.AlarmAfter > 0 {
		return w.AlarmAfter
	}
	return DefaultAlarmAfter
}
