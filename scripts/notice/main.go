// Command notice writes NOTICE at the module's root: the modules that the program and its tests are built with, and the
// licence and copyright of each. With -texts FILE it writes instead the licence texts of the modules in the program,
// which have to go along with the program wherever it is passed on; with -sbom FILE what the built -program is made of, as
// CycloneDX JSON.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

const head = `afterbeam

Licensed under the Apache License, Version 2.0; see the file LICENSE.

The program is built with the modules below, each under its own licence. Modules marked (tests) are used by the tests
and by scripts alone and are no part of the program. Whoever passes the built program on adds the modules' licence texts, which
"go run ./scripts/notice -texts FILE" collects. This list is made by "make notice".
`

// module is what the go command tells of one module.
type module struct {
	Path, Version, Dir string
	Main               bool
}

func main() {
	texts := flag.String("texts", "", "write the licence texts of the modules in the program to this file")
	sbom := flag.String("sbom", "", "write what the built program is made of to this file, as CycloneDX JSON")
	program := flag.String("program", "bin/afterbeam", "the built program, for -sbom")
	version := flag.String("version", "unknown", "version of the program, for -sbom")
	flag.Parse()
	write := func() error { return run(*texts) }
	if *sbom != "" {
		write = func() error { return billOfMaterials(*sbom, *program, *version) }
	}
	if err := write(); err != nil {
		fmt.Fprintln(os.Stderr, "notice:", err)
		os.Exit(1)
	}
}

func run(texts string) error {
	program, err := modules("./cmd/...")
	if err != nil {
		return err
	}
	if texts != "" {
		return write(texts, program, fullText)
	}
	root, err := output("go", "list", "-m", "-f", "{{.Dir}}")
	if err != nil {
		return err
	}
	all, err := modules("-test", "./...")
	if err != nil {
		return err
	}
	return write(filepath.Join(strings.TrimSpace(string(root)), "NOTICE"), all, func(m module, licences []string) string {
		return entry(m, licences, slices.Contains(program, m))
	})
}

// write makes a file of the head and of what one function says of each module.
func write(file string, modules []module, say func(module, []string) string) error {
	out := bytes.NewBufferString(head)
	for _, m := range modules {
		licences, err := licences(m.Dir)
		if err != nil {
			return fmt.Errorf("%s: %w", m.Path, err)
		}
		out.WriteString("\n" + say(m, licences))
	}
	return os.WriteFile(file, out.Bytes(), 0o600)
}

func fullText(m module, licences []string) string {
	return strings.Repeat("-", 120) + "\n" + m.Path + " " + m.Version + "\n\n" + strings.Join(licences, "\n\n") + "\n"
}

// entry gives the lines of one module: its licences and whose copyright they name.
func entry(m module, licences []string, inProgram bool) string {
	var holders []string
	for _, text := range licences {
		if kind(text) == gathered {
			continue
		}
		for line := range strings.Lines(text) {
			line = strings.TrimSpace(line)
			if year := strings.IndexAny(line, "0123456789"); strings.HasPrefix(line, "Copyright ") && year >= 0 && !slices.Contains(holders, line) {
				holders = append(holders, line)
			}
		}
	}
	use := ""
	if !inProgram {
		use = " (tests)"
	}
	text := m.Path + " " + m.Version + use + "\n    " + strings.Join(kinds(licences), "; ") + "\n"
	for _, h := range holders {
		text += "    " + h + "\n"
	}
	return text
}

// modules gives the other modules that packages are built from, in the order of their paths.
func modules(arguments ...string) ([]module, error) {
	out, err := output("go", append([]string{"list", "-deps", "-json=Module"}, arguments...)...)
	if err != nil {
		return nil, err
	}
	var found []module
	for decoder := json.NewDecoder(bytes.NewReader(out)); ; {
		var pkg struct{ Module *module }
		err := decoder.Decode(&pkg)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		if m := pkg.Module; m != nil && !m.Main && !slices.Contains(found, *m) {
			found = append(found, *m)
		}
	}
	slices.SortFunc(found, func(a, b module) int { return strings.Compare(a.Path, b.Path) })
	return found, nil
}

// licences reads a module's licence files, without white space at the ends of their lines.
func licences(folder string) ([]string, error) {
	var texts []string
	err := filepath.WalkDir(folder, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		name := strings.ToUpper(e.Name())
		isLicence := strings.HasPrefix(name, "LICENSE") || strings.HasPrefix(name, "LICENCE") || strings.HasPrefix(name, "COPYING")
		switch {
		case e.IsDir() && path != folder && !isLicence:
			return filepath.SkipDir
		case e.IsDir() || !isLicence && filepath.Dir(path) == folder:
			return nil
		}
		text, err := os.ReadFile(path) // #nosec G122 -- the module cache, which nobody changes while this runs
		if err != nil {
			return err
		}
		lines := strings.Split(strings.Trim(string(text), "\r\n"), "\n")
		for i := range lines {
			lines[i] = strings.TrimRight(lines[i], " \t\r")
		}
		texts = append(texts, strings.Join(lines, "\n"))
		return nil
	})
	if err == nil && len(texts) == 0 {
		err = errors.New("no licence file; ask for one or use another module")
	}
	return texts, err
}

// gathered is the kind of a file that lists what a module contains from elsewhere; its holders stand in the texts.
const gathered = "and the licences of what it contains"

// kind names a licence by words that stand only in its text; files that gather several are named as such.
func kind(text string) string {
	flat := strings.Join(strings.Fields(text), " ")
	for _, k := range []struct{ name, words string }{
		{gathered, "Third-Party Licenses"},
		{"public domain", "public domain"},
		{"CC-BY-4.0", "Creative Commons Attribution 4.0"},
		{"CC-BY-4.0", "creativecommons.org/licenses/by/4.0"},
		{"OFL-1.1", "SIL OPEN FONT LICENSE"},
		{"FTL", "The FreeType Project LICENSE"},
		{"GPL-2.0", "GNU GENERAL PUBLIC LICENSE"},
		{"Apache-2.0", "Apache License Version 2.0"},
		{"MPL-2.0", "Mozilla Public License Version 2.0"},
		{"MPL-2.0", "Mozilla Public License, version 2.0"},
		{"BSD-3-Clause", "Neither the name of"},
		{"BSD-3-Clause", "may be used to endorse or promote products"},
		{"BSD-2-Clause", "Redistributions in binary form must reproduce"},
		{"MIT", "Permission is hereby granted, free of charge"},
	} {
		if strings.Contains(flat, k.words) {
			return k.name
		}
	}
	return "see its text"
}

func output(name string, arguments ...string) ([]byte, error) {
	command := exec.Command(name, arguments...) // #nosec G204 -- fixed arguments of this file
	command.Stderr = os.Stderr
	return command.Output()
}
