package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/outlook"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/physics/organ"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/report/rdsr"
)

// demoHistories is how many photons the demonstration follows for the organ doses of a case: a tenth of what the service does.
const demoHistories = 100_000

// performedFile is the table of what the demonstration's centre performed.
const performedFile = "performed.csv"

// yearPerformedFile is the table of what it performed in its year.
const yearPerformedFile = "performed-year.csv"

// outboxFolder is where the notices of the demonstration lie.
const outboxFolder = "notices"

type demoCommand struct {
	Out   string `placeholder:"DIR" help:"Folder for reports, maps and store; a new temporary one by default."`
	Why   bool   `help:"List every level compared, all findings, assumptions and the parts of the range."`
	Year  bool   `default:"true" negatable:"" help:"Fill the service with a year of the centre: some nine hundred cases, a minute or two."`
	Serve bool   `help:"Leave the service up, and print its address and tokens."`
}

// Run writes the scenario as dose report files, reads them back, prints estimates and flags, draws the maps, and sends the
// same files through a service of its own.
func (d *demoCommand) Run(c console) error {
	dir, err := d.folder()
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(c.out, "%s\n\n", demo.Notice); err != nil {
		return err
	}
	reports, maps := filepath.Join(dir, "reports"), filepath.Join(dir, "maps")
	names, err := demo.WriteAll(reports, func(w io.Writer, r *procedure.Report) error { return rdsr.Write(w, r, rdsr.WriteOptions{}) })
	if err != nil {
		return err
	}
	profiles := filepath.Join(dir, "devices.toml")
	if err := os.WriteFile(profiles, []byte(demo.ProfileFile()), 0o600); err != nil {
		return fmt.Errorf("write device profiles: %w", err)
	}
	if err := os.WriteFile(filepath.Join(dir, performedFile), []byte(demo.Performed()), 0o600); err != nil {
		return fmt.Errorf("write performed procedures: %w", err)
	}
	method := assessment.Default()
	if method.Profiles, err = devicefile.Read(strings.NewReader(demo.ProfileFile())); err != nil {
		return err
	}
	reading, err := zoneOption{"UTC"}.reading()
	if err != nil {
		return err
	}
	r := receive(names, reading, bar(c.err, "reading"))
	l := follow(r, method, procedure.Facts{})
	if err := l.computeOrgans(context.Background(), method, organ.Budget{Histories: demoHistories}, c.err); err != nil {
		return err
	}
	drawn, err := drawDemo(maps, l)
	if err != nil {
		return err
	}
	plan := filepath.Join(maps, "plan-of-the-second-stage.png")
	if err := drawPlan(plan, method, l); err != nil {
		return err
	}
	p := printer{w: c.out, why: d.Why}
	p.line(l)
	if err := p.check(filepath.Join(dir, "check")); err != nil {
		return err
	}
	end := func() {
		p.say("\nfolder    %s\nreports   %s (%d files)\nprofiles  %s\nperformed %s\nnotices   %s (as an operator gets them, with pictures)\npapers    %s (as PDF and HTML)\nmaps      %s (%d pictures)\nplan      %s (directions that spare the skin of the first stage)\nagain     afterbeam estimate --why --profile %s %s\n\n%s",
			dir, reports, len(names), profiles, filepath.Join(dir, performedFile), filepath.Join(dir, outboxFolder), filepath.Join(dir, "papers"), maps, drawn, plan, profiles, reports, demo.Notice)
	}
	if err := d.service(c, &p, dir, profiles, names, end); err != nil {
		return err
	}
	return errors.Join(p.err, complain(c.err, l, r))
}

// service sends the files through a service in the demonstration's folder, prints what it answers and then the end of
// the demonstration, and leaves the service up where that is asked for.
func (d *demoCommand) service(c console, p *printer, dir, profiles string, names []string, end func()) error {
	ctx := context.Background()
	s, err := startDemo(ctx, dir, profiles, d.Serve, c.err)
	if err != nil {
		return err
	}
	err = s.deliver(ctx, names)
	if err == nil {
		err = s.show(ctx, p, demo.StagedPatient)
	}
	if err == nil {
		err = s.notices(ctx, p, demo.StagedPatient, filepath.Join(dir, outboxFolder))
	}
	if err == nil {
		err = s.papers(ctx, p, filepath.Join(dir, "papers"))
	}
	if err == nil {
		err = s.complete(ctx, p, filepath.Join(dir, performedFile))
	}
	if err == nil && d.Year {
		err = s.year(ctx, p, c.err, filepath.Join(dir, yearPerformedFile), demo.Year())
		if err == nil {
			err = s.month(ctx, p, dir)
		}
	}
	if err == nil {
		end()
	}
	if err == nil && d.Serve {
		err = s.stay(ctx, c, names[0])
	}
	return errors.Join(err, s.stop())
}

func (d *demoCommand) folder() (string, error) {
	if d.Out == "" {
		dir, err := os.MkdirTemp("", "afterbeam-demo-*")
		if err != nil {
			return "", fmt.Errorf("make demo folder: %w", err)
		}
		return dir, nil
	}
	if entries, err := os.ReadDir(d.Out); err == nil && len(entries) > 0 {
		return "", fmt.Errorf("%w: --out wants a new or empty folder, %q holds files", errUsage, d.Out)
	}
	if err := os.MkdirAll(d.Out, 0o750); err != nil {
		return "", fmt.Errorf("make demo folder: %w", err)
	}
	return d.Out, nil
}

// drawPlan draws what 1 Gy more would do from each direction after the first stage of the staged repair.
func drawPlan(name string, method assessment.Method, l line) error {
	i := slices.IndexFunc(l.cases, func(a assessed) bool { return a.Procedure.Patient.ID == demo.StagedPatient })
	if i < 0 {
		return errors.New("the scenario has no staged repair")
	}
	next, err := method.NextStage([]assessment.Earlier{{Procedure: l.cases[i].Procedure}})
	if err != nil {
		return err
	}
	doc, err := outlook.Of(next, outlook.Ask{Grid: 1})
	if err != nil {
		return err
	}
	return drawDirections(name, doc.Picture(", second stage of the branched aortic repair (synthetic)"))
}

// drawDemo draws each map, and the accumulated map of each patient's window, and notes the PNG with the case.
func drawDemo(dir string, l line) (drawn int, err error) {
	const note = " (synthetic)"
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return 0, fmt.Errorf("make folder of maps: %w", err)
	}
	for i, one := range l.cases {
		if one.SkinDose.Map == nil {
			continue
		}
		name := filepath.Join(dir, strings.TrimSuffix(filepath.Base(one.files[0]), filepath.Ext(one.files[0])))
		for _, ending := range []string{".svg", ".png"} {
			if err := draw(name+ending, one, note); err != nil {
				return drawn, err
			}
			drawn++
		}
		l.cases[i].drawn = name + ".png"
	}
	for i, s := range l.sums {
		if s.sum.SkinDose.Map == nil {
			continue
		}
		name := filepath.Join(dir, fmt.Sprintf("patient-%d-%d-days-to-%s.png", s.patient, s.sum.Days, s.sum.To))
		if err := drawSum(name, s, note); err != nil {
			return drawn, err
		}
		l.sums[i].drawn = name
		drawn++
	}
	return drawn, nil
}
