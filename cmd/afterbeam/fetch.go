package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"sync"
	"syscall"
	"time"

	"afterbeam/internal/audit"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

type fetchCommand struct {
	From string `placeholder:"DAY" help:"First study date, such as 2026-01-01."`
	To   string `placeholder:"DAY" help:"Last study date."`
	Anew bool   `help:"Search days again that an earlier run searched to the end."`
	Gaps bool   `help:"List what the archive has and the store has not, with reasons, and days not searched to the end; the archive is not asked."`
	configOption
}

// Run fetches the dose reports of a period from the archive, and what earlier runs left over; without a period that
// alone. While the service runs, the service assesses what arrives and takes what the archive sends by C-MOVE; otherwise
// this command does.
func (f *fetchCommand) Run(c console) error {
	s, err := f.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	period, err := f.period()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	if s.Archive.Address == "" {
		return fmt.Errorf("%w: no archive is set: give archive.address and archive.title in the settings", errUsage)
	}
	if f.Gaps {
		return withStore(s, func(ctx context.Context, db *store.DB) error { return f.list(ctx, c, db, s.Archive.Title) })
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return f.into(ctx, c, s, period)
}

// period reads the days, both or none.
func (f *fetchCommand) period() (p queryretrieve.Period, err error) {
	if f.From == "" && f.To == "" {
		return p, nil
	}
	for _, one := range []struct {
		text string
		to   *time.Time
	}{{f.From, &p.From}, {f.To, &p.To}} {
		if *one.to, err = time.Parse(time.DateOnly, one.text); err != nil {
			return p, fmt.Errorf("--from and --to want days such as 2026-01-31, both or none, got %q", one.text)
		}
	}
	if p.To.Before(p.From) {
		return p, fmt.Errorf("--to %s is before --from %s", f.To, f.From)
	}
	return p, nil
}

// into runs one fetch into the store, alone or beside the service.
func (f *fetchCommand) into(ctx context.Context, c console, s settings.Settings, period queryretrieve.Period) (err error) {
	w, alone, err := open(ctx, s, c.err)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	cfg, err := w.archive()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	cfg.Anew = f.Anew
	cfg.Progress = bar(c.err, "fetching")
	working, end := context.WithCancel(ctx)
	var running sync.WaitGroup
	defer func() {
		end()
		running.Wait()
	}()
	if alone {
		running.Go(func() { w.pipeline.Run(working) })
		if err := w.answerArchive(working, &running); err != nil {
			return err
		}
	}
	counts, err := queryretrieve.Run(ctx, cfg, period)
	if alone && err == nil {
		err = w.drained(ctx)
	}
	return w.fetched(c, counts, err, ctx.Err() != nil)
}

// fetched prints and notes what a run did.
func (w *works) fetched(c console, n queryretrieve.Counts, err error, stopped bool) error {
	text := fmt.Sprintf("days %d, done before %d, not searched to the end %d; studies %d, passed over %d; dose reports found %d, had before %d, fetched %d, failed %d",
		n.Days, n.DaysBefore, n.DaysOpen, n.Studies, n.Passed, n.Reports, n.Held, n.Got, n.Failed)
	_, printErr := fmt.Fprintln(c.out, text)
	outcome := "done"
	if err != nil {
		outcome = "failed"
	}
	noteErr := w.db.Note(context.Background(), store.System("archive"), audit.Record{Action: "archive.fetch", Object: w.settings.Archive.Title, Outcome: outcome, Reason: text})
	switch {
	case err != nil && stopped:
		err = fmt.Errorf("%w: run it again, it goes on where it was", errStopped)
	case err == nil && n.Failed+n.DaysOpen > 0:
		_, printErr = fmt.Fprintln(c.err, "not everything came: afterbeam fetch --gaps lists it with reasons, afterbeam fetch tries it again")
		err = errPartial
	}
	return errors.Join(err, printErr, noteErr)
}

// archive gives the configuration of a fetch by the settings.
func (w *works) archive() (cfg queryretrieve.Config, err error) {
	s := w.settings.Archive
	site, err := time.LoadLocation(w.settings.Zone)
	if err != nil {
		return cfg, fmt.Errorf("zone: %w", err)
	}
	hours, err := queryretrieve.ParseHours(s.HoursFrom, s.HoursTo)
	if err != nil {
		return cfg, fmt.Errorf("archive: %w", err)
	}
	cfg = queryretrieve.Config{
		Address: s.Address, Title: s.Title, Destination: w.settings.DICOM.Title, By: queryretrieve.By(s.Retrieve), Converted: s.ConvertedReports,
		Rate: s.RequestsPerSecond, Hours: hours, Attempts: queryretrieve.DefaultAttempts, Store: w.db, Keeper: w.keeper, Log: w.log,
		Now: func() time.Time { return time.Now().In(site) }, Sleep: queryretrieve.Sleep,
	}
	if w.network == nil {
		cfg.Destination = ""
	}
	cfg.Requestor.Calling = s.OurTitle
	if s.OurTitle == "" {
		cfg.Requestor.Calling = w.settings.DICOM.Title
	}
	cfg.Requestor.Limits = dicomLimits(w.settings.DICOM)
	cfg.Requestor.Limits.Idle = time.Duration(s.AnswerSeconds) * time.Second
	if s.TLS {
		encryption, err := archiveEncryption(s)
		if err != nil {
			return cfg, err
		}
		cfg.Requestor.Dialer = &tls.Dialer{Config: encryption}
	}
	return cfg, nil
}

func archiveEncryption(s settings.Archive) (*tls.Config, error) {
	cfg := &tls.Config{MinVersion: tls.VersionTLS12}
	if s.Certificate != "" {
		pair, err := tls.LoadX509KeyPair(s.Certificate, s.Key)
		if err != nil {
			return nil, fmt.Errorf("archive.certificate and archive.key: %w", err)
		}
		cfg.Certificates = []tls.Certificate{pair}
	}
	if s.Authority == "" {
		return cfg, nil
	}
	text, err := os.ReadFile(s.Authority)
	if err != nil {
		return nil, fmt.Errorf("archive.authority: %w", err)
	}
	cfg.RootCAs = x509.NewCertPool()
	if !cfg.RootCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("archive.authority %s wants certificates in PEM form", s.Authority)
	}
	return cfg, nil
}

// answerArchive opens the door of the DICOM network for what an archive sends by C-MOVE, where the settings have one.
func (w *works) answerArchive(ctx context.Context, running *sync.WaitGroup) error {
	if w.network == nil || w.settings.Archive.Retrieve == "get" {
		return nil
	}
	before := len(w.doors)
	if err := w.listenDICOM(ctx); err != nil {
		return err
	}
	for _, door := range w.doors[before:] {
		running.Go(func() {
			if err := door(ctx); err != nil && ctx.Err() == nil {
				w.log.Error("door to the DICOM network ended", "error", err)
			}
		})
	}
	return nil
}

// list prints the gaps. It names no patient.
func (f *fetchCommand) list(ctx context.Context, c console, db *store.DB, archive string) error {
	days, err := db.SearchedDays(ctx, archive, f.From, f.To)
	if err != nil {
		return err
	}
	lacking, err := db.Lacking(ctx, archive, f.From, f.To)
	if err != nil {
		return err
	}
	open := 0
	for _, d := range days {
		if d.Problem != "" {
			open++
		}
	}
	p := printer{w: c.out}
	p.say("archive %s: %d days searched, %d of them not to the end; %d dose reports not here", archive, len(days), open, len(lacking))
	for _, d := range days {
		if d.Problem != "" {
			p.say("\n%s  not searched to the end\n  %s", d.Day, d.Problem)
		}
	}
	for _, o := range lacking {
		p.say("\n%s  study %s\n  series %s\n  instance %s\n  %s", o.Day, o.StudyUID, o.SeriesUID, o.SOPInstance, lackingBecause(o))
	}
	return p.err
}

func lackingBecause(o store.Archived) string {
	switch {
	case o.State == store.ArchivedKnown:
		return "not asked for yet"
	case o.Status == "":
		return fmt.Sprintf("asked for %s: %s", times(o.Attempts), o.Reason)
	}
	return fmt.Sprintf("asked for %s, the last time answered %s: %s", times(o.Attempts), o.Status, o.Reason)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}
