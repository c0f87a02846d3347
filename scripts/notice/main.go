// Command notice writes NOTICE at the module's root: the modules that the program and its tests are built with, and the
// licence text of each, as the licences ask of whoever passes the program on.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
)

const head = `afterbeam

Licensed under the Apache License, Version 2.0; see the file LICENSE.

The program is built with the modules below, each under its own licence, which follows the list. Modules marked (tests)
are used by the tests alone and are no part of the program. This file is made by "make notice".
`

// module is what the go command tells of one module.
type module struct {
	Path, Version, Dir string
	Main               bool
}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "notice:", err)
		os.Exit(1)
	}
}

func run() error {
	root, err := output("go", "list", "-m", "-f", "{{.Dir}}")
	if err != nil {
		return err
	}
	program, err := modules("./cmd/...")
	if err != nil {
		return err
	}
	all, err := modules("-test", "./...")
	if err != nil {
		return err
	}
	var list, texts bytes.Buffer
	for _, m := range all {
		text, err := licence(m.Dir)
		if err != nil {
			return fmt.Errorf("%s: %w", m.Path, err)
		}
		use := ""
		if !slices.Contains(program, m) {
			use = " (tests)"
		}
		fmt.Fprintf(&list, "\n  %s %s, %s%s", m.Path, m.Version, kind(text), use)
		fmt.Fprintf(&texts, "\n\n%s\n%s\n\n%s", strings.Repeat("-", 120), m.Path, text)
	}
	return os.WriteFile(filepath.Join(strings.TrimSpace(string(root)), "NOTICE"),
		slices.Concat([]byte(head), list.Bytes(), texts.Bytes(), []byte("\n")), 0o600)
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

// licence reads a module's licence files, without white space at the ends of their lines.
func licence(folder string) (string, error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return "", err
	}
	var texts []string
	for _, e := range entries {
		name := strings.ToUpper(e.Name())
		if e.IsDir() || !strings.HasPrefix(name, "LICENSE") && !strings.HasPrefix(name, "LICENCE") &&
			!strings.HasPrefix(name, "COPYING") && !strings.HasPrefix(name, "NOTICE") {
			continue
		}
		text, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if err != nil {
			return "", err
		}
		lines := strings.Split(strings.Trim(string(text), "\r\n"), "\n")
		for i := range lines {
			lines[i] = strings.TrimRight(lines[i], " \t\r")
		}
		texts = append(texts, strings.Join(lines, "\n"))
	}
	if len(texts) == 0 {
		return "", errors.New("no licence file; ask for one or use another module")
	}
	return strings.Join(texts, "\n\n"), nil
}

// kind names a licence by words that stand only in its text.
func kind(text string) string {
	flat := strings.Join(strings.Fields(text), " ")
	for _, k := range []struct{ name, words string }{
		{"Apache-2.0", "Apache License Version 2.0"},
		{"MPL-2.0", "Mozilla Public License Version 2.0"},
		{"MPL-2.0", "Mozilla Public License, version 2.0"},
		{"BSD-3-Clause", "Neither the name of"},
		{"BSD-3-Clause", "may be used to endorse or promote products"},
		{"BSD-2-Clause", "Redistributions in binary form must reproduce"},
		{"MIT", "Permission is hereby granted, free of charge"},
		{"FreeType or GPL-2.0", "FreeType"},
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
