package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/checksheet"
	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/rdsr"
)

// check writes form and report of the scenario's check of a device into a folder, and prints what the check finds out.
func (p *printer) check(dir string) error {
	c := demo.Check()
	var report, page bytes.Buffer
	if err := rdsr.Write(&report, &c.Report, rdsr.WriteOptions{}); err != nil {
		return err
	}
	read, err := rdsr.Read(report.Bytes(), rdsr.Options{})
	if err != nil {
		return err
	}
	record, err := commission.Read(strings.NewReader(demo.CheckForm()))
	if err != nil {
		return err
	}
	result, err := commission.Check(read, record, procedure.DeviceProfile{})
	if err != nil {
		return err
	}
	sheet, err := checksheet.Of(result)
	if err != nil {
		return err
	}
	if err := sheet.HTML(&page); err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o750); err != nil {
		return fmt.Errorf("make folder of the check: %w", err)
	}
	form, sent := filepath.Join(dir, "form.toml"), filepath.Join(dir, c.File)
	for name, body := range map[string][]byte{form: []byte(demo.CheckForm()), sent: report.Bytes(), filepath.Join(dir, "sheet.html"): page.Bytes()} {
		if err := os.WriteFile(name, body, 0o600); err != nil {
			return fmt.Errorf("write check: %w", err)
		}
	}
	p.say("\ncheck of Rhythm 3 by known exposures: %d of %d questions answered", len(sheet.Answers)-sheet.Unproven, len(sheet.Answers))
	for _, a := range sheet.Answers {
		p.say("  [%s] %s: %s", a.State, a.Question, a.Says)
	}
	p.say("  afterbeam device check %s %s prints the sheet to sign", form, sent)
	return p.err
}
