package main

import (
	"fmt"
	"io"
	"os"

	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/settings"
)

// configOption names the settings file of a sub-command that works on the service's store.
type configOption struct {
	Config string `placeholder:"FILE" type:"existingfile" help:"Settings file (TOML); the environment stands over it."`
}

func (o configOption) settings() (settings.Settings, error) {
	if o.Config == "" {
		return settings.Read(nil, os.Environ())
	}
	file, err := os.Open(o.Config)
	if err != nil {
		return settings.Settings{}, err
	}
	s, err := settings.Read(file, os.Environ())
	if closeErr := file.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return s, fmt.Errorf("%s: %w", o.Config, err)
	}
	return s, nil
}

type checkConfigCommand struct{ configOption }

// Run prints the effective settings, secrets masked, and checks that the tables and the certificate they name can be read.
func (k *checkConfigCommand) Run(c console) error {
	s, err := k.settings()
	if err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	if _, err := siteMethod(s); err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	if _, err := siteSchedule(s); err != nil {
		return fmt.Errorf("%w: %w", errUsage, err)
	}
	if s.HTTP.Certificate != "" {
		if _, err := certificate(s.HTTP); err != nil {
			return fmt.Errorf("%w: %w", errUsage, err)
		}
	}
	return s.Print(c.out)
}

// siteMethod gives the method of assessment with the site's own tables.
func siteMethod(s settings.Settings) (assessment.Method, error) {
	o := methodOptions{Profile: s.Tables.Profiles, Lexicon: s.Tables.Lexicon, Levels: s.Tables.Levels, Patch: 1, Points: s.Estimate.RangePoints, Skull: s.Estimate.Skull, zoneOption: zoneOption{s.Zone}}
	return o.method()
}

// siteSchedule gives the schedule of asks: the site's own or the default.
func siteSchedule(s settings.Settings) (ask.Schedule, error) {
	schedule := ask.Default()
	err := load("tables.schedule", s.Tables.Schedule, func(r io.Reader) (err error) { schedule, err = ask.Parse(r); return err })
	return schedule, err
}
