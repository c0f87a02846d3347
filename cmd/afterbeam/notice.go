package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"

	"afterbeam/internal/followup/notice"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

type noticeCommand struct {
	Show   noticeShowCommand   `cmd:"" help:"Show what was told of a case, to whom and when, and who has acknowledged it."`
	Resend noticeResendCommand `cmd:"" help:"Have a notice sent once more; it keeps its reference and says that it is a repeat."`
}

type noticeShowCommand struct {
	Reference string `arg:"" help:"Reference of a notice, or the id of a case for all of its notices."`
	Language  string `default:"en" help:"Language of the text."`
	configOption
}

// Run prints notices with every try to deliver them. Showing one is a view of patient data: it is on the record first.
func (n *noticeShowCommand) Run(c console) error {
	s, err := n.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	if !notice.Languages().Has(n.Language) {
		return fmt.Errorf("%w: --language wants one of %v", errUsage, notice.Languages().Tags())
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		all, err := n.find(ctx, db)
		if err != nil {
			return err
		}
		if err := viewAtConsole(ctx, db, all[0]); err != nil {
			return err
		}
		for _, one := range all {
			if err := showNotice(ctx, c.out, db, s, one, n.Language); err != nil {
				return err
			}
		}
		return showAcknowledged(ctx, c.out, db, all[0].CaseID)
	})
}

// find gives one notice by its reference, or those of a case.
func (n *noticeShowCommand) find(ctx context.Context, db *store.DB) ([]store.Notice, error) {
	one, err := db.Notice(ctx, n.Reference)
	if err == nil {
		return []store.Notice{one}, nil
	}
	if !errors.Is(err, store.ErrNotFound) {
		return nil, err
	}
	all, err := db.NoticesOf(ctx, n.Reference)
	if err == nil && len(all) == 0 {
		return nil, fmt.Errorf("there is no notice with the reference, and none of a case with the id, %s", n.Reference)
	}
	return all, err
}

func viewAtConsole(ctx context.Context, db *store.DB, n store.Notice) error {
	if n.CaseID == "" {
		return nil
	}
	one, err := db.Case(ctx, n.CaseID)
	if err != nil {
		return err
	}
	return db.Viewed(ctx, atConsole, "notice.view", n.ID, one.PatientID)
}

func showNotice(ctx context.Context, w io.Writer, db *store.DB, s settings.Settings, n store.Notice, language string) error {
	item := notice.Item{Reference: n.ID, Kind: n.Kind, Urgent: n.Urgent, Link: notice.Link(pagesOf(s), n.CaseID)}
	if err := json.Unmarshal(n.Content, &item.Content); err != nil {
		return fmt.Errorf("read notice %s: %w", n.ID, err)
	}
	subject, text := notice.Render(notice.Letter{Items: []notice.Item{item}}, language)
	p := printer{w: w}
	p.say("notice    %s, queued %s, version %d of the case\nsubject   %s\n\n%s", n.ID, stampOf(n.CreatedAt), n.Version, subject, text)
	if n.Problem != "" {
		p.say("not sent  %s", n.Problem)
	}
	messages, err := db.MessagesOf(ctx, n.ID)
	if err != nil {
		return err
	}
	for _, m := range messages {
		p.say("message   %s to account %s by %s: %s", m.ID, m.Account, m.Channel, m.State)
		tries, err := db.Attempts(ctx, m.ID)
		if err != nil {
			return err
		}
		for _, a := range tries {
			words := string(a.Outcome)
			if a.Repeat {
				words += ", as a repeat"
			}
			if a.Error != "" {
				words += ": " + a.Error
			}
			p.say("  %s  %s", stampOf(a.BegunAt), words)
		}
	}
	return p.err
}

func showAcknowledged(ctx context.Context, w io.Writer, db *store.DB, caseID string) error {
	all, err := db.Acknowledgements(ctx, caseID)
	if err != nil {
		return err
	}
	p := printer{w: w}
	for _, a := range all {
		p.say("seen      by account %s, version %d, %s", a.Account, a.Version, stampOf(a.MadeAt))
	}
	return p.err
}

func stampOf(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 MST") }

type noticeResendCommand struct {
	Reference string `arg:"" help:"Reference of the notice."`
	Reason    string `required:"" help:"Why it is sent again; it stands in the audit record."`
	configOption
}

// Run has a notice sent again by the service, at once when it runs and else at its next start.
func (n *noticeResendCommand) Run(c console) error {
	s, err := n.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		if err := db.ResendNotice(ctx, atConsole, n.Reference, n.Reason); err != nil {
			return fmt.Errorf("notice %s: %w", n.Reference, err)
		}
		_, err := fmt.Fprintf(c.out, "notice %s will be sent again by the service, under the same reference and as a repeat\n", n.Reference)
		return err
	})
}
