// Package webhook carries notices to one address of the site by HTTP POST.
//
// The body is the notices as JSON. Each message has its idempotency key, the same in every repeat. It is signed by RFC 9421
// HTTP Message Signatures with hmac-sha256, over method, address, key and the digest of the body (RFC 9530). Redirects are not
// followed, and addresses inside a private network are refused unless the settings allow them.
package webhook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"strconv"
	"syscall"
	"time"

	"afterbeam/internal/followup/notice"
)

// DefaultTimeout bounds one request as a whole.
const DefaultTimeout = 20 * time.Second

// smallestSecret is the shortest secret in bytes: the length of the hash (RFC 2104, 3).
const smallestSecret = 32

// Config says where notices go. URL and Secret are required.
type Config struct {
	URL    string
	Secret string // of the signature, at least 32 bytes
	KeyID  string // by which the receiver finds the secret; "" is "afterbeam"
	// Private allows addresses inside a private network or this machine, and unencrypted HTTP to them.
	Private   bool
	Authority string // file of authorities (PEM) of the receiver's certificate; "" is the machine's own
	Timeout   time.Duration
	Now       func() time.Time
}

// Sender is a channel by webhook.
type Sender struct {
	cfg    Config
	client *http.Client
}

// New checks the configuration.
func New(cfg Config) (*Sender, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	if cfg.KeyID == "" {
		cfg.KeyID = "afterbeam"
	}
	if cfg.Timeout <= 0 {
		cfg.Timeout = DefaultTimeout
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	encryption := &tls.Config{MinVersion: tls.VersionTLS12}
	if cfg.Authority != "" {
		pem, err := os.ReadFile(cfg.Authority)
		if err != nil {
			return nil, fmt.Errorf("authorities of the webhook: %w", err)
		}
		if encryption.RootCAs = x509.NewCertPool(); !encryption.RootCAs.AppendCertsFromPEM(pem) {
			return nil, errors.New("authorities of the webhook: the file holds no certificate")
		}
	}
	dialer := &net.Dialer{Timeout: cfg.Timeout}
	if !cfg.Private {
		dialer.Control = public
	}
	return &Sender{cfg: cfg, client: &http.Client{
		Timeout: cfg.Timeout,
		// No proxy of the environment: the address that is checked is the one that is called.
		Transport:     &http.Transport{DialContext: dialer.DialContext, TLSClientConfig: encryption, TLSHandshakeTimeout: cfg.Timeout, DisableKeepAlives: true, ForceAttemptHTTP2: true},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

func (c Config) check() error {
	u, err := url.Parse(c.URL)
	switch {
	case err != nil || u.Host == "" || (u.Scheme != "https" && u.Scheme != "http"):
		return errors.New("webhook url wants one such as https://receiver.example.org/notices")
	case u.Scheme == "http" && !c.Private:
		return errors.New("webhook url wants https; http is for private targets that the settings allow")
	case u.User != nil:
		return errors.New("webhook url holds a user, which would not be secret")
	case len(c.Secret) < smallestSecret:
		return fmt.Errorf("webhook secret wants at least %d bytes", smallestSecret)
	}
	return nil
}

// errPrivate is an address inside a private network.
var errPrivate = errors.New("the address lies inside a private network, which the settings do not allow")

// public refuses addresses that only this machine or network reaches, after names were resolved.
func public(_, address string, _ syscall.RawConn) error {
	at, err := netip.ParseAddrPort(address)
	if err != nil || !Public(at.Addr()) {
		return errPrivate
	}
	return nil
}

// Public tells whether an address is one of the whole internet.
func Public(a netip.Addr) bool {
	a = a.Unmap()
	if !a.IsValid() || !a.IsGlobalUnicast() || a.IsPrivate() {
		return false
	}
	for _, block := range []string{
		"0.0.0.0/8", "100.64.0.0/10", "192.0.0.0/24", "198.18.0.0/15", "240.0.0.0/4", // RFC 6890
		"64:ff9b::/96", "64:ff9b:1::/48", "2002::/16", // ways to IPv4 addresses inside IPv6 ones: RFC 6052, 8215, 3056
	} {
		if netip.MustParsePrefix(block).Contains(a) {
			return false
		}
	}
	return true
}

// Send posts one message. A 2xx takes it. 400, 410, 413, 415 and 422 are final; any other answer may be another one later, when
// somebody has mended what is wrong.
func (s *Sender) Send(ctx context.Context, m notice.Message) error {
	body := body(m)
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, s.cfg.URL, bytes.NewReader(body))
	if err != nil {
		return fmt.Errorf("%w: webhook: no request can be made", notice.ErrNever)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "afterbeam")
	s.sign(r, m.ID, body)
	answer, err := s.client.Do(r)
	if err != nil {
		return failure(err)
	}
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 64<<10)) // what it says beside the status does not matter
	_ = answer.Body.Close()                                         // read to its end
	return meaning(answer.StatusCode)
}

// body wraps the notices with what is the message's own.
func body(m notice.Message) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, `{"schema":"afterbeam.notice/1","message":%q,"account_id":%q,"repeat":%t,"notices":`, m.ID, m.Account, m.Repeat)
	b.Write(m.Data)
	b.WriteString("}")
	return b.Bytes()
}

// components are what the signature covers, in order.
const components = `("@method" "@target-uri" "content-digest" "content-type" "idempotency-key")`

// sign adds digest, key and signature (RFC 9421, 2.5 and 3.3.3).
func (s *Sender) sign(r *http.Request, id string, body []byte) {
	sum := sha256.Sum256(body)
	r.Header.Set("Content-Digest", "sha-256=:"+base64.StdEncoding.EncodeToString(sum[:])+":")
	r.Header.Set("Idempotency-Key", strconv.Quote(id))
	params := fmt.Sprintf(`%s;created=%d;keyid=%q;alg="hmac-sha256"`, components, s.cfg.Now().Unix(), s.cfg.KeyID)
	r.Header.Set("Signature-Input", "afterbeam="+params)
	r.Header.Set("Signature", "afterbeam=:"+base64.StdEncoding.EncodeToString(Signature(s.cfg.Secret, r, params))+":")
}

// Signature gives the signature of a request, for receivers that check it: params is what stands behind the label in its
// Signature-Input.
func Signature(secret string, r *http.Request, params string) []byte {
	target := *r.URL
	target.Fragment = ""
	base := fmt.Sprintf("\"@method\": %s\n\"@target-uri\": %s\n\"content-digest\": %s\n\"content-type\": %s\n\"idempotency-key\": %s\n\"@signature-params\": %s",
		r.Method, target.String(), r.Header.Get("Content-Digest"), r.Header.Get("Content-Type"), r.Header.Get("Idempotency-Key"), params)
	mac := hmac.New(sha256.New, []byte(secret))
	_, _ = mac.Write([]byte(base)) // a hash never fails
	return mac.Sum(nil)
}

// meaning tells what an answer means for the message.
func meaning(status int) error {
	text := fmt.Sprintf("webhook: the receiver answered %d", status)
	switch status {
	case http.StatusBadRequest, http.StatusGone, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity:
		return fmt.Errorf("%w: %s", notice.ErrNever, text)
	}
	switch {
	case status >= 200 && status < 300:
		return nil
	case status >= 300 && status < 400:
		return errors.New(text + ", which is not followed")
	case status >= 500:
		// A receiver behind a gateway may have it all the same.
		return fmt.Errorf("%w: %s", notice.ErrUnsure, text)
	}
	return errors.New(text)
}

// failure tells why there was no answer, without the address.
func failure(err error) error {
	var dial *net.OpError
	var unknown x509.UnknownAuthorityError
	var name x509.HostnameError
	switch {
	case errors.Is(err, errPrivate):
		return fmt.Errorf("webhook: %w", errPrivate)
	case errors.As(err, &unknown), errors.As(err, &name):
		return errors.New("webhook: the receiver's certificate is not believed")
	case errors.As(err, &dial) && dial.Op == "dial":
		return errors.New("webhook: no connection to the receiver")
	}
	return fmt.Errorf("%w: webhook: no answer", notice.ErrUnsure)
}
