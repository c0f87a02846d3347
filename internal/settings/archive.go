package settings

import (
	"errors"
	"fmt"
	"net"
	"slices"
	"time"
)

// Archive is the archive from which afterbeam fetch fills the store. Without an Address there is none.
type Archive struct {
	// Address is host:port, Title the AE title by which the archive is called.
	Address string `toml:"address" env:"AFTERBEAM_ARCHIVE_ADDRESS"`
	Title   string `toml:"title" env:"AFTERBEAM_ARCHIVE_TITLE"`
	// OurTitle is the AE title under which the archive is asked; "" is dicom.ae_title, to which it sends in any case.
	OurTitle string `toml:"our_title" env:"AFTERBEAM_ARCHIVE_OUR_TITLE"`
	// Retrieve is either, get or move.
	Retrieve string `toml:"retrieve" env:"AFTERBEAM_ARCHIVE_RETRIEVE"`
	// ConvertedReports also fetches the general SR classes into which some archives convert dose reports.
	ConvertedReports bool `toml:"converted_reports" env:"AFTERBEAM_ARCHIVE_CONVERTED_REPORTS"`
	// RequestsPerSecond bounds questions and objects together.
	RequestsPerSecond float64 `toml:"requests_per_second" env:"AFTERBEAM_ARCHIVE_REQUESTS_PER_SECOND"`
	// HoursFrom and HoursTo are local times between which the archive may be asked, "" is all day.
	HoursFrom string `toml:"hours_from" env:"AFTERBEAM_ARCHIVE_HOURS_FROM"`
	HoursTo   string `toml:"hours_to" env:"AFTERBEAM_ARCHIVE_HOURS_TO"`
	// AnswerSeconds is how long the archive may be silent.
	AnswerSeconds int `toml:"answer_seconds" env:"AFTERBEAM_ARCHIVE_ANSWER_SECONDS"`
	// TLS encrypts; Authority holds the authorities of the archive's certificate, "" the machine's own; Certificate and
	// Key are shown to the archive.
	TLS         bool   `toml:"tls" env:"AFTERBEAM_ARCHIVE_TLS"`
	Authority   string `toml:"authority" env:"AFTERBEAM_ARCHIVE_AUTHORITY"`
	Certificate string `toml:"certificate" env:"AFTERBEAM_ARCHIVE_CERTIFICATE"`
	Key         string `toml:"key" env:"AFTERBEAM_ARCHIVE_KEY"`
}

// Defaults of Archive: gentle to an archive that people read from. Common practice, no source.
const (
	DefaultRetrieve      = "either"
	DefaultArchiveRate   = 5
	DefaultAnswerSeconds = 120
)

func defaultArchive() Archive {
	return Archive{Retrieve: DefaultRetrieve, RequestsPerSecond: DefaultArchiveRate, AnswerSeconds: DefaultAnswerSeconds}
}

func (a Archive) check() error {
	if a.Address != "" {
		if _, _, err := net.SplitHostPort(a.Address); err != nil {
			return fmt.Errorf("archive.address wants host:port, got %q", a.Address)
		}
		if err := checkTitle("archive.title", a.Title); err != nil {
			return err
		}
	}
	if a.OurTitle != "" {
		if err := checkTitle("archive.our_title", a.OurTitle); err != nil {
			return err
		}
	}
	switch {
	case !slices.Contains([]string{"either", "get", "move"}, a.Retrieve):
		return fmt.Errorf("archive.retrieve wants either, get or move, got %q", a.Retrieve)
	case !(a.RequestsPerSecond > 0) || a.RequestsPerSecond > 1000:
		return fmt.Errorf("archive.requests_per_second wants a number above 0 and at most 1000, got %v", a.RequestsPerSecond)
	case a.AnswerSeconds < 1 || a.AnswerSeconds > 3600:
		return fmt.Errorf("archive.answer_seconds wants 1 to 3600, got %d", a.AnswerSeconds)
	}
	return errors.Join(a.checkHours(), a.checkEncryption())
}

func (a Archive) checkHours() error {
	if a.HoursFrom == "" && a.HoursTo == "" {
		return nil
	}
	for _, text := range []string{a.HoursFrom, a.HoursTo} {
		if _, err := time.Parse("15:04", text); err != nil {
			return fmt.Errorf("archive.hours_from and hours_to want two times such as 20:00 and 06:00, or none, got %q and %q", a.HoursFrom, a.HoursTo)
		}
	}
	return nil
}

func (a Archive) checkEncryption() error {
	switch {
	case (a.Certificate == "") != (a.Key == ""):
		return errors.New("archive.certificate and archive.key go together")
	case !a.TLS && (a.Authority != "" || a.Certificate != ""):
		return errors.New("archive.authority, archive.certificate and archive.key are for archive.tls, which is not on")
	}
	return nil
}
