package main

import (
	"context"
	"path/filepath"
	"time"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/monthfile"
	months "afterbeam/internal/export/monthly"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/summary"
)

// demoMonth is the month that the committee of the demonstration looks at.
const demoMonth = "2026-10"

// month writes what the committee gets of its month, as pack and as workbook, and names the files.
func (d *demoService) month(ctx context.Context, p *printer, dir string) error {
	period, err := summary.ParsePeriod(demoMonth)
	if err != nil {
		return err
	}
	committee, err := time.Parse(time.DateOnly, demo.CommitteeDay)
	if err != nil {
		return err
	}
	rules := completenessRules(d.works.settings)
	rules.Now = committee
	made, err := months.Make(ctx, d.works.db, months.Ask{Period: period, Settings: summary.DefaultSettings(), Rules: rules})
	if err != nil {
		return err
	}
	site := d.works.settings.Site
	p.say("  October 2026 for the committee, %d cases:", made.Counts.Cases)
	for _, form := range []monthfile.Form{monthfile.PDF, monthfile.Workbook} {
		name := filepath.Join(dir, form.Name(period))
		by := monthfile.Made{
			At: time.Now(), Program: programVersion(), Centre: site.Centre, Department: site.Department, Notice: noticeOf(true), Language: site.Language,
			Size: paperpdf.A4,
		}
		if err := writeMonth(name, form, made, by); err != nil {
			return err
		}
		p.say("  %s", name)
	}
	return p.err
}
