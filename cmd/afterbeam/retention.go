package main

import (
	"context"
	"fmt"
	"time"

	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
)

type retentionCommand struct {
	DryRun bool `help:"Only say what would go."`
	configOption
}

// forGood lists what no setting lets go, with the reason.
func forGood() [][2]string {
	return [][2]string{
		{"reports and quarantine", "received bytes are what every estimate rests on; a sender was told that they are kept"},
		{"cases and newest estimates", "what the patient received"},
		{"flags, asks, answers, own estimates", "follow-up of patients"},
		{"papers", "somebody has them in hand"},
		{"notices and who has seen them", "an amendment refers to what was told"},
		{"audit record, views among it", "a chain with a piece cut out proves nothing; it holds no name and no number of a patient"},
		{"accounts, tokens, devices, profiles", "records name them"},
	}
}

// Run removes what the settings let go, or says what would.
func (r *retentionCommand) Run(c console) error {
	s, err := r.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		all, err := upkeep.Retain(ctx, db, retention(s), r.DryRun)
		if err != nil {
			return err
		}
		p := printer{w: c.out}
		does := "removed"
		if r.DryRun {
			does = "would be removed"
		}
		for _, one := range all {
			if one.Kept == 0 {
				p.say("%s: kept for good", one.Class)
				continue
			}
			p.say("%s: kept for %d days, from before %s: %d %s, %d kept since something needs them", one.Class, int(one.Kept/(24*time.Hour)), one.Before.Format(time.DateOnly), one.Rows, does, one.Needed)
		}
		for _, one := range forGood() {
			p.say("%s: kept for good: %s", one[0], one[1])
		}
		return p.err
	})
}

type holdCommand struct {
	Add  holdAddCommand  `cmd:"" help:"Put everything of the patient of a case on hold, or everything there is."`
	End  holdEndCommand  `cmd:"" help:"End a hold."`
	List holdListCommand `cmd:"" help:"List the holds; names no patient."`
}

type holdAddCommand struct {
	Case       string `arg:"" optional:"" help:"Id of a case of the patient, as in the address of its page."`
	Everything bool   `help:"Hold everything instead."`
	reasonOption
}

// Run puts on hold.
func (h *holdAddCommand) Run(c console) error {
	if (h.Case == "") != h.Everything {
		return fmt.Errorf("%w: give the id of a case, or --everything", errUsage)
	}
	return h.beside(func(ctx context.Context, db *store.DB) error {
		made, err := db.AddHold(ctx, atConsole, h.Case, h.Reason)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintf(c.out, "hold %s is in force\n", made.ID)
		return err
	})
}

type holdEndCommand struct {
	Hold string `arg:"" help:"Id of the hold."`
	reasonOption
}

// Run ends a hold.
func (h *holdEndCommand) Run(c console) error {
	return h.beside(func(ctx context.Context, db *store.DB) error {
		if err := db.EndHold(ctx, atConsole, h.Hold, h.Reason); err != nil {
			return err
		}
		_, err := fmt.Fprintf(c.out, "hold %s is over\n", h.Hold)
		return err
	})
}

type holdListCommand struct{ configOption }

// Run lists the holds.
func (h *holdListCommand) Run(c console) error {
	s, err := h.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		all, err := db.Holds(ctx)
		if err != nil {
			return err
		}
		p := printer{w: c.out}
		for _, one := range all {
			what, stands := "patient "+one.PatientID, "in force"
			if one.PatientID == "" {
				what = "everything"
			}
			if !one.EndedAt.IsZero() {
				stands = "ended " + one.EndedAt.Format(time.DateOnly) + " (" + one.EndReason + ")"
			}
			p.say("%s  %s  since %s by %s: %s; %s", one.ID, what, one.MadeAt.Format(time.DateOnly), one.MadeBy, one.Reason, stands)
		}
		return p.err
	})
}

// beside opens the store beside the service and does one thing to it.
func (o reasonOption) beside(do func(ctx context.Context, db *store.DB) error) error {
	s, err := o.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, do)
}
