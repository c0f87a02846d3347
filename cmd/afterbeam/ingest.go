package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"afterbeam/internal/ingest/backfill"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

type ingestCommand struct {
	Folder  string `arg:"" type:"existingdir" help:"Folder of dose report files, of any size; sub-folders too."`
	Refused string `placeholder:"FILE" help:"Write the files that were refused or quarantined, with reasons, to FILE (CSV) instead of standard error."`
	configOption
}

// Run hands every file of a folder to the store. Run again after a stop, it goes on where it was. While the service runs,
// the service assesses what arrives; otherwise this command does.
func (i *ingestCommand) Run(c console) (err error) {
	s, err := i.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	w, alone, err := open(ctx, s, c.err)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	to, closeRefused, err := refusedTo(i.Refused, c.err)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, closeRefused()) }()

	working, end := context.WithCancel(ctx)
	var pipeline sync.WaitGroup
	if alone {
		pipeline.Go(func() { w.pipeline.Run(working) })
	}
	progress := bar(c.err, "taking in")
	counts, err := backfill.Run(ctx, backfill.Config{
		Dir: i.Folder, Keeper: w.keeper, Journal: journal(s, i.Folder), Refused: to,
		Progress: func(done, total int, _ int64) { progress(done, total) },
	})
	if alone && err == nil {
		err = w.drained(ctx)
	}
	end()
	pipeline.Wait()
	_, printErr := fmt.Fprintf(c.out, "files %d, done before %d, new %d, again %d, quarantined %d, refused %d, unreadable %d\n",
		counts.Files, counts.Passed, counts.New, counts.Again, counts.Quarantined, counts.Refused, counts.Unreadable)
	switch {
	case err != nil && ctx.Err() != nil:
		err = fmt.Errorf("%w: run it again, it goes on where it was", errStopped)
	case err == nil && counts.Quarantined+counts.Refused+counts.Unreadable > 0:
		err = errPartial
	}
	return errors.Join(err, printErr)
}

// errStopped tells that the command was told to stop before it was through.
var errStopped = errors.New("stopped before the end")

// open opens the store alone, or beside the service that serves it.
func open(ctx context.Context, s settings.Settings, messages io.Writer) (w *works, alone bool, err error) {
	logger, err := logTo(messages, "warn")
	if err != nil {
		return nil, false, err
	}
	w, err = assemble(ctx, s, logger, toServe)
	if !errors.Is(err, store.ErrServed) {
		return w, true, err
	}
	w, err = assemble(ctx, s, logger, beside)
	return w, false, err
}

// drained waits until no job is due.
func (w *works) drained(ctx context.Context) error {
	for {
		b, err := w.db.Backlog(ctx)
		if err != nil {
			return err
		}
		if b.Waiting == 0 || b.Oldest.After(time.Now()) {
			return nil
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(20 * time.Millisecond):
		}
	}
}

// journal names the file beside the database that lists what of a folder is done.
func journal(s settings.Settings, folder string) string {
	if full, err := filepath.Abs(folder); err == nil {
		folder = full
	}
	sum := sha256.Sum256([]byte(folder))
	return filepath.Join(s.Store.Dir, "backfill-"+hex.EncodeToString(sum[:6])+".journal")
}

func refusedTo(name string, messages io.Writer) (io.Writer, func() error, error) {
	if name == "" {
		return messages, func() error { return nil }, nil
	}
	file, err := os.Create(name)
	if err != nil {
		return nil, nil, fmt.Errorf("cannot write refused files: %w", err)
	}
	return file, file.Close, nil
}
