package backfill

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"
)

// atOnce is how many names of a folder are read at a time, so that a folder of a million files fits.
const atOnce = 512

// walk visits every plain file below the root. Names that begin with a dot, links and anything else are left out.
func walk(ctx context.Context, root *os.Root, visit func(name string, info fs.FileInfo) error) error {
	return walkFolder(ctx, root, ".", visit)
}

func walkFolder(ctx context.Context, root *os.Root, folder string, visit func(string, fs.FileInfo) error) (err error) {
	dir, err := root.Open(folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, dir.Close()) }()
	for {
		entries, err := dir.ReadDir(atOnce)
		for _, e := range entries {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err := walkEntry(ctx, root, path.Join(folder, e.Name()), e, visit); err != nil {
				return err
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

func walkEntry(ctx context.Context, root *os.Root, name string, e fs.DirEntry, visit func(string, fs.FileInfo) error) error {
	if strings.HasPrefix(e.Name(), ".") {
		return nil
	}
	if e.IsDir() {
		return walkFolder(ctx, root, name, visit)
	}
	if !e.Type().IsRegular() {
		return nil
	}
	info, err := e.Info()
	if errors.Is(err, fs.ErrNotExist) {
		return nil // taken away meanwhile
	}
	if err != nil {
		return err
	}
	return visit(name, info)
}
