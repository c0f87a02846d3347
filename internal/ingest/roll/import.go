package roll

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"

	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/store"
)

// Book is the part of the store that an import needs. store.DB is one.
type Book interface {
	BeginImport(ctx context.Context, actor store.Actor) (string, error)
	AddSteps(ctx context.Context, actor store.Actor, importID string, steps []store.StepRow) ([]store.Outcome, error)
	EndImport(ctx context.Context, actor store.Actor, i store.Imported) error
}

// Result is what became of a table.
type Result struct {
	store.Imported
	// Ignored are the numbers of the columns whose names are not known.
	Ignored []int
	// Problems say of the first lines that were left out what was expected; MoreProblems counts the others.
	Problems     []string
	MoreProblems int
}

const (
	batch        = 200  // lines in one transaction
	mostProblems = 1000 // told one by one
)

// Import reads a table and stores its good lines. It is stored as it is read, so that a table of any size takes little
// memory; one that breaks off in the middle is completed by importing it again. An error that is performed.ErrTable is the
// table's; what was stored before it stays.
func Import(ctx context.Context, book Book, actor store.Actor, table io.Reader, opt performed.Options) (Result, error) {
	digest := sha256.New()
	t, err := performed.Read(io.TeeReader(table, digest), opt)
	if err != nil {
		return Result{}, err
	}
	r := Result{Ignored: t.Ignored}
	if r.ID, err = book.BeginImport(ctx, actor); err != nil {
		return r, err
	}
	var waiting []store.StepRow
	flush := func() error {
		outcomes, err := book.AddSteps(ctx, actor, r.ID, waiting)
		waiting = waiting[:0]
		for _, o := range outcomes {
			r.count(o)
		}
		return err
	}
	for row, err := range t.Rows() {
		if err != nil {
			return r, fmt.Errorf("import %s: %w", r.ID, err)
		}
		if row.Err != nil {
			r.refuse(row.Err)
			continue
		}
		if waiting = append(waiting, store.StepRow{Line: row.Line, Step: row.Step}); len(waiting) == batch {
			if err := flush(); err != nil {
				return r, err
			}
		}
	}
	if err := flush(); err != nil {
		return r, err
	}
	r.Digest = hex.EncodeToString(digest.Sum(nil))
	return r, book.EndImport(ctx, actor, r.Imported)
}

func (r *Result) count(o store.Outcome) {
	switch o {
	case store.StepAdded:
		r.Added++
	case store.StepChanged:
		r.Changed++
	case store.StepSame:
		r.Same++
	}
}

func (r *Result) refuse(err error) {
	r.Refused++
	if len(r.Problems) == mostProblems {
		r.MoreProblems++
		return
	}
	r.Problems = append(r.Problems, err.Error())
}
