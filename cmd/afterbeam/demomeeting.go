package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"

	"afterbeam/internal/access"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
)

// pendingAction is an action of a meeting that ends on a later day.
type pendingAction struct{ id, ends, outcome string }

// meet holds the meetings whose day has come, and ends the actions whose day has.
func (y *demoYear) meet(ctx context.Context, day string) error {
	by := store.Actor{Account: y.accounts[access.Physicist], Role: string(access.Physicist), Source: "demonstration"}
	for len(y.meetings) > 0 && y.meetings[0].Day <= day {
		m := y.meetings[0]
		y.meetings = y.meetings[1:]
		if err := y.review(ctx, by, m.Period); err != nil {
			return fmt.Errorf("review %s: %w", m.Period, err)
		}
		for _, a := range m.Agreed {
			kept, err := y.works.db.AgreeAction(ctx, by, store.PeriodAction{Action: summary.Action{Period: m.Period, Text: a.Text, Owner: a.Owner, Due: a.Due}, Room: a.Room})
			if err != nil {
				return fmt.Errorf("agree on %s: %w", m.Period, err)
			}
			if a.Ends != "" {
				y.pending = append(y.pending, pendingAction{kept.ID, a.Ends, a.Outcome})
			}
		}
		if m.Freezes {
			if err := y.freeze(ctx, m.Period); err != nil {
				return err
			}
		}
	}
	var left []pendingAction
	for _, a := range y.pending {
		if a.ends > day {
			left = append(left, a)
			continue
		}
		if _, err := y.works.db.ChangeAction(ctx, by, a.id, store.ActionClosed, a.outcome, ""); err != nil {
			return fmt.Errorf("end an action: %w", err)
		}
	}
	y.pending = left
	return nil
}

// review keeps what colleagues found of the cases of a month that reached a level.
func (y *demoYear) review(ctx context.Context, by store.Actor, month string) error {
	period, err := summary.ParsePeriod(month)
	if err != nil {
		return err
	}
	cases, err := y.works.db.Cases(ctx, store.Filter{From: period.From, To: period.To, FlagState: summary.StateReached, Limit: 500})
	if err != nil {
		return err
	}
	for _, one := range cases {
		c, ok := y.byStudy[one.StudyUID]
		if !ok {
			continue
		}
		state, reason := c.Review()
		if state == "" {
			continue
		}
		if _, err := y.works.db.ReviewCase(ctx, by, one.ID, one.Version, state, reason); err != nil {
			return err
		}
		y.looked++
	}
	return nil
}

// freeze keeps the baselines that the charts of values propose at the end of a month.
func (y *demoYear) freeze(ctx context.Context, month string) error {
	var made summary.Summary
	if err := y.call(ctx, access.Physicist, http.MethodGet, "/v1/summaries/"+month, "", nil, &made); err != nil {
		return err
	}
	for _, chart := range made.Charts {
		if chart.Kind != trend.ValueAndRange || chart.Status != trend.Proposed {
			continue
		}
		body, err := json.Marshal(map[string]string{"period": month, "chart": chart.Key, "reason": "six months of ordinary work (synthetic)"})
		if err != nil {
			return err
		}
		var kept httpapi.ChartBaseline
		if err := y.call(ctx, access.Physicist, http.MethodPost, "/v1/chart-baselines", "application/json", body, &kept); err != nil {
			return err
		}
	}
	return nil
}
