package settings

import (
	"errors"
	"fmt"
)

// Backup is the copy of the store that the running service makes by itself. Without a Dir there is none.
type Backup struct {
	// Dir is the folder in which every backup gets a folder of its own; it belongs on another disk or machine.
	Dir string `toml:"dir" env:"AFTERBEAM_BACKUP_DIR"`
	// EveryHours is the time from one backup to the next, Keep how many of them stay.
	EveryHours int `toml:"every_hours" env:"AFTERBEAM_BACKUP_EVERY_HOURS"`
	Keep       int `toml:"keep" env:"AFTERBEAM_BACKUP_KEEP"`
	// Verify checks every digest, the audit chain and the database of a backup after it was written.
	Verify bool `toml:"verify" env:"AFTERBEAM_BACKUP_VERIFY"`
}

// Retention says for how many days is kept what a site may decide about; 0 is for good. Reports, newest estimates, flags, asks,
// papers and the audit record are kept for good in any case.
type Retention struct {
	SessionDays    int `toml:"session_days" env:"AFTERBEAM_RETENTION_SESSION_DAYS"`
	NoticeDays     int `toml:"notice_days" env:"AFTERBEAM_RETENTION_NOTICE_DAYS"`
	SupersededDays int `toml:"superseded_days" env:"AFTERBEAM_RETENTION_SUPERSEDED_DAYS"`
}

// Audit says how often the running service checks the whole audit chain.
type Audit struct {
	VerifyHours int `toml:"verify_hours" env:"AFTERBEAM_AUDIT_VERIFY_HOURS"`
}

// Defaults of Backup, Retention and Audit. Common practice, no source.
const (
	DefaultBackupHours = 24
	DefaultBackupsKept = 7
	DefaultSessionDays = 30
	DefaultVerifyHours = 24
)

func defaultBackup() Backup {
	return Backup{EveryHours: DefaultBackupHours, Keep: DefaultBackupsKept, Verify: true}
}

func (s *Settings) checkUpkeep() error {
	b := s.Backup
	switch {
	case b.EveryHours < 1 || b.EveryHours > 24*31:
		return fmt.Errorf("backup.every_hours wants 1 to 744, got %d", b.EveryHours)
	case b.Keep < 2 || b.Keep > 1000:
		return fmt.Errorf("backup.keep wants 2 to 1000, got %d", b.Keep)
	case s.Audit.VerifyHours < 1 || s.Audit.VerifyHours > 24*31:
		return fmt.Errorf("audit.verify_hours wants 1 to 744, got %d", s.Audit.VerifyHours)
	}
	for _, d := range []struct {
		key         string
		days, least int
	}{
		{"retention.session_days", s.Retention.SessionDays, 1},
		{"retention.notice_days", s.Retention.NoticeDays, 30},
		{"retention.superseded_days", s.Retention.SupersededDays, 30},
	} {
		if d.days != 0 && (d.days < d.least || d.days > 36500) {
			return fmt.Errorf("%s wants 0 for good or %d to 36500, got %d", d.key, d.least, d.days)
		}
	}
	return s.checkBackupFolder()
}

// checkBackupFolder keeps the backups out of the store and the store out of the backups.
func (s *Settings) checkBackupFolder() error {
	if s.Backup.Dir == "" {
		return nil
	}
	kept, err := place(s.Store.Dir)
	if err != nil {
		return fmt.Errorf("store.dir: %w", err)
	}
	copies, err := place(s.Backup.Dir)
	if err != nil {
		return fmt.Errorf("backup.dir: %w", err)
	}
	if holds(kept, copies) || holds(copies, kept) {
		return errors.New("backup.dir and store.dir want folders apart, neither inside the other")
	}
	return nil
}
