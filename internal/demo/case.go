package demo

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"afterbeam/internal/procedure"
)

// Case is one report of the scenario.
type Case struct {
	// File is the name its file gets, such as "hybrid1-branched-repair-stage1.dcm".
	File string
	// Title says in one line what happens in it.
	Title  string
	Report procedure.Report
}

// Cases gives the whole scenario in order of date. Each call makes it anew, bit for bit the same.
func Cases() []Case {
	scenes := allScenes()
	cases := make([]Case, 0, len(scenes))
	for i, s := range scenes {
		cases = append(cases, Case{File: s.file, Title: s.title, Report: s.report(uint64(i))})
	}
	return cases
}

// WriteAll writes each case into the folder dir, made when missing, by the given encoder, and returns the paths in order
// of date. A file that cannot be written whole ends it with an error naming the file.
func WriteAll(dir string, write func(io.Writer, *procedure.Report) error) ([]string, error) {
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return nil, fmt.Errorf("make the folder of the demonstration: %w", err)
	}
	var paths []string
	for _, c := range Cases() {
		path := filepath.Join(dir, c.File)
		if err := writeOne(path, &c.Report, write); err != nil {
			return paths, fmt.Errorf("write %s: %w", path, err)
		}
		paths = append(paths, path)
	}
	return paths, nil
}

func writeOne(path string, r *procedure.Report, write func(io.Writer, *procedure.Report) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(f, r), f.Close())
}
