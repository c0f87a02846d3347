package main

import (
	"context"
	"fmt"

	"afterbeam/internal/store"
)

type redoCommand struct {
	Failed    redoFailedCommand    `cmd:"" help:"Try again the jobs that failed for good, as after a fault was mended. No start of the service does that by itself."`
	Estimates redoEstimatesCommand `cmd:"" help:"Estimate every study anew, as after a change of tables or methods. What arrives meanwhile goes first."`
	Summaries redoSummariesCommand `cmd:"" help:"Make the rows of summaries anew from the cases, as after verify found one that differs."`
}

// atConsole names who changes the store at the machine itself: the operating system says who that may be.
var atConsole = store.Actor{Account: "console", Role: "service", Source: "console"}

type reasonOption struct {
	Reason string `required:"" placeholder:"TEXT" help:"Why; it goes into the audit record."`
	configOption
}

// with opens the store beside the service and does one thing to it, whose result is printed.
func (o reasonOption) with(c console, done string, do func(ctx context.Context, db *store.DB) (int, error)) error {
	return o.beside(func(ctx context.Context, db *store.DB) error {
		n, err := do(ctx, db)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, done+"\n", n)
		return err
	})
}

type redoFailedCommand struct{ reasonOption }

// Run has every failed job tried again.
func (r *redoFailedCommand) Run(c console) error {
	return r.with(c, "%d jobs are tried again by the running service, or at its next start", func(ctx context.Context, db *store.DB) (int, error) {
		return db.RetryFailed(ctx, atConsole, r.Reason)
	})
}

type redoEstimatesCommand struct{ reasonOption }

// Run has every study estimated anew.
func (r *redoEstimatesCommand) Run(c console) error {
	return r.with(c, "%d studies are estimated anew by the running service, or at its next start", func(ctx context.Context, db *store.DB) (int, error) {
		asked, err := db.Recompute(ctx, atConsole, store.Recomputation{Reason: r.Reason})
		return asked.Studies, err
	})
}

type redoSummariesCommand struct{ reasonOption }

// Run has the rows of summaries made anew.
func (r *redoSummariesCommand) Run(c console) error {
	return r.with(c, "the rows of summaries were made anew; %d differed from their cases", func(ctx context.Context, db *store.DB) (int, error) {
		return db.MakeSummaryRows(ctx, atConsole, r.Reason)
	})
}
