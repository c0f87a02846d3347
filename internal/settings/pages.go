package settings

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"slices"
	"strings"
)

// Pages says whether there are pages for people, and how people sign in to them.
type Pages struct {
	Enabled bool `toml:"enabled" env:"AFTERBEAM_PAGES_ENABLED"`
	// PublicURL is where browsers reach the service, without a path; OpenID wants it.
	PublicURL string `toml:"public_url" env:"AFTERBEAM_PAGES_PUBLIC_URL"`
	// Passwords lets people sign in by a password that is kept here.
	Passwords bool `toml:"passwords" env:"AFTERBEAM_PAGES_PASSWORDS"`
	// IdleMinutes is how long a session may be unused, SessionHours how long it lasts at most.
	IdleMinutes  int `toml:"idle_minutes" env:"AFTERBEAM_PAGES_IDLE_MINUTES"`
	SessionHours int `toml:"session_hours" env:"AFTERBEAM_PAGES_SESSION_HOURS"`
}

// OpenID is an issuer at which people sign in; without Issuer there is none.
type OpenID struct {
	Issuer           string `toml:"issuer" env:"AFTERBEAM_OPENID_ISSUER"`
	ClientID         string `toml:"client_id" env:"AFTERBEAM_OPENID_CLIENT_ID"`
	ClientSecret     string `toml:"client_secret" env:"AFTERBEAM_OPENID_CLIENT_SECRET" secret:"yes"`
	ClientSecretFile string `toml:"client_secret_file" env:"AFTERBEAM_OPENID_CLIENT_SECRET_FILE"`
	// Claim is the claim whose value is the name of an account.
	Claim string `toml:"claim" env:"AFTERBEAM_OPENID_CLAIM"`
	// Label is what people call the issuer.
	Label string `toml:"label" env:"AFTERBEAM_OPENID_LABEL"`
	// NewAccountRole makes accounts of this role for people whom the issuer knows; empty makes none.
	NewAccountRole string `toml:"new_account_role" env:"AFTERBEAM_OPENID_NEW_ACCOUNT_ROLE"`
}

// Defaults of Pages and OpenID: the times are judgement, for machines that several people use.
const (
	DefaultIdleMinutes  = 15
	DefaultSessionHours = 12
	DefaultClaim        = "preferred_username"
	DefaultLabel        = "OpenID"
)

func defaultPages() Pages {
	return Pages{Enabled: true, Passwords: true, IdleMinutes: DefaultIdleMinutes, SessionHours: DefaultSessionHours}
}

func defaultOpenID() OpenID { return OpenID{Claim: DefaultClaim, Label: DefaultLabel} }

func (s *Settings) checkPages() error {
	p, o := s.Pages, s.OpenID
	if err := o.check(p); err != nil {
		return err
	}
	switch {
	case p.IdleMinutes < 1 || p.IdleMinutes > 1440:
		return fmt.Errorf("pages.idle_minutes wants 1 to 1440, got %d", p.IdleMinutes)
	case p.SessionHours < 1 || p.SessionHours > 24:
		return fmt.Errorf("pages.session_hours wants 1 to 24, got %d", p.SessionHours)
	case p.Enabled && !p.Passwords && o.Issuer == "":
		return errors.New("pages.passwords = false wants openid.issuer: nobody could sign in")
	}
	return origin("pages.public_url", p.PublicURL, true)
}

func (o OpenID) check(p Pages) error {
	switch {
	case !slices.Contains([]string{"", "physicist", "operator", "quality", "auditor"}, o.NewAccountRole):
		return fmt.Errorf("openid.new_account_role wants physicist, operator, quality, auditor or nothing, got %q", o.NewAccountRole)
	case o.Issuer == "":
		return nil
	case o.ClientID == "" || o.Claim == "" || o.Label == "":
		return errors.New("openid.issuer wants client_id, claim and label")
	case p.PublicURL == "":
		return errors.New("openid.issuer wants pages.public_url: it sends browsers back there")
	}
	return origin("openid.issuer", o.Issuer, false)
}

// origin checks an address of HTTPS, or of HTTP on this machine alone; bare is without a path.
func origin(key, text string, bare bool) error {
	if text == "" {
		return nil
	}
	u, err := url.Parse(text)
	local := err == nil && slices.Contains([]string{"localhost", "127.0.0.1", "::1"}, u.Hostname())
	if err != nil || u.Host == "" || u.User != nil || u.RawQuery != "" || u.Fragment != "" || u.Scheme != "https" && (u.Scheme != "http" || !local) {
		return fmt.Errorf("%s wants an address such as https://dose.example.org, got %q", key, text)
	}
	if bare && u.Path != "" {
		return fmt.Errorf("%s wants an address without a path, got %q", key, text)
	}
	return nil
}

// secret reads the client's secret from its file.
func (o *OpenID) secret() error {
	if o.ClientSecretFile == "" {
		return nil
	}
	if o.ClientSecret != "" {
		return errors.New("openid.client_secret and openid.client_secret_file are both given")
	}
	text, err := os.ReadFile(o.ClientSecretFile)
	if err != nil {
		return fmt.Errorf("openid.client_secret_file: %w", err)
	}
	if o.ClientSecret = strings.TrimSpace(string(text)); o.ClientSecret == "" {
		return fmt.Errorf("openid.client_secret_file %s wants a secret, it is empty", o.ClientSecretFile)
	}
	return nil
}
