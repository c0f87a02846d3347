package deliver

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/store"
)

// adminRole is the role of the accounts that are told of notices which do not get through.
const adminRole = "admin"

// Place hands queued notices that are due to messages, and tells how many it dealt with.
func (w *Worker) Place(ctx context.Context) (int, error) {
	all, err := w.Store.NoticesToPlace(ctx, atOnce)
	if err != nil {
		return 0, err
	}
	for i, n := range all {
		if err := w.place(ctx, n); err != nil {
			return i, fmt.Errorf("notice %s: %w", n.ID, err)
		}
	}
	return len(all), nil
}

func (w *Worker) place(ctx context.Context, n store.Notice) error {
	if len(w.Ways) == 0 {
		return w.Store.PlaceNotice(ctx, n, nil, "no channel is set")
	}
	accounts, except, err := w.recipients(ctx, n)
	if err != nil {
		return err
	}
	if len(accounts) == 0 {
		return w.nobody(ctx, n, "no person of the case has an account, and the room has no fallback")
	}
	var to []store.Placement
	wanted := false
	for _, account := range accounts {
		policy, chosen, err := w.policyOf(ctx, account)
		if err != nil {
			return err
		}
		if !policy.Wants(n.Rank) {
			continue
		}
		wanted = true
		for _, way := range w.Ways {
			if way.Name == except || !policy.Uses(way.Name) || way.Addressed && chosen.Mail == "" {
				continue
			}
			due, digest := policy.Due(w.Now().In(w.Zone), n.Urgent)
			to = append(to, store.Placement{Account: account, Channel: way.Name, Due: due, Digest: digest})
		}
	}
	switch {
	case !wanted:
		return w.Store.PlaceNotice(ctx, n, nil, "nobody wants notices of this rank")
	case len(to) == 0:
		return w.nobody(ctx, n, "no channel reaches a person of the case")
	}
	return w.Store.PlaceNotice(ctx, n, to, "")
}

// recipients gives the accounts that are to be told, and the channel that an alarm is about.
func (w *Worker) recipients(ctx context.Context, n store.Notice) (accounts []string, except string, err error) {
	if n.Kind != notice.Broken {
		accounts, _, err = w.Store.OperatorsOf(ctx, n.CaseID)
		return accounts, "", err
	}
	var content notice.Content
	if err := json.Unmarshal(n.Content, &content); err != nil {
		return nil, "", fmt.Errorf("read notice: %w", err)
	}
	all, err := w.Store.Accounts(ctx)
	for _, a := range all {
		if a.Role == adminRole && a.DisabledAt.IsZero() {
			accounts = append(accounts, a.ID)
		}
	}
	return accounts, content.Alarm.Channel, err
}

// policyOf gives what an account wants. Choices that cannot be used any more count as none.
func (w *Worker) policyOf(ctx context.Context, account string) (notice.Policy, notice.Preferences, error) {
	chosen, err := w.Store.NoticePreferences(ctx, account)
	if err != nil {
		return w.Policy, chosen, err
	}
	p, err := w.Policy.Over(chosen)
	if err != nil {
		w.Log.Warn("notice preferences cannot be used", "account", account, "error", err)
		return w.Policy, chosen, nil
	}
	return p, chosen, nil
}

// nobody leaves a notice that has nobody to go to for later and raises an alarm. An alarm itself has nobody else to go to.
func (w *Worker) nobody(ctx context.Context, n store.Notice, why string) error {
	if n.Kind == notice.Broken {
		w.Log.Error("nobody can be told that notices do not get through", "reason", why)
		return w.Store.PlaceNotice(ctx, n, nil, why)
	}
	w.Log.Warn("a notice has nobody to go to", "reference", n.ID, "reason", why)
	if err := w.Store.DelayNotice(ctx, n.ID, why, w.Now().Add(nobodyAgain)); err != nil {
		return err
	}
	return w.alarm(ctx, notice.Alarm{Why: why}, alarmAgain)
}

// alarm raises an alarm unless one was raised lately.
func (w *Worker) alarm(ctx context.Context, a notice.Alarm, again time.Duration) error {
	states, err := w.Store.ChannelStates(ctx)
	if err != nil {
		return err
	}
	for _, s := range states {
		if s.Channel == a.Channel {
			a.Waiting = s.Waiting + s.Failed
		}
	}
	content, err := json.Marshal(notice.Content{Alarm: &a})
	if err != nil {
		return err
	}
	raised, err := w.Store.RaiseAlarm(ctx, a.Channel, w.Now().Add(-again), content)
	if raised {
		w.Log.Error("notices do not get through", "channel", a.Channel, "waiting", a.Waiting, "reason", a.Why)
	}
	return err
}
