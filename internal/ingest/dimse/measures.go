package dimse

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/metric"
)

// Measures counts what a door does. No label holds anything that a peer sent. Its zero value is not usable, nil counts nothing.
type Measures struct {
	associations, refusals, stores *prometheus.CounterVec
	days                           *prometheus.Desc
	certificate                    *x509.Certificate
	now                            func() time.Time
}

// NewMeasures makes the counters of a door; encryption is nil for one that does not encrypt.
func NewMeasures(encryption *tls.Config, now func() time.Time) *Measures {
	return &Measures{
		associations: metric.Counter("afterbeam_dicom_associations_total"),
		refusals:     metric.Counter("afterbeam_dicom_refusals_total"),
		stores:       metric.Counter("afterbeam_dicom_stores_total"),
		days:         metric.Desc("afterbeam_dicom_certificate_days"),
		certificate:  Certificate(encryption), now: now,
	}
}

// Certificate gives the certificate that a configuration shows, nil when there is none.
func Certificate(encryption *tls.Config) *x509.Certificate {
	if encryption == nil || len(encryption.Certificates) == 0 {
		return nil
	}
	return encryption.Certificates[0].Leaf
}

// Describe names the metrics.
func (m *Measures) Describe(to chan<- *prometheus.Desc) {
	m.associations.Describe(to)
	m.refusals.Describe(to)
	m.stores.Describe(to)
	to <- m.days
}

// Collect gives the counts, and the days of the certificate where there is one.
func (m *Measures) Collect(to chan<- prometheus.Metric) {
	m.associations.Collect(to)
	m.refusals.Collect(to)
	m.stores.Collect(to)
	if m.certificate != nil {
		to <- prometheus.MustNewConstMetric(m.days, prometheus.GaugeValue, daysLeft(m.certificate, m.now()))
	}
}

func (m *Measures) associated(encrypted bool) {
	if m == nil {
		return
	}
	connection := "plain"
	if encrypted {
		connection = "tls"
	}
	m.associations.WithLabelValues(connection).Inc()
}

// refused counts what never became an association. A connection that only looks whether there is someone is none.
func (m *Measures) refused(err error) {
	if m == nil || errors.Is(err, io.EOF) {
		return
	}
	m.refusals.WithLabelValues(refusalOf(err)).Inc()
}

// errCrowded tells that there was no room to say why.
var errCrowded = errors.New("too many connections without an association")

// errEncryption marks a handshake that failed.
var errEncryption = errors.New("encryption")

// refusalOf gives the word for a refusal: the table of this door.
func refusalOf(err error) string {
	for _, row := range []struct {
		kind error
		word string
	}{
		{errCrowded, "too many connections"},
		{errEncryption, "encryption"},
		{upper.RejectCalling, "calling title"},
		{upper.RejectCalled, "called title"},
		{upper.RejectLimit, "too many associations"},
		{upper.RejectApplication, "application context"},
		{upper.RejectVersion, "protocol version"},
		{upper.ErrProtocol, "protocol broken"},
	} {
		if errors.Is(err, row.kind) {
			return row.word
		}
	}
	return "other"
}

func (m *Measures) answered(field upper.Field, status upper.Status) {
	if m != nil && field == upper.CStore {
		m.stores.WithLabelValues(status.String()).Inc()
	}
}

// The certificate's end is told in the log from so long before it, and again so often; judgement: time to order another.
const (
	warnBefore = 30 * 24 * time.Hour
	warnEvery  = 24 * time.Hour
)

// WatchCertificate warns in the log, at once and every day until ctx ends, when a certificate has ended or soon will.
func WatchCertificate(ctx context.Context, certificate *x509.Certificate, now func() time.Time, log *slog.Logger) error {
	tick := time.NewTicker(warnEvery)
	defer tick.Stop()
	for {
		WarnOfCertificate(certificate, now(), log)
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
	}
}

// WarnOfCertificate writes a warning when a certificate ends within 30 days, an error when it has ended.
func WarnOfCertificate(certificate *x509.Certificate, now time.Time, log *slog.Logger) {
	left := certificate.NotAfter.Sub(now)
	switch {
	case left <= 0:
		log.Error("the certificate of the DICOM door has ended: peers refuse it", "ended", certificate.NotAfter)
	case left <= warnBefore:
		log.Warn("the certificate of the DICOM door ends soon", "ends", certificate.NotAfter, "days", int(daysLeft(certificate, now)))
	}
}

func daysLeft(certificate *x509.Certificate, now time.Time) float64 {
	return certificate.NotAfter.Sub(now).Hours() / 24
}
