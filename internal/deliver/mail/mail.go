// Package mail carries notices by SMTP.
//
// Encryption is required unless the site's settings say otherwise. Nothing of a patient is in a subject, an address or a
// header; the message id is the same in every repeat, so that mail programs show one message.
package mail

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"os"
	"strconv"
	"strings"
	"time"

	gomail "github.com/wneessen/go-mail"

	"afterbeam/internal/followup/notice"
)

// The ways of encryption.
const (
	StartTLS = "starttls" // asked for after the greeting, and required
	Implicit = "implicit" // from the first byte
	None     = "none"     // for a server on the same machine or a network of its own
)

// Config says how the server is reached. Server, From and Encryption are required.
type Config struct {
	Server         string // host:port
	From           string // the sender's address
	User, Password string // "" for a server that asks for none
	Encryption     string
	Authority      string // file of authorities (PEM) of the server's certificate; "" is the machine's own
	// Helo is the name by which the service greets; "" is the machine's own.
	Helo    string
	Timeout time.Duration // of one step; 0 is DefaultTimeout
}

// DefaultTimeout is how long the server may take over one step.
const DefaultTimeout = 20 * time.Second

// Sender is a channel by mail.
type Sender struct {
	cfg    Config
	host   string
	port   int
	domain string // of message ids
	roots  *x509.CertPool
}

// New checks the configuration and reads the authorities.
func New(cfg Config) (*Sender, error) {
	host, port, err := net.SplitHostPort(cfg.Server)
	if err != nil {
		return nil, fmt.Errorf("mail server wants host:port, got %q", cfg.Server)
	}
	s := &Sender{cfg: cfg, host: host}
	if s.port, err = strconv.Atoi(port); err != nil {
		return nil, fmt.Errorf("mail server wants a port, got %q", port)
	}
	from, err := mail.ParseAddress(cfg.From)
	if err != nil {
		return nil, fmt.Errorf("mail sender wants an address such as afterbeam@example.org")
	}
	_, s.domain, _ = strings.Cut(from.Address, "@")
	if cfg.Timeout <= 0 {
		s.cfg.Timeout = DefaultTimeout
	}
	if cfg.Authority == "" {
		return s, nil
	}
	pem, err := os.ReadFile(cfg.Authority)
	if err != nil {
		return nil, fmt.Errorf("authorities of the mail server: %w", err)
	}
	if s.roots = x509.NewCertPool(); !s.roots.AppendCertsFromPEM(pem) {
		return nil, errors.New("authorities of the mail server: the file holds no certificate")
	}
	return s, nil
}

// Send carries one message on a connection of its own.
func (s *Sender) Send(ctx context.Context, m notice.Message) error {
	msg, err := s.message(m)
	if err != nil {
		return err
	}
	client, err := s.client()
	if err != nil {
		return fmt.Errorf("mail: %w", err)
	}
	err = client.DialAndSendWithContext(ctx, msg)
	if err == nil || msg.IsDelivered() {
		return nil // what fails after the server took it does not matter
	}
	return failure(err)
}

func (s *Sender) client() (*gomail.Client, error) {
	options := []gomail.Option{
		gomail.WithPort(s.port), gomail.WithTimeout(s.cfg.Timeout),
		gomail.WithTLSConfig(&tls.Config{ServerName: s.host, RootCAs: s.roots, MinVersion: tls.VersionTLS12}),
	}
	switch s.cfg.Encryption {
	case Implicit:
		options = append(options, gomail.WithSSL())
	case None:
		options = append(options, gomail.WithTLSPolicy(gomail.NoTLS))
	default:
		options = append(options, gomail.WithTLSPolicy(gomail.TLSMandatory))
	}
	if s.cfg.Helo != "" {
		options = append(options, gomail.WithHELO(s.cfg.Helo))
	}
	if s.cfg.User != "" {
		options = append(options, gomail.WithSMTPAuth(gomail.SMTPAuthAutoDiscover), gomail.WithUsername(s.cfg.User), gomail.WithPassword(s.cfg.Password))
	}
	return gomail.NewClient(s.host, options...)
}

// message writes the mail: text, and the pictures beside it.
func (s *Sender) message(m notice.Message) (*gomail.Msg, error) {
	msg := gomail.NewMsg()
	if err := msg.From(s.cfg.From); err != nil {
		return nil, fmt.Errorf("%w: mail: the sender is no address", notice.ErrNever)
	}
	if err := msg.To(m.Address); err != nil {
		return nil, fmt.Errorf("%w: mail: the account's address is none", notice.ErrNever)
	}
	msg.SetMessageIDWithValue(m.ID + "@" + s.domain)
	msg.SetDate()
	msg.Subject(m.Subject)
	msg.SetGenHeader("Auto-Submitted", "auto-generated") // RFC 3834: no holiday answers
	if m.Language != "" {
		msg.SetGenHeader("Content-Language", m.Language)
	}
	if m.Urgent {
		msg.SetImportance(gomail.ImportanceHigh)
	}
	msg.SetBodyString(gomail.TypeTextPlain, m.Text)
	for _, p := range m.Pictures {
		if err := msg.AttachReader(p.Name, bytes.NewReader(p.PNG), gomail.WithFileContentType("image/png")); err != nil {
			return nil, fmt.Errorf("mail: attach picture: %w", err)
		}
	}
	return msg, nil
}

// failure tells what an error means for the message. Its text holds what the server said as a code alone: its words repeat
// addresses.
func failure(err error) error {
	var sent *gomail.SendError
	if !errors.As(err, &sent) {
		return connection(err)
	}
	code := sent.ErrorCode()
	permanent := code >= 500 && code < 600
	switch sent.Reason {
	case gomail.ErrSMTPDataClose, gomail.ErrWriteContent, gomail.ErrAmbiguous:
		if code == 0 {
			return fmt.Errorf("%w: mail: no answer after the message", notice.ErrUnsure)
		}
	case gomail.ErrGetSender, gomail.ErrGetRcpts, gomail.ErrNoUnencoded:
		return fmt.Errorf("%w: mail: %s", notice.ErrNever, sent.Reason)
	default:
	}
	if permanent && (sent.Reason == gomail.ErrSMTPRcptTo || sent.Reason == gomail.ErrSMTPDataClose) {
		return fmt.Errorf("%w: mail: the server answered %d", notice.ErrNever, code)
	}
	if code == 0 {
		return fmt.Errorf("mail: %s", sent.Reason)
	}
	return fmt.Errorf("mail: the server answered %d", code)
}

// connection tells why there was none, without the server's words.
func connection(err error) error {
	var unknown x509.UnknownAuthorityError
	var name x509.HostnameError
	var network net.Error
	switch {
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &network) && network.Timeout():
		return errors.New("mail: the server took too long")
	case errors.As(err, &unknown), errors.As(err, &name):
		return errors.New("mail: the server's certificate is not believed")
	case errors.As(err, &network):
		return errors.New("mail: no connection to the server")
	case strings.Contains(err.Error(), "STARTTLS"):
		return errors.New("mail: the server does not encrypt, and the settings want that")
	case strings.Contains(strings.ToLower(err.Error()), "auth"):
		return errors.New("mail: the server does not take user and password")
	}
	return errors.New("mail: no conversation with the server")
}
