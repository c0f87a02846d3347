package fhir_test

import (
	"encoding/json"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/httpapi/fhirrest"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// verdicts are what a checker found wrong in each file.
type verdicts map[string][]string

// outside runs both checkers over files.
func outside(t *testing.T, files map[string]any) (types, rules verdicts) {
	t.Helper()
	scripts, err := filepath.Abs("../../../scripts/fhir")
	require.NoError(t, err)
	node := peer.Need(t, "node")
	peer.NeedFile(t, scripts, "node_modules/fhirpath/package.json", "run npm ci in scripts/fhir")
	modules, err := exec.Command("go", "env", "GOMODCACHE").Output()
	require.NoError(t, err)
	peer.NeedFile(t, strings.TrimSpace(string(modules)), "github.com/google/fhir/go@v0.7.4/jsonformat", "run go mod download in scripts/fhir")
	folder := t.TempDir()
	for name, one := range files {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name+".json"), []byte(text(t, one)), 0o600))
	}
	run := func(name string, args ...string) verdicts {
		command := exec.Command(name, args...)
		command.Dir = scripts
		var errors strings.Builder
		command.Stderr = &errors
		out, err := command.Output()
		require.NoError(t, err, errors.String())
		var found map[string][]string
		require.NoError(t, json.Unmarshal(out, &found))
		require.Len(t, found, len(files), "a verdict of each file")
		return found
	}
	return run("go", "run", ".", folder), run(node, "rules.mjs", folder)
}

// fault breaks a dose summary, or an estimate, in one way; by names which checker must see it.
type fault struct {
	estimate bool
	by       string // types, rules
	breaks   func(map[string]any)
}

func set(name string, value any) func(map[string]any) {
	return func(o map[string]any) { o[name] = value }
}

func drop(name string) func(map[string]any) {
	return func(o map[string]any) { delete(o, name) }
}

// faults are the planted ones. Those of types are what a reader of the base standard must see, those of rules are invariants and
// the profile.
func faults() map[string]fault {
	totals := func(o map[string]any) []any { return o["component"].([]any) }
	number := func(o map[string]any) map[string]any {
		return totals(o)[1].(map[string]any)["valueQuantity"].(map[string]any)
	}
	return map[string]fault{
		"missing-status":       {by: "types", breaks: drop("status")},
		"missing-code":         {by: "types", breaks: drop("code")},
		"wrong-required-code":  {by: "types", breaks: set("status", "finished")},
		"bad-datetime":         {by: "types", breaks: set("effectiveDateTime", "14.09.2026 08:30")},
		"number-as-string":     {by: "types", breaks: func(o map[string]any) { number(o)["value"] = "12.5" }},
		"unknown-field":        {by: "types", breaks: set("peakSkinDose", 3)},
		"two-values":           {by: "types", breaks: set("valueBoolean", true)},
		"reference-wrong-type": {by: "types", breaks: set("subject", map[string]any{"reference": "Medication/1"})},
		"component-no-code":    {by: "types", breaks: func(o map[string]any) { delete(totals(o)[1].(map[string]any), "code") }},

		"two-values-by-rule":     {by: "rules", breaks: set("valueBoolean", true)},
		"missing-status-by-rule": {by: "rules", breaks: drop("status")},
		"obs-6":                  {by: "rules", breaks: set("dataAbsentReason", map[string]any{"text": "why"})},
		"obs-7":                  {by: "rules", breaks: func(o map[string]any) { totals(o)[1].(map[string]any)["code"] = o["code"] }},
		"qty-3":                  {by: "rules", breaks: func(o map[string]any) { delete(number(o), "system") }},
		"other-loinc":            {by: "rules", breaks: set("code", map[string]any{"coding": []any{map[string]any{"system": "http://loinc.org", "code": "8302-2"}}})},
		"no-subject":             {by: "rules", breaks: drop("subject")},
		"logical-wrong-type":     {by: "rules", breaks: set("subject", map[string]any{"type": "Medication", "identifier": map[string]any{"value": "1"}})},
		"no-focus":               {by: "rules", breaks: drop("focus")},
		"two-focus":              {by: "rules", breaks: func(o map[string]any) { o["focus"] = append(o["focus"].([]any), o["focus"].([]any)...) }},
		"no-part-of":             {by: "rules", breaks: drop("partOf")},
		"no-value-string":        {by: "rules", breaks: drop("valueString")},
		"value-of-another-type": {by: "rules", breaks: func(o map[string]any) {
			delete(o, "valueString")
			o["valueInteger"] = 3
		}},
		"specimen":            {by: "rules", breaks: set("specimen", map[string]any{"reference": "Specimen/1"})},
		"no-performer":        {by: "rules", breaks: drop("performer")},
		"two-performers":      {by: "rules", breaks: func(o map[string]any) { o["performer"] = append(o["performer"].([]any), o["performer"].([]any)...) }},
		"performer-no-person": {by: "rules", breaks: set("performer", []any{map[string]any{"type": "Organization", "display": "Heart centre"}})},
		"no-effective":        {by: "rules", breaks: drop("effectiveDateTime")},
		"effective-is-a-period": {by: "rules", breaks: func(o map[string]any) {
			delete(o, "effectiveDateTime")
			o["effectivePeriod"] = map[string]any{"start": "2026-09-14"}
		}},
		"bare-uid":    {by: "rules", breaks: set("identifier", []any{map[string]any{"system": "urn:dicom:uid", "value": "2.25.1"}})},
		"other-units": {by: "rules", breaks: func(o map[string]any) { number(o)["system"] = "urn:own" }},
		"mixed-in-dose": {by: "rules", breaks: func(o map[string]any) {
			totals(o)[1].(map[string]any)["code"] = map[string]any{"text": "peak skin dose"}
		}},

		"estimate-of-nothing":      {estimate: true, by: "rules", breaks: drop("derivedFrom")},
		"estimate-without-caution": {estimate: true, by: "rules", breaks: drop("note")},
		"estimate-without-range":   {estimate: true, by: "rules", breaks: drop("component")},
		"estimate-without-method":  {estimate: true, by: "rules", breaks: drop("method")},
	}
}

// tree gives a resource as a tree that can be broken.
func tree(t *testing.T, v any) map[string]any {
	t.Helper()
	var o map[string]any
	require.NoError(t, json.Unmarshal([]byte(text(t, v)), &o))
	return o
}

// emitted gives every kind of resource that is written of the demonstration, as a server of our own gives it and as it is sent.
func emitted(t *testing.T) map[string]any {
	t.Helper()
	files := map[string]any{}
	add := func(name string, all ...fhir.Resource) {
		for _, r := range all {
			files[name+"-"+r.Kind()+"-"+strings.ReplaceAll(r.ResourceID(), ".", "-")] = r
		}
	}
	const inAllStates = 4 // the others as they are
	for i, c := range scenario() {
		c.Organs, c.OrgansAt = organs(), made
		for state, change := range map[string]func(*fhir.Case){
			"final":    func(*fhir.Case) {},
			"amended":  func(c *fhir.Case) { c.Assessment.Procedure.State, c.Change = procedure.Amended, "a later report" },
			"replaced": func(c *fhir.Case) { c.Replaced, c.Organs, c.OrgansReason = true, nil, "no beams" },
			"bare": func(c *fhir.Case) {
				c.Assessment.Procedure.Totals, c.Assessment.SkinDose.Value, c.Device = nil, quantity.None[quantity.Gray](), fhir.Equipment{}
			},
		} {
			if i >= inAllStates && state != "final" {
				continue
			}
			c := c
			change(&c)
			name := c.ID + "-" + state
			for _, o := range fhir.Observations(c) {
				add(name, o)
			}
			add(name, fhir.DeviceOf(c.Device), fhir.PatientOf(c.Patient))
			if p := fhir.Change(c); p != nil {
				add(name, p)
			}
			b, err := fhir.Transaction(c)
			if outcome := fhir.Unmet(c, err); outcome != nil {
				add(name, outcome)
				continue
			}
			require.NoError(t, err)
			r, err := fhir.Report(c)
			require.NoError(t, err)
			add(name, b, r)
		}
	}
	add("error", fhir.Outcome("error", "not-found", "nothing there"))
	add("server", fhirrest.New(fhirrest.Config{Version: "test"}).Capabilities())
	found := &fhir.Bundle{Header: fhir.Header{Type: "Bundle"}, Kindred: "searchset", Link: []fhir.Link{{Relation: "self", URL: "/fhir/Observation"}}}
	for _, o := range fhir.Observations(suitable(t)) {
		found.Entry = append(found.Entry, fhir.Entry{FullURL: "http://example.com/fhir/Observation/" + o.ID, Resource: o, Search: &fhir.Search{Mode: "match"}})
	}
	found.Entry = append(found.Entry, fhir.Entry{Resource: fhir.Outcome("warning", "business-rule", "some have none"), Search: &fhir.Search{Mode: "outcome"}})
	add("found", found)
	return files
}

// TestOutsideCheckers has a library that is not ours read all that is written, and rules of the standard and of the profile
// asked of it; each planted fault must be seen by the checker that is there for it. One run of each, because the first
// compilation of the library takes over a minute.
func TestOutsideCheckers(t *testing.T) {
	c := suitable(t)
	good, err := fhir.Summary(c)
	require.NoError(t, err)
	estimate := fhir.Estimates(c)[0]
	files := emitted(t)
	count := len(files)
	for name, f := range faults() {
		broken := tree(t, good)
		if f.estimate {
			broken = tree(t, estimate)
		}
		f.breaks(broken)
		files["broken-"+name] = broken
	}
	types, rules := outside(t, files)
	for name := range files {
		broken, planted := strings.CutPrefix(name, "broken-")
		if !planted {
			assert.Empty(t, types[name+".json"], "%s, types", name)
			assert.Empty(t, rules[name+".json"], "%s, rules", name)
			continue
		}
		found := map[string]verdicts{"types": types, "rules": rules}[faults()[broken].by]
		assert.NotEmpty(t, found[name+".json"], "%s, which %s must see", broken, faults()[broken].by)
	}
	kinds := map[string]int{}
	for _, name := range slices.Sorted(maps.Keys(files)) {
		if r, ok := files[name].(fhir.Resource); ok {
			kinds[r.Kind()]++
		}
	}
	t.Logf("%d resources read and asked without a complaint (%v), %d planted faults seen", count, kinds, len(faults()))
}
