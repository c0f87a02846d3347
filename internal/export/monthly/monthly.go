package monthly

import (
	"context"
	"fmt"
	"time"

	"afterbeam/internal/followup/completeness"
	"afterbeam/internal/store"
	"afterbeam/internal/summary"
)

// historyMonths is how many months before the period its control charts look back: more than the 20 points of a baseline even
// of monthly rates, and the longest window of sums over a patient's procedures.
const historyMonths = 24

// Store is what a summary is made from. store.DB is one.
type Store interface {
	Today() string
	SummaryCases(ctx context.Context, f store.SummaryFilter) ([]summary.Case, error)
	HasPerformed(ctx context.Context, from, to string) (bool, error)
	Completeness(ctx context.Context, from, to string, r completeness.Rules) (completeness.List, func(caseID string) string, error)
	Actions(ctx context.Context, from, to string, rooms []string) ([]store.PeriodAction, error)
	Baselines(ctx context.Context) ([]store.FrozenBaseline, error)
	Devices(ctx context.Context, rooms []string) ([]store.Device, error)
	SignedProfiles(ctx context.Context, key string) ([]store.Profile, error)
	DeviceChecks(ctx context.Context, device string) ([]store.DeviceCheck, error)
}

// Ask is which summary is wanted.
type Ask struct {
	Period summary.Period
	Filter summary.Filter
	// OperatorNames has operators stand by name.
	OperatorNames bool
	// Rules are those by which a report counts as missing.
	Rules    completeness.Rules
	Settings summary.Settings
}

// Make gives the summary of a period.
func Make(ctx context.Context, db Store, ask Ask) (summary.Summary, error) {
	in, err := Input(ctx, db, ask)
	if err != nil {
		return summary.Summary{}, err
	}
	return summary.Summarise(in, ask.Settings)
}

// Input gathers what the summary of a period is made from: the cases of the period and of the months before it, and what
// belongs to them.
func Input(ctx context.Context, db Store, ask Ask) (summary.Input, error) {
	in := summary.Input{Period: ask.Period, AsOf: db.Today(), Filter: ask.Filter, OperatorNames: ask.OperatorNames}
	first, err := time.Parse(time.DateOnly, ask.Period.From)
	if err != nil {
		return in, fmt.Errorf("period %s: %w", ask.Period.Name, err)
	}
	in.History = first.AddDate(0, -historyMonths, 0).Format(time.DateOnly)
	if in.Cases, err = db.SummaryCases(ctx, store.SummaryFilter{
		From: in.History, To: ask.Period.To, Rooms: ask.Filter.Rooms, Room: ask.Filter.Room,
		Device: ask.Filter.Device, OpenAsks: true, OperatorNames: ask.OperatorNames,
	}); err != nil {
		return in, fmt.Errorf("cases of %s: %w", ask.Period.Name, err)
	}
	if in.Performed, err = performed(ctx, db, ask); err != nil {
		return in, fmt.Errorf("performed procedures of %s: %w", ask.Period.Name, err)
	}
	fleet, err := equipment(ctx, db, ask)
	if err != nil {
		return in, fmt.Errorf("devices of %s: %w", ask.Period.Name, err)
	}
	in.Meters = fleet.meters
	for i := range in.Cases {
		in.Cases[i].Mobile = fleet.mobile(in.Cases[i].Device, in.Cases[i].Day)
	}
	actions, err := db.Actions(ctx, ask.Period.From, ask.Period.To, ask.Filter.Rooms)
	if err != nil {
		return in, fmt.Errorf("actions of %s: %w", ask.Period.Name, err)
	}
	for _, a := range actions {
		in.Actions = append(in.Actions, a.Action)
	}
	baselines, err := db.Baselines(ctx)
	if err != nil {
		return in, fmt.Errorf("baselines: %w", err)
	}
	for _, b := range baselines {
		in.Baselines = append(in.Baselines, b.Baseline)
	}
	return in, nil
}

// performed gives what other systems say was done in the period and in the one before it, and what became of its reports. Where
// no such list exists there is none, which is not the same as an empty one.
func performed(ctx context.Context, db Store, ask Ask) ([]summary.Performed, error) {
	from, to := ask.Period.Before().From, ask.Period.To
	there, err := db.HasPerformed(ctx, from, to)
	if err != nil || !there {
		return nil, err
	}
	list, roomOf, err := db.Completeness(ctx, from, to, ask.Rules)
	if err != nil {
		return nil, err
	}
	list = list.Within(completeness.Scope{From: from, To: to, Room: ask.Filter.Room, Rooms: ask.Filter.Rooms}, roomOf)
	all := make([]summary.Performed, 0, len(list.Rows))
	for _, row := range list.Rows {
		one := row.Steps[0]
		p := summary.Performed{
			Day: one.Start.LocalDate(), Class: one.Class, Room: one.Room, Arrived: row.Outcome == completeness.Reported || row.Outcome == completeness.Elsewhere,
			Excluded: row.Outcome == completeness.Excluded, Pending: row.Outcome == completeness.Pending,
		}
		if len(row.Why) > 0 {
			p.Why = row.Why[0].Reason
		}
		all = append(all, p)
	}
	return all, nil
}
