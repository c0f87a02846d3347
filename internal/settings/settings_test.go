package settings_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/settings"
)

func TestDefaultsFileEnvironment(t *testing.T) {
	s, err := settings.Read(nil, nil)
	require.NoError(t, err)
	assert.Equal(t, settings.Default(), s)
	s, err = settings.Read(strings.NewReader("zone = \"Europe/London\"\n[pipeline]\nworkers = 3\n"), []string{"AFTERBEAM_PIPELINE_WORKERS=4", "HOME=/root"})
	require.NoError(t, err)
	assert.Equal(t, "Europe/London", s.Zone)
	assert.Equal(t, 4, s.Pipeline.Workers, "the environment stands over the file")
	assert.Equal(t, settings.DefaultQuietMinutes, s.Pipeline.QuietMinutes)
	s, err = settings.Read(strings.NewReader("[estimate]\nskull = true\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, settings.Estimate{RangePoints: settings.DefaultRangePoints, Skull: true}, s.Estimate)
}

func TestReadRefuses(t *testing.T) {
	tests := map[string]struct {
		file string
		env  []string
		want string
	}{
		"unknown key":               {"[http]\nlisen = \"x\"\n", nil, "http.lisen"},
		"unknown variable":          {"", []string{"AFTERBEAM_STOREDIR=x"}, "AFTERBEAM_STOREDIR names no setting"},
		"not TOML":                  {"zone = ", nil, "settings not usable"},
		"zone":                      {"zone = \"Saltmarsh\"\n", nil, "zone wants a name"},
		"workers":                   {"", []string{"AFTERBEAM_PIPELINE_WORKERS=many"}, "whole number"},
		"no workers":                {"[pipeline]\nworkers = 0\n", nil, "pipeline.workers"},
		"outside without TLS":       {"[http]\nlisten = \"0.0.0.0:8480\"\n", nil, "http.certificate"},
		"every address":             {"[http]\nlisten = \":8480\"\n", nil, "http.certificate"},
		"half a certificate":        {"[http]\ncertificate = \"c.pem\"\n", nil, "go together"},
		"no port":                   {"[http]\nlisten = \"localhost\"\n", nil, "host:port"},
		"metrics outside":           {"[metrics]\nlisten = \"0.0.0.0:8481\"\n", nil, "metrics.token_file"},
		"two tokens":                {"[metrics]\ntoken = \"t\"\ntoken_file = \"f\"\n", nil, "both given"},
		"missing token file":        {"[metrics]\ntoken_file = \"no such file\"\n", nil, "metrics.token_file"},
		"no window":                 {"[performed]\nwindow_minutes = 0\n", nil, "performed.window_minutes"},
		"long grace":                {"[performed]\ngrace_hours = 3000\n", nil, "performed.grace_hours"},
		"few samples":               {"[estimate]\nrange_points = 8\n", nil, "estimate.range_points wants 16 to 512, got 8"},
		"many samples":              {"", []string{"AFTERBEAM_ESTIMATE_RANGE_POINTS=4096"}, "estimate.range_points"},
		"log level":                 {"[log]\nlevel = \"loud\"\n", nil, "log.level"},
		"rate":                      {"[http]\nrequests_per_second = 0.0\n", nil, "requests_per_second"},
		"proxy is no true value":    {"", []string{"AFTERBEAM_HTTP_BEHIND_PROXY=perhaps"}, "true or false"},
		"empty store":               {"[store]\ndir = \"\"\n", nil, "store.dir"},
		"empty token file":          {"[metrics]\ntoken_file = \"/dev/null\"\n", nil, "it is empty"},
		"one folder for both":       {"[store]\ndir = \"/srv/a\"\n[spool]\ndir = \"/srv/b/../a/\"\n", nil, "want folders apart"},
		"backups in the store":      {"[store]\ndir = \"/srv/a\"\n[backup]\ndir = \"/srv/a/backups\"\n", nil, "backup.dir and store.dir want folders apart"},
		"one backup alone":          {"[backup]\nkeep = 1\n", nil, "backup.keep wants 2 to 1000, got 1"},
		"backups without a time":    {"[backup]\nevery_hours = 0\n", nil, "backup.every_hours"},
		"estimates for a week":      {"[retention]\nsuperseded_days = 7\n", nil, "retention.superseded_days wants 0 for good or 30 to 36500, got 7"},
		"less than no days":         {"[retention]\nsession_days = -1\n", nil, "retention.session_days"},
		"audit never checked":       {"[audit]\nverify_hours = 0\n", nil, "audit.verify_hours"},
		"DICOM outside, no list":    {"[dicom]\nlisten = \"0.0.0.0:11112\"\n", nil, "dicom.callers"},
		"AE title":                  {"[dicom]\nae_title = \"A LONG TITLE OF 19\"\n", nil, "dicom.ae_title"},
		"PDU":                       {"", []string{"AFTERBEAM_DICOM_MAX_PDU=1000"}, "dicom.max_pdu"},
		"per peer over all":         {"[dicom]\nassociations = 4\nassociations_per_peer = 5\n", nil, "dicom.associations_per_peer"},
		"unknown key in a list":     {"[[dicom.callers]]\ntitel = \"CATH2\"\n", nil, "dicom.callers.titel"},
		"caller without title":      {"[[dicom.callers]]\naddresses = [\"10.1.2.3\"]\n", nil, "dicom.callers title"},
		"caller's address":          {"[[dicom.callers]]\ntitle = \"CATH2\"\naddresses = [\"10.1.2\"]\n", nil, "10.1.2.0/24"},
		"a list by variable":        {"", []string{"AFTERBEAM_DICOM_CALLERS=CATH2"}, "AFTERBEAM_DICOM_CALLERS names no setting"},
		"list and any":              {"[dicom]\nany_caller = true\n[[dicom.callers]]\ntitle = \"CATH2\"\n", nil, "both given"},
		"TLS without certificate":   {"[dicom]\ntls_listen = \"localhost:2762\"\n", nil, "dicom.certificate"},
		"TLS without authority":     {"[dicom]\ntls_listen = \"localhost:2762\"\ncertificate = \"c\"\nkey = \"k\"\n", nil, "dicom.client_ca"},
		"TLS outside, nobody known": {"[dicom]\ntls_listen = \":2762\"\ncertificate = \"c\"\nkey = \"k\"\nclient_certificates = false\n", nil, "without client certificates"},
		"certificate without TLS":   {"[dicom]\ncertificate = \"c\"\n", nil, "dicom.tls_listen"},
		"idle":                      {"[dicom]\nidle_seconds = 0\n", nil, "dicom.idle_seconds"},
		"archive's address":         {"[archive]\naddress = \"10.1.2.3\"\ntitle = \"ARCHIVE\"\n", nil, "archive.address wants host:port"},
		"archive without title":     {"[archive]\naddress = \"10.1.2.3:104\"\n", nil, "archive.title"},
		"our title for the archive": {"[archive]\nour_title = \"A LONG TITLE OF 19\"\n", nil, "archive.our_title"},
		"way of retrieval":          {"[archive]\nretrieve = \"push\"\n", nil, "either, get or move"},
		"rate of requests":          {"", []string{"AFTERBEAM_ARCHIVE_REQUESTS_PER_SECOND=0"}, "archive.requests_per_second"},
		"one hour alone":            {"[archive]\nhours_to = \"06:00\"\n", nil, "two times such as 20:00 and 06:00"},
		"patience with the archive": {"[archive]\nanswer_seconds = 0\n", nil, "archive.answer_seconds"},
		"archive's key alone":       {"[archive]\ntls = true\nkey = \"k\"\n", nil, "go together"},
		"authority without TLS":     {"[archive]\nauthority = \"a\"\n", nil, "archive.tls"},
		"watched in the store":      {"[store]\ndir = \"/srv/a\"\n[spool]\ndir = \"/srv/a/in\"\n", nil, "want folders apart"},
		"store in the watched":      {"[store]\ndir = \"in/store\"\n[spool]\ndir = \"in\"\n", nil, "want folders apart"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := settings.Read(strings.NewReader(tt.file), tt.env)
			require.ErrorIs(t, err, settings.ErrInvalid)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

func TestOutsideIsAllowedWithCertificateOrProxy(t *testing.T) {
	for _, file := range []string{
		"[http]\nlisten = \"0.0.0.0:8480\"\ncertificate = \"c.pem\"\nkey = \"k.pem\"\n",
		"[http]\nlisten = \"0.0.0.0:8480\"\nbehind_proxy = true\n",
		"[http]\nlisten = \"[::1]:8480\"\n",
	} {
		_, err := settings.Read(strings.NewReader(file), nil)
		assert.NoError(t, err, file)
	}
}

func TestCallers(t *testing.T) {
	s, err := settings.Read(strings.NewReader(`[dicom]
listen = "0.0.0.0:11112"
[[dicom.callers]]
title = "CATH2"
addresses = ["10.1.2.0/24", "fd00::7"]
[[dicom.callers]]
title = "HYBRID1"
certificate = "hybrid1.saltmarsh.example"
`), nil)
	require.NoError(t, err)
	require.Len(t, s.DICOM.Callers, 2)
	networks, err := s.DICOM.Callers[0].Networks()
	require.NoError(t, err)
	assert.Equal(t, "[10.1.2.0/24 fd00::7/128]", fmt.Sprint(networks))
	var out strings.Builder
	require.NoError(t, s.Print(&out))
	assert.Regexp(t, `dicom.callers\[0\].addresses += \["10.1.2.0/24", "fd00::7"\] +# in the file alone`, out.String())
	assert.Regexp(t, `dicom.callers\[1\].certificate += "hybrid1.saltmarsh.example"`, out.String())
}

func TestFoldersApart(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "store"), 0o700))
	require.NoError(t, os.Symlink(filepath.Join(dir, "store"), filepath.Join(dir, "link")))
	read := func(spool string) error {
		_, err := settings.Read(nil, []string{"AFTERBEAM_STORE_DIR=" + filepath.Join(dir, "store"), "AFTERBEAM_SPOOL_DIR=" + filepath.Join(dir, spool)})
		return err
	}
	require.NoError(t, read("spool"))
	require.NoError(t, read("store-in"), "a name that begins alike")
	require.ErrorIs(t, read("link"), settings.ErrInvalid, "a link to the store")
	require.ErrorIs(t, read("link/new"), settings.ErrInvalid, "a folder to be made behind a link")
}

func TestSecretsAreMasked(t *testing.T) {
	name := filepath.Join(t.TempDir(), "token")
	require.NoError(t, os.WriteFile(name, []byte("very-secret\n"), 0o600))
	s, err := settings.Read(nil, []string{"AFTERBEAM_METRICS_TOKEN_FILE=" + name})
	require.NoError(t, err)
	assert.Equal(t, "very-secret", s.Metrics.Token)
	var out strings.Builder
	require.NoError(t, s.Print(&out))
	assert.NotContains(t, out.String(), "very-secret")
	assert.Contains(t, out.String(), "AFTERBEAM_STORE_DIR")
}

func FuzzRead(f *testing.F) {
	f.Add("zone = \"UTC\"\n[http]\nlisten = \"127.0.0.1:1\"\n", "AFTERBEAM_ZONE=UTC")
	f.Fuzz(func(_ *testing.T, file, variable string) {
		_, _ = settings.Read(strings.NewReader(file), []string{variable})
	})
}

func TestPages(t *testing.T) {
	const openid = "[openid]\nissuer = \"https://id.example\"\nclient_id = \"x\"\n"
	for text, want := range map[string]string{
		"[pages]\nidle_minutes = 0\n":                        "pages.idle_minutes wants 1 to 1440",
		"[pages]\nsession_hours = 25\n":                      "pages.session_hours wants 1 to 24",
		"[pages]\npasswords = false\n":                       "nobody could sign in",
		"[pages]\npublic_url = \"http://dose.example\"\n":    "pages.public_url wants an address such as",
		"[pages]\npublic_url = \"https://dose.example/x\"\n": "without a path",
		openid: "openid.issuer wants pages.public_url",
		"[openid]\nissuer = \"https://id.example\"\n":                                  "wants client_id",
		"[openid]\nnew_account_role = \"admin\"\n":                                     "openid.new_account_role wants",
		"[openid]\nclient_secret_file = \"/nowhere/secret\"\n":                         "openid.client_secret_file",
		"[pages]\npublic_url = \"https://dose.example\"\npasswords = false\n" + openid: "",
		"[pages]\npublic_url = \"http://localhost:8480\"\n":                            "",
	} {
		_, err := settings.Read(strings.NewReader(text), nil)
		if want == "" {
			assert.NoError(t, err, text)
			continue
		}
		require.ErrorContains(t, err, want, text)
	}
}
