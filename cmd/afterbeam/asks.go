package main

import (
	"context"
	"fmt"
	"text/tabwriter"

	"afterbeam/internal/audit"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/store"
)

type asksCommand struct {
	Owner   string `enum:"operator,physicist,any" default:"any" help:"Whom is asked: operator, physicist or any (default any)."`
	Overdue bool   `help:"Only those whose day is past."`
	All     bool   `help:"Answered, superseded and settled ones too."`
	configOption
}

// Run lists what is asked, the earliest due day first. Procedures stand by their ids, patients not at all.
func (a *asksCommand) Run(c console) error {
	s, err := a.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	f := store.AskFilter{Overdue: a.Overdue}
	if a.Owner != "any" {
		f.Owner = ask.Role(a.Owner)
	}
	if !a.All {
		f.States = []ask.State{ask.Open}
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		all, err := db.Asks(ctx, f)
		if err != nil {
			return err
		}
		if err := db.Note(ctx, atConsole, audit.Record{Action: "asks.list", Object: fmt.Sprintf("%d asks", len(all))}); err != nil {
			return err
		}
		return printAsks(c, all, db.Today())
	})
}

func printAsks(c console, all []store.AskRecord, today string) error {
	table := tabwriter.NewWriter(c.out, 0, 0, 2, ' ', 0)
	if _, err := fmt.Fprintln(table, "DUE\tDAYS OVER\tSTATE\tASKED OF\tPROCEDURE\tDAY\tROOM\tWHAT"); err != nil {
		return err
	}
	for _, a := range all {
		over := "-"
		if a.State == ask.Open {
			over = fmt.Sprint(ask.DaysBetween(a.Due, today))
		}
		if _, err := fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", a.Due, over, a.State, a.Owner, a.CaseID, a.Day, a.Room, ask.Words(a.Text)); err != nil {
			return err
		}
	}
	return table.Flush()
}
