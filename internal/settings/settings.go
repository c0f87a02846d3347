package settings

import (
	"errors"
	"fmt"
	"io"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/BurntSushi/toml"
)

// ErrInvalid marks settings that cannot be used; the text names the key and the expected form.
var ErrInvalid = errors.New("settings not usable")

// Settings is everything that a site decides about its service.
type Settings struct {
	// Zone is the site's time zone, for reports whose times carry no offset.
	Zone      string    `toml:"zone" env:"AFTERBEAM_ZONE"`
	Site      Site      `toml:"site"`
	Store     Store     `toml:"store"`
	Backup    Backup    `toml:"backup"`
	Retention Retention `toml:"retention"`
	Audit     Audit     `toml:"audit"`
	HTTP      HTTP      `toml:"http"`
	Pages     Pages     `toml:"pages"`
	OpenID    OpenID    `toml:"openid"`
	Metrics   Metrics   `toml:"metrics"`
	DICOM     DICOM     `toml:"dicom"`
	Archive   Archive   `toml:"archive"`
	Spool     Spool     `toml:"spool"`
	Pipeline  Pipeline  `toml:"pipeline"`
	Performed Performed `toml:"performed"`
	Notices   Notices   `toml:"notices"`
	Estimate  Estimate  `toml:"estimate"`
	Tables    Tables    `toml:"tables"`
	Log       Log       `toml:"log"`
}

// Store says where everything is kept.
type Store struct {
	Dir string `toml:"dir" env:"AFTERBEAM_STORE_DIR"`
}

// HTTP says how the interface is reached. Without a certificate it binds to loopback alone, unless a proxy in front of it
// does the encryption.
type HTTP struct {
	Listen      string `toml:"listen" env:"AFTERBEAM_HTTP_LISTEN"`
	Certificate string `toml:"certificate" env:"AFTERBEAM_HTTP_CERTIFICATE"`
	Key         string `toml:"key" env:"AFTERBEAM_HTTP_KEY"`
	BehindProxy bool   `toml:"behind_proxy" env:"AFTERBEAM_HTTP_BEHIND_PROXY"`
	// RequestsPerSecond limits each token and each address.
	RequestsPerSecond float64 `toml:"requests_per_second" env:"AFTERBEAM_HTTP_REQUESTS_PER_SECOND"`
}

// Metrics is the listener of the measurements; empty is none. One that is not on loopback wants a token.
type Metrics struct {
	Listen    string `toml:"listen" env:"AFTERBEAM_METRICS_LISTEN"`
	Token     string `toml:"token" env:"AFTERBEAM_METRICS_TOKEN" secret:"yes"`
	TokenFile string `toml:"token_file" env:"AFTERBEAM_METRICS_TOKEN_FILE"`
}

// Spool is the watched folder; empty is none.
type Spool struct {
	Dir string `toml:"dir" env:"AFTERBEAM_SPOOL_DIR"`
}

// Pipeline says how the work is done.
type Pipeline struct {
	Workers int `toml:"workers" env:"AFTERBEAM_PIPELINE_WORKERS"`
	// QuietMinutes is how long after its last report a case without a closing one counts as complete.
	QuietMinutes int `toml:"quiet_minutes" env:"AFTERBEAM_PIPELINE_QUIET_MINUTES"`
	// CommitmentDays is how long a storage commitment is kept after its answer was delivered or given up, SkinSumDays how
	// long a sum of skin dose is kept after another estimate took the place of one in it.
	CommitmentDays int `toml:"commitment_days" env:"AFTERBEAM_PIPELINE_COMMITMENT_DAYS"`
	SkinSumDays    int `toml:"skin_sum_days" env:"AFTERBEAM_PIPELINE_SKIN_SUM_DAYS"`
	// OrganHistories is how many photons are followed for the organ doses of a case; 0 computes none.
	OrganHistories int `toml:"organ_histories" env:"AFTERBEAM_PIPELINE_ORGAN_HISTORIES"`
}

// Performed says when a performed procedure without a dose report is missing one.
type Performed struct {
	// WindowMinutes is how far a report may lie in time from a performed procedure of the same patient and room.
	WindowMinutes int `toml:"window_minutes" env:"AFTERBEAM_PERFORMED_WINDOW_MINUTES"`
	// GraceHours is how long a report may take to come.
	GraceHours int `toml:"grace_hours" env:"AFTERBEAM_PERFORMED_GRACE_HOURS"`
}

// Estimate says how skin dose is estimated where there is a choice. A change has every study estimated anew.
type Estimate struct {
	// RangePoints is how many samples the range of a map is made from; with more than 512 a long case takes over a minute.
	RangePoints int `toml:"range_points" env:"AFTERBEAM_ESTIMATE_RANGE_POINTS"`
	// Skull lowers the backscatter of the head as bone under thin skin does; off is the cautious choice.
	Skull bool `toml:"skull" env:"AFTERBEAM_ESTIMATE_SKULL"`
}

// Tables are files of the site in place of the embedded ones.
type Tables struct {
	Profiles string `toml:"profiles" env:"AFTERBEAM_TABLES_PROFILES"`
	Lexicon  string `toml:"lexicon" env:"AFTERBEAM_TABLES_LEXICON"`
	Levels   string `toml:"levels" env:"AFTERBEAM_TABLES_LEVELS"`
	Schedule string `toml:"schedule" env:"AFTERBEAM_TABLES_SCHEDULE"`
}

// Log says what is told.
type Log struct {
	Level string `toml:"level" env:"AFTERBEAM_LOG_LEVEL"`
}

// Defaults of Settings.
const (
	DefaultListen            = "127.0.0.1:8480"
	DefaultMetricsListen     = "127.0.0.1:8481"
	DefaultRequestsPerSecond = 50
	DefaultWorkers           = 2
	DefaultQuietMinutes      = 120
	DefaultCommitmentDays    = 90
	DefaultSkinSumDays       = 30
	DefaultOrganHistories    = 1_000_000
	DefaultWindowMinutes     = 120
	DefaultGraceHours        = 24
	DefaultRangePoints       = 128
)

// Default gives the settings of a service on its own machine.
func Default() Settings {
	return Settings{
		Zone: "Local", Site: Site{Address: []string{}, Language: "en", PaperSize: "a4"}, Store: Store{Dir: "afterbeam-store"},
		Backup: defaultBackup(), Retention: Retention{SessionDays: DefaultSessionDays}, Audit: Audit{VerifyHours: DefaultVerifyHours},
		HTTP:  HTTP{Listen: DefaultListen, RequestsPerSecond: DefaultRequestsPerSecond},
		Pages: defaultPages(), OpenID: defaultOpenID(),
		Metrics: Metrics{Listen: DefaultMetricsListen}, DICOM: defaultDICOM(), Archive: defaultArchive(),
		Pipeline:  Pipeline{Workers: DefaultWorkers, QuietMinutes: DefaultQuietMinutes, CommitmentDays: DefaultCommitmentDays, SkinSumDays: DefaultSkinSumDays, OrganHistories: DefaultOrganHistories},
		Notices:   defaultNotices(),
		Performed: Performed{WindowMinutes: DefaultWindowMinutes, GraceHours: DefaultGraceHours}, Estimate: Estimate{RangePoints: DefaultRangePoints}, Log: Log{Level: "info"},
	}
}

// Read reads a file over the defaults and the environment over that, and checks the result. A nil file is the defaults.
func Read(file io.Reader, environ []string) (Settings, error) {
	s := Default()
	if file != nil {
		meta, err := toml.NewDecoder(file).Decode(&s)
		if err != nil {
			return s, fmt.Errorf("%w: %w", ErrInvalid, err)
		}
		if unknown := meta.Undecoded(); len(unknown) > 0 {
			return s, fmt.Errorf("%w: unknown key %q", ErrInvalid, unknown[0].String())
		}
	}
	if err := overlay(&s, environ); err != nil {
		return s, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if err := s.secrets(); err != nil {
		return s, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	if err := s.check(); err != nil {
		return s, fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return s, nil
}

// secrets reads the secrets that stand in files of their own.
func (s *Settings) secrets() error {
	if err := errors.Join(s.OpenID.secret(), s.Notices.secrets()); err != nil {
		return err
	}
	if s.Metrics.TokenFile == "" {
		return nil
	}
	if s.Metrics.Token != "" {
		return errors.New("metrics.token and metrics.token_file are both given")
	}
	text, err := os.ReadFile(s.Metrics.TokenFile)
	if err != nil {
		return fmt.Errorf("metrics.token_file: %w", err)
	}
	if s.Metrics.Token = strings.TrimSpace(string(text)); s.Metrics.Token == "" {
		return fmt.Errorf("metrics.token_file %s wants a token, it is empty", s.Metrics.TokenFile)
	}
	return nil
}

func (s *Settings) check() error {
	if _, err := time.LoadLocation(s.Zone); err != nil {
		return fmt.Errorf("zone wants a name such as Europe/London, got %q", s.Zone)
	}
	switch {
	case s.Site.PaperSize != "a4" && s.Site.PaperSize != "letter":
		return fmt.Errorf("site.paper_size wants a4 or letter, got %q", s.Site.PaperSize)
	case s.Store.Dir == "":
		return errors.New("store.dir wants a folder")
	case !(s.HTTP.RequestsPerSecond > 0):
		return fmt.Errorf("http.requests_per_second wants a number above 0, got %v", s.HTTP.RequestsPerSecond)
	case (s.HTTP.Certificate == "") != (s.HTTP.Key == ""):
		return errors.New("http.certificate and http.key go together")
	}
	for _, check := range []func() error{s.Log.check, s.Pipeline.check, s.Performed.check, s.Estimate.check, s.checkListeners, s.checkPages, s.DICOM.check, s.Archive.check, s.Notices.check, s.checkFolders, s.checkUpkeep} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

func (p Pipeline) check() error {
	switch {
	case p.Workers < 1 || p.Workers > 64:
		return fmt.Errorf("pipeline.workers wants 1 to 64, got %d", p.Workers)
	case p.QuietMinutes < 1 || p.QuietMinutes > 10080:
		return fmt.Errorf("pipeline.quiet_minutes wants 1 to 10080, got %d", p.QuietMinutes)
	case p.CommitmentDays < 1 || p.CommitmentDays > 3650:
		return fmt.Errorf("pipeline.commitment_days wants 1 to 3650, got %d", p.CommitmentDays)
	case p.SkinSumDays < 1 || p.SkinSumDays > 3650:
		return fmt.Errorf("pipeline.skin_sum_days wants 1 to 3650, got %d", p.SkinSumDays)
	case p.OrganHistories != 0 && (p.OrganHistories < 100_000 || p.OrganHistories > 100_000_000):
		return fmt.Errorf("pipeline.organ_histories wants 0 for none or 100000 to 100000000, got %d", p.OrganHistories)
	}
	return nil
}

// check tells what cannot be used.
func (l Log) check() error {
	switch l.Level {
	case "debug", "info", "warn", "error":
	default:
		return fmt.Errorf("log.level wants debug, info, warn or error, got %q", l.Level)
	}
	return nil
}

func (p Performed) check() error {
	switch {
	case p.WindowMinutes < 1 || p.WindowMinutes > 1440:
		return fmt.Errorf("performed.window_minutes wants 1 to 1440, got %d", p.WindowMinutes)
	case p.GraceHours < 1 || p.GraceHours > 2160:
		return fmt.Errorf("performed.grace_hours wants 1 to 2160, got %d", p.GraceHours)
	}
	return nil
}

func (e Estimate) check() error {
	if e.RangePoints < 16 || e.RangePoints > 512 {
		return fmt.Errorf("estimate.range_points wants 16 to 512, got %d", e.RangePoints)
	}
	return nil
}

func (s *Settings) checkListeners() error {
	local, err := loopback("http.listen", s.HTTP.Listen)
	if err != nil {
		return err
	}
	if !local && s.HTTP.Certificate == "" && !s.HTTP.BehindProxy {
		return fmt.Errorf("http.listen %s is reached from outside: give http.certificate and http.key, or behind_proxy when a proxy encrypts", s.HTTP.Listen)
	}
	if s.Metrics.Listen == "" {
		return nil
	}
	if local, err = loopback("metrics.listen", s.Metrics.Listen); err != nil {
		return err
	}
	if !local && s.Metrics.Token == "" {
		return fmt.Errorf("metrics.listen %s is reached from outside: give metrics.token_file", s.Metrics.Listen)
	}
	return nil
}

// checkFolders keeps the watched folder out of the store and the store out of the watched folder: the door moves away
// every file that it finds, the database too.
func (s *Settings) checkFolders() error {
	if s.Spool.Dir == "" {
		return nil
	}
	kept, err := place(s.Store.Dir)
	if err != nil {
		return fmt.Errorf("store.dir: %w", err)
	}
	watched, err := place(s.Spool.Dir)
	if err != nil {
		return fmt.Errorf("spool.dir: %w", err)
	}
	if holds(kept, watched) || holds(watched, kept) {
		return fmt.Errorf("spool.dir %s and store.dir %s want folders apart, neither inside the other", s.Spool.Dir, s.Store.Dir)
	}
	return nil
}

// place gives the full path of a folder, symbolic links followed as far as it exists.
func place(dir string) (string, error) {
	full, err := filepath.Abs(dir)
	if err != nil {
		return "", err
	}
	for there, below := full, ""; ; there, below = filepath.Dir(there), filepath.Join(filepath.Base(there), below) {
		real, err := filepath.EvalSymlinks(there)
		if err == nil {
			return filepath.Join(real, below), nil
		}
		if filepath.Dir(there) == there {
			return full, nil
		}
	}
}

// holds tells whether a path is a folder or below it.
func holds(folder, path string) bool {
	way, err := filepath.Rel(folder, path)
	return err == nil && (way == "." || filepath.IsLocal(way))
}

// loopback tells whether an address is reached from this machine alone.
func loopback(key, address string) (bool, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return false, fmt.Errorf("%s wants host:port, got %q", key, address)
	}
	if n, err := strconv.Atoi(port); err != nil || n < 0 || n > 65535 {
		return false, fmt.Errorf("%s wants a port of 0 to 65535, got %q", key, port)
	}
	if host == "localhost" {
		return true, nil
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback(), nil
}
