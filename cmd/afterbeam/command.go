package main

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/alecthomas/kong"
)

// The exit statuses of every sub-command.
const (
	exitDone    = 0
	exitPartial = 1 // something was refused or failed; the reasons are on standard error
	exitUsage   = 2
)

// console is what a sub-command reads and writes.
type console struct {
	in       io.Reader
	out, err io.Writer
}

type commands struct {
	Estimate estimateCommand `cmd:"" help:"Estimate skin dose and effective dose of dose report files and check follow-up levels."`
	Plan     planCommand     `cmd:"" help:"Look ahead: what beams of a procedure to come would add to skin that earlier procedures irradiated."`
	Inspect  inspectCommand  `cmd:"" help:"Show what one dose report says, with all findings."`
	Demo     demoCommand     `cmd:"" help:"Write a synthetic scenario as dose reports, read it back and show estimates, flags and maps."`
	Guide    guideCommand    `cmd:"" help:"Print how to use the service: a tour, and a page for each kind of user."`
	Version  versionCommand  `cmd:"" help:"Print build, table and method versions."`

	Serve       serveCommand       `cmd:"" help:"Run the service: doors, pipeline and HTTP interface."`
	Ingest      ingestCommand      `cmd:"" help:"Hand a folder of dose reports of any size to the store; run again, it goes on where it was."`
	Fetch       fetchCommand       `cmd:"" help:"Fetch dose reports of a period from an archive by the DICOM network; run again, it goes on where it was."`
	Performed   performedCommand   `cmd:"" help:"Performed procedures as other systems know them."`
	Missing     missingCommand     `cmd:"" help:"List performed procedures without a dose report, and reports without a performed procedure."`
	CheckConfig checkConfigCommand `cmd:"" help:"Print the effective settings of the service, secrets masked."`
	Backup      backupCommand      `cmd:"" help:"Copy the store to a new folder; the service may run meanwhile."`
	Restore     restoreCommand     `cmd:"" help:"Put a backup into a new folder and verify it."`
	Verify      verifyCommand      `cmd:"" help:"Check every digest, the audit chain and the database."`
	Drill       drillCommand       `cmd:"" help:"Try a restore: the newest backup into a scratch folder, verified, beside the store; prints a report to sign."`
	Retention   retentionCommand   `cmd:"" help:"Remove what the settings let go and nothing needs; the service does it daily. --dry-run shows what would go."`
	Hold        holdCommand        `cmd:"" help:"Legal holds: while one is in force, retention removes nothing of a patient, or nothing at all."`
	Metrics     metricsCommand     `cmd:"" help:"Print what the service measures and what is an alarm, as Markdown or as rules for Prometheus."`
	Notice      noticeCommand      `cmd:"" help:"What people were told of cases."`
	Device      deviceCommand      `cmd:"" help:"The registry of equipment, its profiles, and what is silent."`
	Lexicon     lexiconCommand     `cmd:"" help:"What the site calls its procedures: versions, names that are not known, and what other rows would change."`
	FHIR        fhirCommand        `cmd:"" name:"fhir" help:"All of a case as a transaction for a FHIR R4 server."`
	Paper       paperCommand       `cmd:"" help:"Papers of a case: the sheet for the patient, the letter to the patient's doctor, the physicist's report."`
	Release     releaseCommand     `cmd:"" help:"What leaves the department without persons, places and days: asked for, approved by another person, made, logged."`
	Asks        asksCommand        `cmd:"" help:"What is asked of people after a level was reached, by due day; names no patient."`
	Summary     summaryCommand     `cmd:"" help:"Sum a month, a quarter or a year up: the pack for a committee, or its numbers as a table."`
	Redo        redoCommand        `cmd:"" help:"Have work done again that the service has done or given up; it may run meanwhile."`
	Conformance conformanceCommand `cmd:"" help:"Print the DICOM conformance statement as Markdown."`
	Rescue      rescueCommand      `cmd:"" help:"Print a one-time token for one more administrator, when none has a valid token left."`
	Export      exportCommand      `cmd:"" help:"Write whole lists as tables for machines: CSV with units in the names of its columns."`
	Audit       auditCommand       `cmd:"" help:"The record of who did and saw what."`
}

// errPartial tells that the reasons are already on standard error.
var errPartial = errors.New("not everything could be estimated")

const description = `afterbeam estimates what a patient's skin and body received in fluoroscopy-guided procedures.

Every number is an estimate with a range, not a measurement. It informs people and never decides for them: the medical physicist, licensed practice and local rules come first.`

// hint says where the right form of the arguments stands.
func hint(err error) string {
	var wrong *kong.ParseError
	if !errors.As(err, &wrong) || wrong.Context == nil || wrong.Context.Selected() == nil {
		return "afterbeam --help lists the commands"
	}
	name := wrong.Context.Selected().FullPath()
	if strings.HasSuffix(name, " estimate") {
		return name + " --help lists the flags; files stand together, before or after all flags"
	}
	return name + " --help lists the flags"
}

// run parses the arguments, runs the sub-command and gives the exit status.
func run(args []string, c console) int {
	var cli commands
	helped := false
	parser, err := kong.New(
		&cli, kong.Name("afterbeam"), kong.Description(description),
		kong.Writers(c.out, c.err), kong.Exit(func(int) { helped = true }),
	)
	if err != nil {
		_, _ = fmt.Fprintf(c.err, "afterbeam: %v\n", err)
		return exitUsage
	}
	ctx, err := parser.Parse(args)
	if helped {
		return exitDone
	}
	if err != nil {
		_, _ = fmt.Fprintf(c.err, "afterbeam: %s\nhint: %s\n", plain(err.Error()), hint(err))
		return exitUsage
	}
	switch err := ctx.Run(c); {
	case err == nil:
		return exitDone
	case errors.Is(err, errPartial):
		return exitPartial
	case errors.Is(err, errUsage):
		_, _ = fmt.Fprintf(c.err, "afterbeam: %v\n", err)
		return exitUsage
	default:
		_, _ = fmt.Fprintf(c.err, "afterbeam: %v\n", err)
		return exitPartial
	}
}
