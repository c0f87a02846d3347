package dimse

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"os"
)

// Encryption says how connections are encrypted. The files are PEM.
type Encryption struct {
	Certificate, Key string
	// ClientCA holds the certificates that those of clients must descend from; "" asks clients for none.
	ClientCA string
	// ClientsMust refuses a client without a certificate; otherwise one that shows a certificate must show a good one.
	ClientsMust bool
}

// Read reads the files into a configuration of TLS 1.2 and above (PS3.15 B.12; RFC 9325).
func (e Encryption) Read() (*tls.Config, error) {
	pair, err := tls.LoadX509KeyPair(e.Certificate, e.Key)
	if err != nil {
		return nil, fmt.Errorf("certificate and key: %w", err)
	}
	cfg := &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}
	if e.ClientCA == "" {
		if e.ClientsMust {
			return nil, errors.New("client certificates are wanted, but no authority for them is given")
		}
		return cfg, nil
	}
	text, err := os.ReadFile(e.ClientCA)
	if err != nil {
		return nil, fmt.Errorf("client authority: %w", err)
	}
	cfg.ClientCAs = x509.NewCertPool()
	if !cfg.ClientCAs.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("client authority %s wants certificates in PEM form", e.ClientCA)
	}
	cfg.ClientAuth = tls.VerifyClientCertIfGiven
	if e.ClientsMust {
		cfg.ClientAuth = tls.RequireAndVerifyClientCert
	}
	return cfg, nil
}
