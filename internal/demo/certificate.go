package demo

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"time"
)

// Certificates are files of the demonstration's own certificate authority and of what it signed: a server on this machine
// and a client. Nobody else trusts them, and they end after a day.
type Certificates struct {
	Authority, Server, ServerKey, Client, ClientKey string
}

// ClientName is the name in the client's certificate.
const ClientName = "cath2.saltmarsh.example"

// MakeCertificates makes certificates in a folder.
func MakeCertificates(dir string, now time.Time) (Certificates, error) {
	c := Certificates{
		filepath.Join(dir, "authority.pem"), filepath.Join(dir, "server.pem"), filepath.Join(dir, "server-key.pem"),
		filepath.Join(dir, "client.pem"), filepath.Join(dir, "client-key.pem"),
	}
	authority := certificateOf("Saltmarsh demonstration authority", 1, now)
	authority.IsCA, authority.BasicConstraintsValid, authority.KeyUsage = true, true, x509.KeyUsageCertSign
	signer, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return c, fmt.Errorf("make key: %w", err)
	}
	if err := sign(authority, authority, signer, signer, c.Authority); err != nil {
		return c, err
	}
	server := certificateOf("localhost", 2, now)
	server.DNSNames, server.IPAddresses = []string{"localhost"}, []net.IP{net.IPv4(127, 0, 0, 1), net.IPv6loopback}
	server.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth}
	client := certificateOf(ClientName, 3, now)
	client.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth}
	return c, errors.Join(
		withKey(server, authority, signer, c.Server, c.ServerKey), withKey(client, authority, signer, c.Client, c.ClientKey))
}

func certificateOf(name string, serial int64, now time.Time) *x509.Certificate {
	return &x509.Certificate{
		SerialNumber: big.NewInt(serial), Subject: pkix.Name{CommonName: name}, KeyUsage: x509.KeyUsageDigitalSignature,
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(24 * time.Hour),
	}
}

func withKey(c, authority *x509.Certificate, signer *ecdsa.PrivateKey, file, keyFile string) error {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return fmt.Errorf("make key: %w", err)
	}
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return fmt.Errorf("write key: %w", err)
	}
	return errors.Join(writePEM(keyFile, "PRIVATE KEY", raw), sign(c, authority, key, signer, file))
}

func sign(c, authority *x509.Certificate, key, signer *ecdsa.PrivateKey, file string) error {
	raw, err := x509.CreateCertificate(rand.Reader, c, authority, key.Public(), signer)
	if err != nil {
		return fmt.Errorf("sign certificate: %w", err)
	}
	return writePEM(file, "CERTIFICATE", raw)
}

func writePEM(file, kind string, raw []byte) error {
	return os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: raw}), 0o600)
}
