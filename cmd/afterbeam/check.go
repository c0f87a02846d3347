package main

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"afterbeam/internal/export/checksheet"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
)

type deviceProtocolCommand struct{}

// Run prints the protocol with the form to fill in.
func (deviceProtocolCommand) Run(c console) error {
	_, err := io.WriteString(c.out, commission.Protocol())
	return err
}

type deviceCheckCommand struct {
	Form   string `arg:"" type:"existingfile" help:"The filled form (TOML): afterbeam device protocol prints it."`
	Report string `arg:"" type:"existingfile" help:"The dose report of the exposures."`

	Profile string `type:"existingfile" placeholder:"FILE" help:"Device profiles (TOML) as they are: what the check does not show is taken over from the newest of the device."`
	Sheet   string `placeholder:"FILE" help:"Also write the sheet to sign, as .pdf or as one page (.html)."`
	Draft   string `placeholder:"FILE" help:"Write the drafted profile (TOML); it is unsigned."`
	zoneOption
}

// Run holds a form against the report of its exposures and prints the sheet.
func (d *deviceCheckCommand) Run(c console) error {
	record, base, report, err := d.read()
	if err != nil {
		return err
	}
	result, err := commission.Check(report, record, newest(base, report.Device.Key(), record.Day))
	if err != nil {
		return fmt.Errorf("%w: %s and %s: %w", errUsage, d.Form, d.Report, err)
	}
	sheet, err := checksheet.Of(result)
	if err != nil {
		return err
	}
	if err := d.keep(sheet); err != nil {
		return err
	}
	if err := sheet.Text(c.out); err != nil {
		return err
	}
	if result.Contradicted() {
		_, _ = fmt.Fprintf(c.err, "afterbeam: %s: something contradicts itself, see the answers\n", plain(d.Form))
		return errPartial
	}
	return nil
}

// read reads form, profiles and report.
func (d *deviceCheckCommand) read() (record commission.Record, base []procedure.DeviceProfile, report *procedure.Report, err error) {
	usage := func(err error) error { return fmt.Errorf("%w: %w", errUsage, err) }
	reading, err := d.reading()
	if err != nil {
		return record, nil, nil, usage(err)
	}
	if err := load("form", d.Form, func(r io.Reader) (err error) { record, err = commission.Read(r); return err }); err != nil {
		return record, nil, nil, usage(err)
	}
	if d.Profile != "" {
		if err := load("--profile", d.Profile, func(r io.Reader) (err error) { base, err = devicefile.Read(r); return err }); err != nil {
			return record, nil, nil, usage(err)
		}
	}
	if report, err = readReport(d.Report, reading); err != nil {
		return record, nil, nil, fmt.Errorf("%s: %w", d.Report, err)
	}
	return record, base, report, nil
}

// newest gives the profile of a device that holds on a day, the zero profile without one.
func newest(all []procedure.DeviceProfile, key, day string) procedure.DeviceProfile {
	var best procedure.DeviceProfile
	for _, p := range all {
		if p.Device == key && p.From <= day && p.From >= best.From {
			best = p
		}
	}
	return best
}

// keep writes the files that were asked for. Nothing that is there is overwritten: it may carry signatures.
func (d *deviceCheckCommand) keep(sheet checksheet.Sheet) error {
	var page bytes.Buffer
	write := sheet.HTML
	if strings.EqualFold(filepath.Ext(d.Sheet), ".pdf") {
		write = func(w io.Writer) error {
			return paperpdf.Write(w, sheet.Document(time.Now(), programVersion()), paperpdf.A4)
		}
	}
	if err := write(&page); err != nil {
		return err
	}
	for _, file := range []struct {
		flag, name string
		body       []byte
	}{{"--sheet", d.Sheet, page.Bytes()}, {"--draft", d.Draft, []byte(draftHead + sheet.Draft)}} {
		if file.name == "" {
			continue
		}
		if err := writeNew(file.name, file.body); err != nil {
			return fmt.Errorf("%s: %w", file.flag, err)
		}
	}
	return nil
}

// draftHead tells what becomes of a draft.
const draftHead = `# Draft of a device profile, made by a check. The physicist who answers for it writes the name into signed_by; another puts
# it in force by approved_by, or signs it in the service after "afterbeam device import". Until then nothing uses it.

`

func writeNew(name string, body []byte) error {
	f, err := os.OpenFile(filepath.Clean(name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	if _, err := f.Write(body); err != nil {
		_ = f.Close()
		return err
	}
	return f.Close()
}
