package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"afterbeam/internal/demo"
	"afterbeam/internal/golden"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

// TestMain lets the scripts run the program itself: the test binary under another name.
func TestMain(m *testing.M) {
	// A variable that chooses among the tests is no setting of the program, which would refuse it.
	for _, name := range []string{"AFTERBEAM_TEMPLATE_VALIDATOR", "AFTERBEAM_SCREENSHOTS"} {
		if err := os.Unsetenv(name); err != nil {
			panic(err)
		}
	}
	testscript.Main(m, map[string]func(){"afterbeam": main})
}

// TestScripts runs the program as people do. The scripts have these commands of their own:
//
//	reports DIR FILE...   write reports of the scenario
//	profiles FILE         write the device profiles of the scenario
//	check FORM REPORT     write form and report of the scenario's check of a device
//	spoil KIND FILE       write a file that is no usable dose report, see spoiled
//	many DIR N            write N reports of one patient each
//	schema FILE           hold JSON against api/estimate.schema.json
//	secret FILE           fail on names and numbers of patients
//	golden FILE GOLDEN    compare with a file kept beside this test
//	status N PROGRAM...   run a program and want its exit status
func TestScripts(t *testing.T) {
	api, err := filepath.Abs("../../api")
	if err != nil {
		t.Fatal(err)
	}
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script", RequireExplicitExec: true, RequireUniqueNames: true,
		Setup: func(env *testscript.Env) error {
			env.Setenv("API", api)
			env.Setenv("TZ", "UTC")
			env.Setenv("AFTERBEAM_PIPELINE_ORGAN_HISTORIES", "0") // seconds of work on each case
			return nil
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"reports": reports, "profiles": profiles, "check": checked, "spoil": spoil, "many": many, "schema": schema, "secret": secret, "status": status,
			"golden": func(ts *testscript.TestScript, neg bool, args []string) {
				want(ts, neg, args, 2)
				golden.Check(t, args[1], read(ts, args[0]))
			},
		},
	})
}

func want(ts *testscript.TestScript, neg bool, args []string, least int) {
	if neg || len(args) < least {
		ts.Fatalf("wants %d arguments and no !", least)
	}
}

func reports(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2)
	ts.Check(os.MkdirAll(ts.MkAbs(args[0]), 0o750))
	for _, name := range args[1:] {
		write(ts, filepath.Join(args[0], name), caseOf(name))
	}
}

// scenario is made once: each call of demo makes all events anew.
var scenario = sync.OnceValue(func() []demo.Case {
	all := demo.Cases()
	for _, odd := range demo.Odd() {
		all = append(all, odd.Case)
	}
	return all
})

// caseOf gives a report of the scenario by its file, for the caller to change.
func caseOf(name string) procedure.Report {
	for _, c := range scenario() {
		if c.File == name {
			r := c.Report
			r.Events, r.Planes = slices.Clone(r.Events), slices.Clone(r.Planes)
			return r
		}
	}
	panic("the scenario has no report " + name)
}

func write(ts *testscript.TestScript, name string, r procedure.Report) {
	var b bytes.Buffer
	ts.Check(rdsr.Write(&b, &r, rdsr.WriteOptions{}))
	ts.Check(os.WriteFile(ts.MkAbs(name), b.Bytes(), 0o600))
}

func profiles(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(demo.ProfileFile()), 0o600))
}

func checked(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2)
	ts.Check(os.WriteFile(ts.MkAbs(args[0]), []byte(demo.CheckForm()), 0o600))
	write(ts, args[1], demo.Check().Report)
}

func many(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2)
	n, err := strconv.Atoi(args[1])
	ts.Check(err)
	ts.Check(os.MkdirAll(ts.MkAbs(args[0]), 0o750))
	for i := range n {
		r := caseOf("mobile-rhythm-device.dcm") // totals alone, so that many are quick
		r.SOPInstanceUID, r.StudyUID = fmt.Sprintf("2.25.1%04d", i), fmt.Sprintf("2.25.2%04d", i)
		r.ScopeUID, r.Patient.ID = r.StudyUID, fmt.Sprintf("SYN-M%04d", i)
		write(ts, filepath.Join(args[0], fmt.Sprintf("%04d.dcm", i)), r)
	}
}

func schema(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1)
	compiler := jsonschema.NewCompiler()
	for _, name := range []string{"assessment.schema.json", "estimate.schema.json"} {
		doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(read(ts, filepath.Join(ts.Getenv("API"), name))))
		ts.Check(err)
		ts.Check(compiler.AddResource(name, doc))
	}
	compiled, err := compiler.Compile("estimate.schema.json")
	ts.Check(err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(read(ts, args[0])))
	ts.Check(err)
	ts.Check(compiled.Validate(doc))
}

func read(ts *testscript.TestScript, name string) []byte { return []byte(ts.ReadFile(name)) }

// secret fails when a file, stdout or stderr holds the name, number, issuer or birth date of a patient of the scenario.
func secret(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 1)
	for _, c := range scenario() {
		p := c.Report.Patient
		for _, text := range []string{p.ID, p.Name, p.BirthDate, p.Issuer} {
			if text != "" && bytes.Contains(read(ts, args[0]), []byte(text)) {
				ts.Fatalf("%s holds %q of a patient", args[0], text)
			}
		}
	}
}

// status runs the program and wants an exit status.
func status(ts *testscript.TestScript, neg bool, args []string) {
	want(ts, neg, args, 2)
	wanted, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var exit *exec.ExitError
		if !errors.As(err, &exit) {
			ts.Fatalf("%v", err)
		}
		got = exit.ExitCode()
	}
	if got != wanted {
		ts.Fatalf("exit status %d, want %d", got, wanted)
	}
}
