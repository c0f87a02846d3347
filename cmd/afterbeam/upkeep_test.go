package main

import (
	"bytes"
	"context"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/audit"
	"afterbeam/internal/demo"
	"afterbeam/internal/golden"
	"afterbeam/internal/metric"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

// small assembles a service with everything that it can have, and reports of the demonstration in its store.
func small(t *testing.T, reports int) *works {
	t.Helper()
	dir := t.TempDir()
	s := settings.Default()
	s.Zone, s.Store.Dir, s.Backup.Dir = "UTC", filepath.Join(dir, "store"), filepath.Join(dir, "backups")
	s.HTTP.Listen, s.Metrics.Listen, s.DICOM.Listen, s.DICOM.TLSListen = "127.0.0.1:0", "", "127.0.0.1:0", "127.0.0.1:0"
	s.Notices.Outbox.Dir, s.Pipeline.OrganHistories = filepath.Join(dir, "outbox"), 0
	certificates, err := demo.MakeCertificates(dir, time.Now())
	require.NoError(t, err)
	s.DICOM.Certificate, s.DICOM.Key, s.DICOM.ClientCA = certificates.Server, certificates.ServerKey, certificates.Authority
	s.HTTP.Certificate, s.HTTP.Key = certificates.Server, certificates.ServerKey
	w, err := assemble(t.Context(), s, slog.New(slog.DiscardHandler), toServe)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, w.close()) })
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- w.run(ctx, func(string) {}) }()
	t.Cleanup(func() { stop(); require.NoError(t, <-ended) })
	for _, c := range demo.Cases()[:reports] {
		var report bytes.Buffer
		require.NoError(t, rdsr.Write(&report, &c.Report, rdsr.WriteOptions{}))
		_, _, err := w.keeper.Keep(t.Context(), store.System("test"), "test", &report)
		require.NoError(t, err)
	}
	within, done := context.WithTimeout(t.Context(), demoWithin)
	defer done()
	require.NoError(t, w.drained(within))
	return w
}

// exposed asks for the measurements as Prometheus does.
func exposed(t *testing.T, w *works) map[string]*dto.MetricFamily {
	t.Helper()
	answer := httptest.NewRecorder()
	request := httptest.NewRequest(http.MethodGet, "/metrics", nil)
	request.Header.Set("Authorization", "Bearer of the test")
	tokened("of the test", w.api.Metrics()).ServeHTTP(answer, request)
	require.Equal(t, http.StatusOK, answer.Code)
	parser := expfmt.NewTextParser(model.LegacyValidation)
	families, err := parser.TextToMetricFamilies(answer.Body)
	require.NoError(t, err)
	return families
}

// documented gives the row of a measurement: its own, or that of its family.
func documented(name string) (metric.Row, bool) {
	for _, r := range metric.Rows() {
		if family, all := strings.CutSuffix(r.Name, "*"); r.Name == name || all && strings.HasPrefix(name, family) {
			return r, true
		}
	}
	return metric.Row{}, false
}

var described = regexp.MustCompile(`fqName: "([^"]+)"`)

func TestEveryMeasurementIsDocumented(t *testing.T) {
	w := small(t, 1)
	w.upkeep.Look(t.Context())
	families := exposed(t, w)
	for name, f := range families {
		row, there := documented(name)
		if !assert.True(t, there, "%s is exposed and not in the table", name) || strings.HasSuffix(row.Name, "*") {
			continue
		}
		assert.Equal(t, row.Help, f.GetHelp(), name)
		assert.Equal(t, row.Kind, strings.ToLower(f.GetType().String()), name)
		for _, m := range f.GetMetric() {
			var labels []string
			for _, l := range m.GetLabel() {
				labels = append(labels, l.GetName())
			}
			assert.ElementsMatch(t, row.Labels, labels, name)
		}
	}
	// What has no value yet counts too: every row is described by the running service, and nothing else is.
	descs := make(chan *prometheus.Desc)
	go func() { w.api.Measured(descs); close(descs) }()
	var measured []string
	for d := range descs {
		name := described.FindStringSubmatch(d.String())[1]
		if row, there := documented(name); assert.True(t, there, name) && !slices.Contains(measured, row.Name) {
			measured = append(measured, row.Name)
		}
	}
	var rows []string
	for _, r := range metric.Rows() {
		rows = append(rows, r.Name)
	}
	assert.ElementsMatch(t, rows, measured)
	for _, name := range []string{"afterbeam_backup_age_seconds", "afterbeam_certificate_days", "afterbeam_audit_chain_sound", "afterbeam_disk_free_ratio", "afterbeam_device_last_report_seconds"} {
		assert.Contains(t, families, name)
	}
	assert.InDelta(t, 1, families["afterbeam_audit_chain_sound"].GetMetric()[0].GetGauge().GetValue(), 0)
	assert.Len(t, families["afterbeam_certificate_days"].GetMetric(), 2, "of the interface and of the DICOM door")
}

func TestMeasurementsWantTheToken(t *testing.T) {
	for name, tt := range map[string]struct {
		set, header string
		want        int
	}{
		"none set":     {"", "", http.StatusOK},
		"none given":   {"secret", "", http.StatusUnauthorized},
		"another":      {"secret", "Bearer other", http.StatusUnauthorized},
		"another kind": {"secret", "Basic secret", http.StatusUnauthorized},
		"the one":      {"secret", "Bearer secret", http.StatusOK},
	} {
		answer, request := httptest.NewRecorder(), httptest.NewRequest(http.MethodGet, "/metrics", nil)
		if tt.header != "" {
			request.Header.Set("Authorization", tt.header)
		}
		tokened(tt.set, http.HandlerFunc(func(http.ResponseWriter, *http.Request) {})).ServeHTTP(answer, request)
		assert.Equal(t, tt.want, answer.Code, name)
	}
}

// The list in the repository is what the tables of the code say.
func TestListOfMeasurements(t *testing.T) {
	var out bytes.Buffer
	require.NoError(t, metric.Write(&out))
	golden.Check(t, "../../api/operations.md", out.Bytes())
}

// TestDrillBringsTheStoreBack makes a backup while the service runs, lets the store go on, and tries the restore.
func TestDrillBringsTheStoreBack(t *testing.T) {
	w := small(t, 2)
	w.upkeep.Look(t.Context())
	require.NoError(t, w.db.Note(t.Context(), store.System("test"), audit.Record{Action: "test.note"}))
	kept, err := w.upkeep.Backups.List()
	require.NoError(t, err)
	require.Len(t, kept, 1)
	file := filepath.Join(t.TempDir(), "site.toml")
	require.NoError(t, os.WriteFile(file, []byte("zone = \"UTC\"\n[site]\ncentre = \"Saltmarsh Regional Heart & Vascular Centre\"\n[store]\ndir = \""+w.settings.Store.Dir+"\"\n[backup]\ndir = \""+w.settings.Backup.Dir+"\"\n"), 0o600))
	drill := func() (status int, out string) {
		var told, wrong bytes.Buffer
		status = run([]string{"drill", "--config", file, "--scratch", t.TempDir()}, console{out: &told, err: &wrong})
		return status, told.String() + wrong.String()
	}
	status, out := drill()
	assert.Equal(t, exitDone, status, out)
	for _, text := range []string{"RESTORE DRILL", "Saltmarsh", "the store's own chain goes on from there", "2 compared by their digests with the store, 0 lost", "differing      0", "the backup brings the store back", "reviewed by"} {
		assert.Contains(t, out, text)
	}
	last, err := w.db.LastSound(t.Context(), store.DrillRun)
	require.NoError(t, err)
	assert.Contains(t, last.Detail, "2 receipts")

	// A bit of a report flips in the backup: the drill says so and fails.
	damageOne(t, filepath.Join(kept[0].Dir, "objects"))
	status, out = drill()
	assert.Equal(t, exitPartial, status, out)
	assert.Contains(t, out, errDrill.Error())
	runs, err := w.db.Runs(t.Context(), store.DrillRun, 1)
	require.NoError(t, err)
	assert.Equal(t, "failed", runs[0].Outcome)
}

// damageOne flips a bit in the middle of the first object below a folder.
func damageOne(t *testing.T, dir string) {
	t.Helper()
	var name string
	require.NoError(t, filepath.WalkDir(dir, func(path string, e os.DirEntry, err error) error {
		if err == nil && !e.IsDir() && name == "" {
			name = path
		}
		return err
	}))
	content, err := os.ReadFile(name)
	require.NoError(t, err)
	content[len(content)/2] ^= 1
	require.NoError(t, os.Chmod(name, 0o600))
	require.NoError(t, os.WriteFile(name, content, 0o600))
}
