package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// received is what a run over files has read, and what it refused with the reason.
type received struct {
	reports []procedure.Report
	// files names the files of each report by its SOP instance UID.
	files   map[string][]string
	refused []refusal
}

type refusal struct {
	file string
	err  error
}

// list gives the files of the arguments: files as they are, folders walked in order without dot files.
func list(args []string) ([]string, error) {
	var names []string
	for _, arg := range args {
		info, err := os.Stat(arg)
		if err != nil {
			return nil, fmt.Errorf("cannot read %q: %w", arg, errors.Unwrap(err))
		}
		if !info.IsDir() {
			names = append(names, arg)
			continue
		}
		before := len(names)
		err = filepath.WalkDir(arg, func(name string, entry fs.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case name != arg && strings.HasPrefix(entry.Name(), "."):
				if entry.IsDir() {
					return filepath.SkipDir
				}
			case entry.Type().IsRegular():
				names = append(names, name)
			}
			return nil
		})
		if err != nil {
			return nil, fmt.Errorf("cannot walk %q: %w", arg, err)
		}
		if len(names) == before {
			return nil, fmt.Errorf("folder %q holds no files: expected DICOM X-ray radiation dose reports", arg)
		}
	}
	return slices.Compact(names), nil
}

// receive reads every file; one that cannot be used is refused and the others go on.
func receive(names []string, opt rdsr.Options, progress func(done, total int)) received {
	r := received{files: map[string][]string{}}
	for i, name := range names {
		report, err := readReport(name, opt)
		if err != nil {
			r.refused = append(r.refused, refusal{name, err})
		} else {
			r.reports = append(r.reports, *report)
			r.files[report.SOPInstanceUID] = append(r.files[report.SOPInstanceUID], name)
		}
		progress(i+1, len(names))
	}
	return r
}

func readReport(name string, opt rdsr.Options) (*procedure.Report, error) {
	info, err := os.Stat(name)
	if err != nil {
		return nil, fmt.Errorf("cannot read: %w", errors.Unwrap(err))
	}
	if info.Size() > opt.Limits.FileBytes {
		return nil, fmt.Errorf("%w: %d bytes, a dose report of at most %d expected", dicomio.ErrLimit, info.Size(), opt.Limits.FileBytes)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, fmt.Errorf("cannot read: %w", errors.Unwrap(err))
	}
	return rdsr.Read(data, opt)
}
