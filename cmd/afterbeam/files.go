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

// list gives the files of the arguments in order of name: files as they are, folders walked without dot files. What cannot
// be listed is refused and the rest goes on.
func list(args []string) (names []string, refused []refusal) {
	for _, arg := range args {
		arg = filepath.Clean(arg)
		info, err := os.Stat(arg)
		switch {
		case err != nil:
			refused = append(refused, refusal{arg, cannotRead(err)})
		case !info.IsDir():
			names = append(names, arg)
		default:
			found, bad := walk(arg)
			if len(found)+len(bad) == 0 {
				bad = append(bad, refusal{arg, errors.New("folder holds no files: expected DICOM X-ray radiation dose reports")})
			}
			names, refused = append(names, found...), append(refused, bad...)
		}
	}
	slices.Sort(names)
	return slices.Compact(names), refused
}

func walk(folder string) (names []string, refused []refusal) {
	// The function never gives an error, so that the walk has none.
	_ = filepath.WalkDir(folder, func(name string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			refused = append(refused, refusal{name, cannotRead(err)})
		case name != folder && strings.HasPrefix(entry.Name(), "."):
			if entry.IsDir() {
				return filepath.SkipDir
			}
		case !entry.IsDir():
			names = append(names, name)
		}
		return nil
	})
	return names, refused
}

// cannotRead gives the reason alone: the file is named beside it.
func cannotRead(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		err = path.Err
	}
	return fmt.Errorf("cannot read: %w", err)
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
		return nil, cannotRead(err)
	}
	if !info.Mode().IsRegular() {
		return nil, errors.New("not a regular file: expected a DICOM X-ray radiation dose report")
	}
	if info.Size() > opt.Limits.FileBytes {
		return nil, fmt.Errorf("%w: %d bytes, a dose report of at most %d expected", dicomio.ErrLimit, info.Size(), opt.Limits.FileBytes)
	}
	data, err := os.ReadFile(name)
	if err != nil {
		return nil, cannotRead(err)
	}
	return rdsr.Read(data, opt)
}
