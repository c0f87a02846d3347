package main

import (
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/template"

	"afterbeam/internal/httpapi/dicomweb"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/commitment"
	"afterbeam/internal/ingest/dimse/mpps"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/ingest/queryretrieve"
	"afterbeam/internal/settings"
)

//go:embed conformance.md.tmpl
var conformanceText string

type conformanceCommand struct{ configOption }

// conformance is what the statement is made of: the tables that the service itself works by.
type conformance struct {
	Services       []dimse.Service
	NotCommitted   []dimse.Outcome
	Web            dicomweb.Facts
	Archive        queryretrieve.Facts
	Settings       settings.DICOM
	Limits         upper.Limits
	Implementation [2]string
	Context        string
}

// Run prints the DICOM conformance statement as Markdown, with the site's settings where they are given.
func (v *conformanceCommand) Run(c console) error {
	s, err := v.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return stateConformance(c.out, s.DICOM)
}

// stateConformance writes the statement for the settings of the DICOM network.
func stateConformance(w io.Writer, s settings.DICOM) error {
	page, err := template.New("conformance").Funcs(template.FuncMap{
		"join": strings.Join, "fields": fieldsOf, "syntax": syntaxName,
		"cell": func(text string) string { return strings.ReplaceAll(text, "|", `\|`) },
	}).Parse(conformanceText)
	if err != nil {
		return fmt.Errorf("conformance statement: %w", err)
	}
	return page.Execute(w, conformance{
		Services: dicomServices(nil, mpps.Config{}, commitment.New(commitment.Config{})), NotCommitted: commitment.Reasons(), Archive: queryretrieve.Describe(), Web: dicomweb.New(dicomweb.Config{}).Facts(), Settings: s, Limits: dicomLimits(s),
		Implementation: [2]string{upper.ImplementationUID, upper.ImplementationVersion}, Context: upper.ApplicationContext,
	})
}

// fieldsOf names the messages that a service answers.
func fieldsOf(s dimse.Service) string {
	names := map[upper.Field]string{
		upper.CEcho: "C-ECHO", upper.CStore: "C-STORE", upper.NCreate: "N-CREATE", upper.NSet: "N-SET", upper.NAction: "N-ACTION",
	}
	var all []string
	for field := range s.Handlers {
		if field.Response() {
			continue // an answer to what the service itself asks
		}
		name, known := names[field]
		if !known {
			name = field.String()
		}
		all = append(all, name)
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}

func syntaxName(uid string) string {
	switch uid {
	case upper.ImplicitLittle:
		return "Implicit VR Little Endian"
	case upper.ExplicitLittle:
		return "Explicit VR Little Endian"
	case upper.ExplicitBig:
		return "Explicit VR Big Endian (retired)"
	case upper.DeflatedLittle:
		return "Deflated Explicit VR Little Endian"
	}
	return uid
}
