package dimse_test

import (
	"crypto/tls"
	"crypto/x509"
	"io"
	"log/slog"
	"net"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/witness"
)

// scraped gives the values of the measures by name and label.
func scraped(t *testing.T, m *dimse.Measures) map[string]float64 {
	t.Helper()
	registry := prometheus.NewPedanticRegistry()
	require.NoError(t, registry.Register(m))
	families, err := registry.Gather()
	require.NoError(t, err)
	got := map[string]float64{}
	for _, family := range families {
		for _, one := range family.GetMetric() {
			name := family.GetName()
			for _, label := range one.GetLabel() {
				name += " " + label.GetValue()
			}
			got[name] = one.GetCounter().GetValue() + one.GetGauge().GetValue()
		}
	}
	return got
}

func TestTheDoorIsMeasured(t *testing.T) {
	m := dimse.NewMeasures(nil, time.Now)
	r := newRig(t, nil, nil, func(c *dimse.Config) { c.Measures = m })
	a := associate(t, r.address)
	answer, err := a.Ask(t.Context(), 1, upper.Command{Field: upper.CStore, AffectedClass: doseClass, AffectedInstance: "2.25.7"}, nil)
	require.NoError(t, err)
	require.True(t, answer.Command.Status.Failed(), "a store without a data set")
	require.NoError(t, a.Release())
	requestor := upper.Requestor{Limits: limits(), Calling: "CATH2"}
	_, err = requestor.Dial(t.Context(), r.address, "SOMEBODY", upper.Each(doseClass, upper.ExplicitLittle))
	require.EqualError(t, err, upper.RejectCalled.Error())
	conn, err := net.Dial("tcp", r.address)
	require.NoError(t, err)
	require.NoError(t, conn.Close(), "only looks whether there is someone")
	conn, err = net.Dial("tcp", r.address)
	require.NoError(t, err)
	_, err = conn.Write([]byte("GET / HTTP/1.1\r\n\r\n"))
	require.NoError(t, err)
	_, err = io.ReadAll(conn) // until the door has closed it
	require.NoError(t, err)
	require.NoError(t, conn.Close())
	require.Eventually(t, func() bool { return len(scraped(t, m)) == 4 }, 20*time.Second, 10*time.Millisecond)
	assert.Equal(t, map[string]float64{
		"afterbeam_dicom_associations_total plain":       1,
		"afterbeam_dicom_refusals_total called title":    1,
		"afterbeam_dicom_refusals_total protocol broken": 1,
		"afterbeam_dicom_stores_total " + "C000":         1,
	}, scraped(t, m))
}

func TestTheCertificatesEndIsTold(t *testing.T) {
	now := time.Date(2026, 9, 14, 12, 0, 0, 0, time.UTC)
	tests := map[string]struct {
		left time.Duration
		days float64
		says string
	}{
		"long":          {31 * 24 * time.Hour, 31, ""},
		"soon":          {30 * 24 * time.Hour, 30, "level=WARN msg=\"the certificate of the DICOM door ends soon\""},
		"today":         {6 * time.Hour, 0.25, "days=0"},
		"since an hour": {-time.Hour, -1.0 / 24, "level=ERROR msg=\"the certificate of the DICOM door has ended"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			leaf := &x509.Certificate{NotAfter: now.Add(tt.left)}
			log := &witness.Log{}
			dimse.WarnOfCertificate(leaf, now, slog.New(slog.NewTextHandler(log, nil)))
			if tt.says == "" {
				assert.Empty(t, log.String())
			}
			assert.Contains(t, log.String(), tt.says)
			encryption := &tls.Config{Certificates: []tls.Certificate{{Leaf: leaf}}}
			m := dimse.NewMeasures(encryption, func() time.Time { return now })
			assert.InDelta(t, tt.days, scraped(t, m)["afterbeam_dicom_certificate_days"], 1e-9) // hours over 24
		})
	}
	assert.Nil(t, dimse.Certificate(nil))
	assert.Nil(t, dimse.Certificate(&tls.Config{}))
}
