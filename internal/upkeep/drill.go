package upkeep

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"afterbeam/internal/store"
)

// Drill is a restore that is tried: a backup is restored into a scratch folder, verified there and set beside the store.
type Drill struct {
	Store   *store.DB
	From    Copy   // the backup
	Scratch string // a folder in which a new one is made for the restored store
	Keep    bool   // leave the restored store there
	Program string
	Now     func() time.Time
}

// Step is one part of a drill.
type Step struct {
	Name string
	Took time.Duration
}

// Result is what a drill came to.
type Result struct {
	From     Copy
	Begun    time.Time
	Steps    []Step
	Restored string // the folder of the restored store, removed unless it was to be kept
	Bytes    int64  // of the restored store
	// Damaged says what could not be read in the backup, nil when all could.
	Damaged      error
	Verification store.Verification
	Comparison   store.Comparison
}

// Sound tells whether the backup would have brought the store back.
func (r Result) Sound() bool {
	return r.Damaged == nil && r.Verification.Sound() && r.Comparison.Same()
}

// Took is the time from the begin to a store that could be served.
func (r Result) Took() time.Duration {
	var all time.Duration
	for _, s := range r.Steps {
		all += s.Took
	}
	return all
}

// Run carries the drill out and writes down in the store what it came to; a backup that would not have brought the store back is
// an error of the kind ErrUnsound, with the Result as far as it came.
func (d Drill) Run(ctx context.Context) (r Result, err error) {
	_, err = recorded(ctx, d.Store, store.DrillRun, func() (string, error) {
		r, err = d.carryOut(ctx)
		if err != nil {
			return "", err
		}
		detail := fmt.Sprintf("%s restored in %s: %s; receipts %d, estimates %d compared, %d differ, %d lost", filepath.Base(d.From.Dir), r.Took().Round(time.Millisecond),
			Told(r.Verification), r.Comparison.Receipts, r.Comparison.Estimates, len(r.Comparison.Differing), len(r.Comparison.Lost))
		if !r.Sound() {
			return "", fmt.Errorf("%w: %s", ErrUnsound, detail)
		}
		return detail, nil
	})
	return r, err
}

func (d Drill) carryOut(ctx context.Context) (r Result, err error) {
	r = Result{From: d.From, Begun: d.Now()}
	scratch, err := os.MkdirTemp(d.Scratch, "afterbeam-drill-")
	if err != nil {
		return r, fmt.Errorf("make scratch folder: %w", err)
	}
	r.Restored = filepath.Join(scratch, "store")
	if !d.Keep {
		// The restored store holds patients' data.
		defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	}
	step := func(name string, do func() error) error {
		begun := d.Now()
		err := do()
		r.Steps = append(r.Steps, Step{name, d.Now().Sub(begun)})
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		return nil
	}
	err = step("restore", func() (err error) {
		r.Damaged, err = store.Unpack(ctx, d.From.Dir, r.Restored)
		return err
	})
	if err != nil {
		return r, err
	}
	var restored *store.DB
	err = step("open", func() (err error) {
		restored, err = store.Open(ctx, store.Config{Dir: r.Restored, Program: d.Program, Now: d.Now})
		return err
	})
	if err != nil {
		return r, err
	}
	err = errors.Join(
		step("verify", func() (err error) { r.Verification, err = restored.Verify(ctx, nil); return err }),
		step("compare", func() (err error) { r.Comparison, err = d.Store.Compare(ctx, restored); return err }),
		restored.Close(),
	)
	if err != nil {
		return r, err
	}
	r.Bytes, err = sizeOf(r.Restored)
	return r, err
}

// sizeOf adds up the files below a folder.
func sizeOf(dir string) (bytes int64, err error) {
	err = filepath.WalkDir(dir, func(_ string, e os.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		info, err := e.Info()
		if err == nil {
			bytes += info.Size()
		}
		return err
	})
	return bytes, err
}
