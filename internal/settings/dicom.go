package settings

import (
	"errors"
	"fmt"
	"net"
	"net/netip"

	"afterbeam/internal/aetitle"
)

// DICOM says how equipment and archives send by the DICOM network. Without Listen and TLSListen nothing is opened.
type DICOM struct {
	// Listen is without encryption, TLSListen with. Both may be open at once.
	Listen    string `toml:"listen" env:"AFTERBEAM_DICOM_LISTEN"`
	TLSListen string `toml:"tls_listen" env:"AFTERBEAM_DICOM_TLS_LISTEN"`
	// Title is the AE title by which the service is called.
	Title string `toml:"ae_title" env:"AFTERBEAM_DICOM_AE_TITLE"`
	// MaxPDU is the longest P-DATA PDU taken, bytes.
	MaxPDU int `toml:"max_pdu" env:"AFTERBEAM_DICOM_MAX_PDU"`
	// Associations bounds those at one time, in all and for each address.
	Associations        int `toml:"associations" env:"AFTERBEAM_DICOM_ASSOCIATIONS"`
	AssociationsPerPeer int `toml:"associations_per_peer" env:"AFTERBEAM_DICOM_ASSOCIATIONS_PER_PEER"`
	// IdleSeconds is how long an association may be silent.
	IdleSeconds int    `toml:"idle_seconds" env:"AFTERBEAM_DICOM_IDLE_SECONDS"`
	Certificate string `toml:"certificate" env:"AFTERBEAM_DICOM_CERTIFICATE"`
	Key         string `toml:"key" env:"AFTERBEAM_DICOM_KEY"`
	// ClientCA holds the authorities of client certificates; ClientCertificates says whether every client must show one.
	ClientCA           string `toml:"client_ca" env:"AFTERBEAM_DICOM_CLIENT_CA"`
	ClientCertificates bool   `toml:"client_certificates" env:"AFTERBEAM_DICOM_CLIENT_CERTIFICATES"`
	// AnyCaller says that no list of callers is wanted.
	AnyCaller bool `toml:"any_caller" env:"AFTERBEAM_DICOM_ANY_CALLER"`
	// Callers lists who may call; empty is everyone who reaches the listener. It is given in the file alone.
	Callers []Caller `toml:"callers"`
}

// Caller is one who may call by the DICOM network.
type Caller struct {
	Title string `toml:"title"`
	// Addresses are addresses or networks such as 10.1.2.0/24; empty is any.
	Addresses []string `toml:"addresses"`
	// Certificate is "sha256:" with the fingerprint of the client certificate, or its common name; "" is any or none.
	Certificate string `toml:"certificate"`
	// ReportTo is host:port where answers to its storage commitments go; "" is the association on which it asked. TLS says
	// that connections there are encrypted, with the service's own certificate.
	ReportTo    string `toml:"report_to"`
	ReportByTLS bool   `toml:"report_by_tls"`
}

// Defaults of DICOM. Timers and the longest PDU are those of PS3.8 in common use, without a source.
const (
	DefaultTitle               = "AFTERBEAM"
	DefaultMaxPDU              = 64 << 10
	DefaultAssociations        = 64
	DefaultAssociationsPerPeer = 16
	DefaultIdleSeconds         = 60
)

func defaultDICOM() DICOM {
	return DICOM{
		Title: DefaultTitle, MaxPDU: DefaultMaxPDU, Associations: DefaultAssociations, AssociationsPerPeer: DefaultAssociationsPerPeer,
		IdleSeconds: DefaultIdleSeconds, ClientCertificates: true,
	}
}

// Networks gives the addresses of a caller.
func (c Caller) Networks() ([]netip.Prefix, error) {
	var all []netip.Prefix
	for _, text := range c.Addresses {
		network, err := netip.ParsePrefix(text)
		if one, e := netip.ParseAddr(text); e == nil {
			network, err = netip.PrefixFrom(one, one.BitLen()), nil
		}
		if err != nil {
			return nil, fmt.Errorf("dicom.callers %s: addresses want an address or a network such as 10.1.2.0/24, got %q", c.Title, text)
		}
		all = append(all, network)
	}
	return all, nil
}

func (d DICOM) check() error {
	if err := d.checkTitles(); err != nil {
		return err
	}
	const leastPDU, mostPDU = 4 << 10, 128 << 10 // as widely used toolkits have them
	switch {
	case d.MaxPDU < leastPDU || d.MaxPDU > mostPDU:
		return fmt.Errorf("dicom.max_pdu wants %d to %d, got %d", leastPDU, mostPDU, d.MaxPDU)
	case d.Associations < 1 || d.Associations > 10_000:
		return fmt.Errorf("dicom.associations wants 1 to 10000, got %d", d.Associations)
	case d.AssociationsPerPeer < 1 || d.AssociationsPerPeer > d.Associations:
		return fmt.Errorf("dicom.associations_per_peer wants 1 to %d, got %d", d.Associations, d.AssociationsPerPeer)
	case d.IdleSeconds < 1 || d.IdleSeconds > 3600:
		return fmt.Errorf("dicom.idle_seconds wants 1 to 3600, got %d", d.IdleSeconds)
	case d.AnyCaller && len(d.Callers) > 0:
		return errors.New("dicom.any_caller and dicom.callers are both given")
	}
	return errors.Join(d.checkPlain(), d.checkEncrypted())
}

func (d DICOM) checkTitles() error {
	if err := checkTitle("dicom.ae_title", d.Title); err != nil {
		return err
	}
	for _, c := range d.Callers {
		if err := checkTitle("dicom.callers title", c.Title); err != nil {
			return err
		}
		if _, err := c.Networks(); err != nil {
			return err
		}
		if _, _, err := net.SplitHostPort(c.ReportTo); c.ReportTo != "" && err != nil {
			return fmt.Errorf("dicom.callers %s: report_to wants host:port, got %q", c.Title, c.ReportTo)
		}
		if c.ReportByTLS && d.ClientCA == "" {
			return fmt.Errorf("dicom.callers %s: report_by_tls wants dicom.client_ca, by which the peer's certificate is judged", c.Title)
		}
	}
	return nil
}

func checkTitle(key, title string) error {
	if err := aetitle.Check(title); err != nil {
		return fmt.Errorf("%s %w", key, err)
	}
	return nil
}

func (d DICOM) checkPlain() error {
	if d.Listen == "" {
		return nil
	}
	local, err := loopback("dicom.listen", d.Listen)
	if err == nil && !local && len(d.Callers) == 0 && !d.AnyCaller {
		return fmt.Errorf("dicom.listen %s is reached from outside: list dicom.callers, or say any_caller", d.Listen)
	}
	return err
}

func (d DICOM) checkEncrypted() error {
	if d.TLSListen == "" {
		if d.Certificate != "" || d.Key != "" || d.ClientCA != "" {
			return errors.New("dicom.certificate, dicom.key and dicom.client_ca are for dicom.tls_listen, which is not given")
		}
		return nil
	}
	local, err := loopback("dicom.tls_listen", d.TLSListen)
	switch {
	case err != nil:
		return err
	case d.Certificate == "" || d.Key == "":
		return errors.New("dicom.tls_listen wants dicom.certificate and dicom.key")
	case d.ClientCertificates && d.ClientCA == "":
		return errors.New("dicom.tls_listen wants dicom.client_ca, or client_certificates = false")
	case !local && len(d.Callers) == 0 && !d.AnyCaller && !d.ClientCertificates:
		return fmt.Errorf("dicom.tls_listen %s is reached from outside without client certificates: list dicom.callers, or say any_caller", d.TLSListen)
	}
	return nil
}
