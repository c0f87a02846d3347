package settings

import (
	"errors"
	"fmt"
	"net"
	"os"
	"slices"
	"strings"

	"afterbeam/internal/followup/notice"
)

// Notices says who is told of cases, when and by which channels. A channel without an address or folder is none.
type Notices struct {
	// From is the lowest rank of notices: every, notification or follow-up.
	From string `toml:"from" env:"AFTERBEAM_NOTICES_FROM"`
	// Language is en or de; each person may choose.
	Language string `toml:"language" env:"AFTERBEAM_NOTICES_LANGUAGE"`
	// QuietFrom and QuietTo are local times between which only newly reached follow-up levels are told; "" is none.
	QuietFrom string `toml:"quiet_from" env:"AFTERBEAM_NOTICES_QUIET_FROM"`
	QuietTo   string `toml:"quiet_to" env:"AFTERBEAM_NOTICES_QUIET_TO"`
	// DigestAt is the local time at which all that is not urgent goes out together; "" is each by itself.
	DigestAt string `toml:"digest_at" env:"AFTERBEAM_NOTICES_DIGEST_AT"`
	// LateDays is the age in days from which what a back-fill brings is not told.
	LateDays int `toml:"late_days" env:"AFTERBEAM_NOTICES_LATE_DAYS"`
	// AlarmMinutes is how long a channel may fail before the administrators are told.
	AlarmMinutes int `toml:"alarm_minutes" env:"AFTERBEAM_NOTICES_ALARM_MINUTES"`

	Outbox  Outbox  `toml:"outbox"`
	Mail    Mail    `toml:"mail"`
	Webhook Webhook `toml:"webhook"`
}

// Outbox is the folder into which notices are written.
type Outbox struct {
	Dir string `toml:"dir" env:"AFTERBEAM_NOTICES_OUTBOX_DIR"`
}

// Mail is the server by which notices are sent.
type Mail struct {
	Server string `toml:"server" env:"AFTERBEAM_NOTICES_MAIL_SERVER"`
	From   string `toml:"from" env:"AFTERBEAM_NOTICES_MAIL_FROM"`
	User   string `toml:"user" env:"AFTERBEAM_NOTICES_MAIL_USER"`
	// Password stands here or in a file of its own.
	Password     string `toml:"password" env:"AFTERBEAM_NOTICES_MAIL_PASSWORD" secret:"yes"`
	PasswordFile string `toml:"password_file" env:"AFTERBEAM_NOTICES_MAIL_PASSWORD_FILE"`
	// Encryption is starttls, implicit or none.
	Encryption string `toml:"encryption" env:"AFTERBEAM_NOTICES_MAIL_ENCRYPTION"`
	Authority  string `toml:"authority" env:"AFTERBEAM_NOTICES_MAIL_AUTHORITY"`
	// Body is numbers, or link to leave every number and picture out.
	Body string `toml:"body" env:"AFTERBEAM_NOTICES_MAIL_BODY"`
	// Domains are those to which mail may go; none is every one.
	Domains []string `toml:"domains"`
}

// Webhook is the address to which notices are posted.
type Webhook struct {
	URL        string `toml:"url" env:"AFTERBEAM_NOTICES_WEBHOOK_URL"`
	Secret     string `toml:"secret" env:"AFTERBEAM_NOTICES_WEBHOOK_SECRET" secret:"yes"`
	SecretFile string `toml:"secret_file" env:"AFTERBEAM_NOTICES_WEBHOOK_SECRET_FILE"`
	// PrivateTargets allows an address inside a private network or on this machine, and http to it.
	PrivateTargets bool   `toml:"private_targets" env:"AFTERBEAM_NOTICES_WEBHOOK_PRIVATE_TARGETS"`
	Authority      string `toml:"authority" env:"AFTERBEAM_NOTICES_WEBHOOK_AUTHORITY"`
}

// Defaults of Notices. The numbers are judgement.
const (
	DefaultLateDays     = 30
	DefaultAlarmMinutes = 5
)

func defaultNotices() Notices {
	return Notices{
		From: notice.EveryCase.String(), Language: "en", LateDays: DefaultLateDays, AlarmMinutes: DefaultAlarmMinutes,
		Mail: Mail{Encryption: "starttls", Body: "numbers", Domains: []string{}},
	}
}

// Policy gives the site's policy.
func (n Notices) Policy() (notice.Policy, error) {
	rank, err := notice.RankOf(n.From)
	if err != nil {
		return notice.Policy{}, fmt.Errorf("from: %w", err)
	}
	p := notice.Policy{From: rank, Language: n.Language, QuietFrom: n.QuietFrom, QuietTo: n.QuietTo, DigestAt: n.DigestAt}
	return p, p.Validate()
}

// secrets reads the secrets that stand in files of their own.
func (n *Notices) secrets() error {
	for _, one := range []struct {
		key, file string
		to        *string
	}{{"notices.mail.password", n.Mail.PasswordFile, &n.Mail.Password}, {"notices.webhook.secret", n.Webhook.SecretFile, &n.Webhook.Secret}} {
		if one.file == "" {
			continue
		}
		if *one.to != "" {
			return fmt.Errorf("%s and %s_file are both given", one.key, one.key)
		}
		text, err := os.ReadFile(one.file)
		if err != nil {
			return fmt.Errorf("%s_file: %w", one.key, err)
		}
		*one.to = strings.TrimSpace(string(text))
	}
	return nil
}

func (n Notices) check() error {
	if _, err := n.Policy(); err != nil {
		return fmt.Errorf("notices: %w", err)
	}
	switch {
	case n.LateDays < 1 || n.LateDays > 3650:
		return fmt.Errorf("notices.late_days wants 1 to 3650, got %d", n.LateDays)
	case n.AlarmMinutes < 1 || n.AlarmMinutes > 1440:
		return fmt.Errorf("notices.alarm_minutes wants 1 to 1440, got %d", n.AlarmMinutes)
	}
	return errors.Join(n.Mail.check(), n.Webhook.check())
}

func (m Mail) check() error {
	if m.Server == "" {
		return nil
	}
	if _, _, err := net.SplitHostPort(m.Server); err != nil {
		return fmt.Errorf("notices.mail.server wants host:port, got %q", m.Server)
	}
	switch {
	case m.From == "":
		return errors.New("notices.mail.from wants the sender's address")
	case !slices.Contains([]string{"starttls", "implicit", "none"}, m.Encryption):
		return fmt.Errorf("notices.mail.encryption wants starttls, implicit or none, got %q", m.Encryption)
	case !slices.Contains([]string{"numbers", "link"}, m.Body):
		return fmt.Errorf("notices.mail.body wants numbers or link, got %q", m.Body)
	case m.Encryption == "none" && m.Password != "":
		return errors.New("notices.mail.password would go over the network unencrypted: encryption is none")
	}
	return nil
}

func (w Webhook) check() error {
	if w.URL != "" && w.Secret == "" {
		return errors.New("notices.webhook.url wants notices.webhook.secret_file: every message is signed")
	}
	return nil
}
