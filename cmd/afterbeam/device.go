package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"afterbeam/internal/followup/silence"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/store"
)

type deviceCommand struct {
	List   deviceListCommand   `cmd:"" help:"List the equipment that reports came from or profiles are written for."`
	Import deviceImportCommand `cmd:"" help:"Bring device profiles of a file into the store, each once; the service may run meanwhile."`
	Silent deviceSilentCommand `cmd:"" help:"List devices that have sent nothing for longer than is their habit."`

	Protocol deviceProtocolCommand `cmd:"" help:"Print the protocol of known exposures for the check of a device, with the form to fill in."`
	Check    deviceCheckCommand    `cmd:"" help:"Find out from the report of known exposures what a device means by its table positions and angles, compare its dose display with a dosimeter, and draft its profile."`
}

type deviceListCommand struct{ configOption }

// Run prints the registry.
func (l *deviceListCommand) Run(c console) error {
	return l.with(func(ctx context.Context, db *store.DB) error {
		devices, err := db.Devices(ctx, nil)
		if err != nil {
			return err
		}
		t := table(c.out, "room", "device", "model", "software", "reports", "last day", "profiles")
		for _, d := range devices {
			t.row(d.Room, d.Key, d.Manufacturer+" "+d.Model, d.Software, fmt.Sprint(d.Reports), d.LastDay, fmt.Sprintf("%d signed, %d drafts", d.Signed, d.Drafts))
		}
		return t.end()
	})
}

func (o configOption) with(do func(ctx context.Context, db *store.DB) error) error {
	s, err := o.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return withStore(s, do)
}

type deviceImportCommand struct {
	File   string `arg:"" type:"existingfile" help:"Device profiles (TOML), as for estimate --profile."`
	Reason string `default:"device file" placeholder:"TEXT" help:"Why; it stands with each profile and in the audit record."`
	configOption
}

// Run brings the profiles of a file into the store. The cases of a signed one are estimated anew by the service.
func (i *deviceImportCommand) Run(c console) error {
	var profiles []procedure.DeviceProfile
	if err := load("device import", i.File, func(r io.Reader) (err error) { profiles, err = devicefile.Read(r); return err }); err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	return i.with(func(ctx context.Context, db *store.DB) error {
		n, err := importProfiles(ctx, db, atConsole, profiles, i.Reason)
		_, printErr := fmt.Fprintf(c.out, "profiles signed %d, drafts that wait for a second physicist %d, known before %d\n", n.Signed, n.Drafts, n.Known)
		return errors.Join(err, printErr)
	})
}

type deviceSilentCommand struct{ configOption }

// Run judges every device by its own habit.
func (d *deviceSilentCommand) Run(c console) error {
	s, err := d.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	reading, err := zoneOption{s.Zone}.reading()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	today := time.Now().In(reading.Site).Format(time.DateOnly)
	return withStore(s, func(ctx context.Context, db *store.DB) error {
		devices, err := db.Devices(ctx, nil)
		if err != nil {
			return err
		}
		t := table(c.out, "room", "device", "last day", "working days since", "allowed", "silent since")
		for _, one := range devices {
			days, err := db.DaysOfUse(ctx, one.ID, silence.Gaps+1)
			if err != nil {
				return err
			}
			v := silence.Judge(days, today)
			switch {
			case v.Silent():
				t.row(one.Room, one.Key, one.LastDay, fmt.Sprint(v.Waited), fmt.Sprint(v.Allowed), v.Since)
			case !v.Known:
				t.row(one.Room, one.Key, one.LastDay, fmt.Sprint(v.Waited), "-", "habit not known")
			}
		}
		return t.end()
	})
}

// columns prints rows of words one below the other.
type columns struct {
	w   *tabwriter.Writer
	err error
}

func table(w io.Writer, head ...string) *columns {
	t := &columns{w: tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)}
	t.row(head...)
	return t
}

// row prints one row; an empty word is a dash, and what a report says is made printable.
func (t *columns) row(words ...string) {
	for i, word := range words {
		if word == "" || word == " " {
			word = "-"
		}
		end := "\t"
		if i == len(words)-1 {
			end = "\n"
		}
		if _, err := io.WriteString(t.w, plain(word)+end); t.err == nil {
			t.err = err
		}
	}
}

func (t *columns) end() error { return errors.Join(t.err, t.w.Flush()) }
