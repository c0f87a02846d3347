package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"afterbeam/internal/access"
	"afterbeam/internal/demo"
	"afterbeam/internal/store"
)

// operators makes an operator's account, who hears of the cases of every room of the demonstration.
func (d *demoService) operators(ctx context.Context) error {
	actor := store.System("demo")
	account, err := d.works.db.AddAccount(ctx, actor, "demo operator", string(access.Operator), demo.Rooms())
	if err != nil {
		return err
	}
	d.accounts[access.Operator] = account.ID
	for _, room := range demo.Rooms() {
		if err := d.works.db.SetFallback(ctx, actor, room, account.ID, "demonstration"); err != nil {
			return err
		}
	}
	return nil
}

// told waits until every notice is in the outbox.
func (d *demoService) told(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, demoWithin)
	defer cancel()
	for {
		waiting, err := d.works.db.NoticesWaiting(ctx)
		if err != nil || waiting == 0 {
			return err
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("the service did not deliver its notices: %w", ctx.Err())
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// notices shows what the operator was told of the second session of the staged repair.
func (d *demoService) notices(ctx context.Context, p *printer, number, dir string) error {
	if err := d.told(ctx); err != nil {
		return err
	}
	db := d.works.db
	found, err := db.FindPatients(ctx, number, "")
	if err != nil || len(found) == 0 {
		return errors.Join(err, fmt.Errorf("patient of the staged repair: found %d records", len(found)))
	}
	cases, err := db.CasesOfPatient(ctx, found[0].ID)
	if err != nil || len(cases) == 0 {
		return errors.Join(err, fmt.Errorf("patient of the staged repair: found %d cases", len(cases)))
	}
	last, err := db.LastNotice(ctx, cases[len(cases)-1].ID)
	if err != nil {
		return err
	}
	messages, err := db.MessagesOf(ctx, last.ID)
	if err != nil || len(messages) == 0 {
		return errors.Join(err, fmt.Errorf("notice %s lies in %d messages", last.ID, len(messages)))
	}
	file := filepath.Join(dir, messages[0].ID+".txt")
	text, err := os.ReadFile(file)
	if err != nil {
		return fmt.Errorf("read notice: %w", err)
	}
	_, body, _ := strings.Cut(string(text), "\n\n")
	body = strings.ReplaceAll(body, last.ID, "(of this run)")
	p.say("\nthe notice of the second session of the staged repair, as the operator gets it:")
	for line := range strings.Lines(body) {
		p.say("  | %s", strings.TrimRight(line, "\n"))
	}
	return p.err
}
