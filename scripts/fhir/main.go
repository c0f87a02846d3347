// Command fhir reads resources of FHIR R4 from the JSON files of a folder with a library that is not ours, and prints what it
// finds wrong: one JSON object, with a list for each file. It has a module of its own: the library's definitions of all
// resources take longer to compile than the whole program.
package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"

	"github.com/google/fhir/go/fhirversion"
	"github.com/google/fhir/go/jsonformat"
)

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "fhir:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) != 1 {
		return fmt.Errorf("wanted one folder, got %d arguments", len(args))
	}
	reader, err := jsonformat.NewUnmarshaller("UTC", fhirversion.R4)
	if err != nil {
		return err
	}
	names, err := filepath.Glob(filepath.Join(args[0], "*.json"))
	if err != nil {
		return err
	}
	found := map[string][]string{}
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		wrong := []string{}
		if _, err := reader.Unmarshal(text); err != nil {
			wrong = append(wrong, err.Error())
		}
		found[filepath.Base(name)] = wrong
	}
	return json.NewEncoder(os.Stdout).Encode(found)
}
