package dimse_test

import (
	"bytes"
	"context"
	"net"
	"os/exec"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/peer"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// ask runs a program of DCMTK against a door and gives what it said and whether it succeeded.
func ask(t *testing.T, program, address string, arguments ...string) (string, bool) {
	t.Helper()
	host, port, err := net.SplitHostPort(address)
	require.NoError(t, err)
	arguments = append([]string{"-v", "-to", "20", "-ta", "20", "-td", "60"}, arguments...)
	at := len(arguments)
	for i, a := range arguments {
		if a == "--" {
			at = i
		}
	}
	files := append([]string{}, arguments[min(at+1, len(arguments)):]...)
	arguments = append(append(append([]string{}, arguments[:at]...), host, port), files...)
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	text, err := exec.CommandContext(ctx, peer.Need(t, program), arguments...).CombinedOutput()
	return string(text), err == nil
}

func TestEcho(t *testing.T) {
	r := newRig(t, nil, nil)
	text, ok := ask(t, "echoscu", r.address, "-aec", "AFTERBEAM", "--repeat", "3")
	assert.True(t, ok, text)
	assert.Contains(t, text, "Received Echo Response (Success)")
}

// TestStoredByAnotherSender has DCMTK send a report in each transfer syntax and through short and long PDUs; what is kept
// is the data set that DCMTK's own converter would write.
func TestStoredByAnotherSender(t *testing.T) {
	tests := map[string]struct {
		convert, propose string
		syntax           string
	}{
		"implicit":   {"+ti", "-xi", upper.ImplicitLittle},
		"explicit":   {"+te", "-xe", upper.ExplicitLittle},
		"big endian": {"+tb", "-xb", upper.ExplicitBig},
		"deflated":   {"+td", "-xd +cl 9", upper.DeflatedLittle}, // at its own default level DCMTK 3.6.7 compresses for ever
	}
	r := newRig(t, nil, nil)
	original := file(t, "report.dcm", short(t))
	for name, tt := range tests {
		converted := t.TempDir() + "/converted.dcm"
		out, err := exec.CommandContext(t.Context(), peer.Need(t, "dcmconv"), tt.convert, original, converted).CombinedOutput()
		require.NoError(t, err, string(out))
		for _, pdu := range []string{"4096", "131072"} {
			t.Run(name+" "+pdu, func(t *testing.T) {
				arguments := append([]string{"-aec", "AFTERBEAM", "-aet", "CATH2", "-R", "-pdu", pdu, "--max-send-pdu", pdu}, strings.Fields(tt.propose)...)
				text, ok := ask(t, "storescu", r.address, append(arguments, "--", converted)...)
				require.True(t, ok, text)
				assert.Contains(t, text, "Received Store Response (Success)")
			})
		}
	}
	receipts := r.receipts(t)
	require.Len(t, receipts, len(tests), "one for each encoding, however often it came")
	want, err := dicomio.Read(short(t), dicomio.DefaultLimits())
	require.NoError(t, err)
	seen := map[string]bool{}
	for _, one := range receipts {
		assert.Equal(t, store.ReceiptKept, one.State)
		assert.Equal(t, dimse.DoorName, one.Door)
		assert.Equal(t, "127.0.0.1", one.Source)
		raw, err := r.db.Raw(one.Digest)
		require.NoError(t, err)
		got, err := dicomio.Read(raw, dicomio.DefaultLimits())
		require.NoError(t, err)
		assert.Equal(t, want.DataSetDigest, got.DataSetDigest, "the same content")
		id, err := dicomio.Identify(raw, dicomio.DefaultLimits())
		require.NoError(t, err)
		seen[id.TransferSyntax] = true
	}
	for _, tt := range tests {
		assert.True(t, seen[tt.syntax], tt.syntax)
	}
}

// TestAbortedSender has a sender that aborts where it should release: what was acknowledged stays.
func TestAbortedSender(t *testing.T) {
	r := newRig(t, nil, nil)
	name := file(t, "report.dcm", report(t, ""))
	text, _ := ask(t, "storescu", r.address, "-aec", "AFTERBEAM", "--abort", "--", name)
	assert.Contains(t, text, "Received Store Response (Success)")
	assert.Len(t, r.receipts(t), 1)
	text, ok := ask(t, "storescu", r.address, "-aec", "AFTERBEAM", "--", name)
	require.True(t, ok, text)
	assert.Len(t, r.receipts(t), 1, "the same again is success and changes nothing")
}

func TestRefusedCallers(t *testing.T) {
	tests := map[string]struct {
		calling, called, want string
	}{
		"another called title": {"CATH2", "ARCHIVE", "Called AE Title Not Recognized"},
		"an unknown caller":    {"RHYTHM3", "AFTERBEAM", "Calling AE Title Not Recognized"},
		"lower case":           {"cath2", "AFTERBEAM", "Calling AE Title Not Recognized"},
		"another address":      {"HYBRID1", "AFTERBEAM", "Calling AE Title Not Recognized"},
		"no certificate":       {"NEURO4", "AFTERBEAM", "Calling AE Title Not Recognized"},
	}
	r := newRig(t, nil, nil, func(c *dimse.Config) {
		c.Callers = []dimse.Caller{
			{Title: "CATH2", Addresses: prefixes("127.0.0.0/8")},
			{Title: "HYBRID1", Addresses: prefixes("10.1.2.0/24", "10.1.3.7/32")},
			{Title: "NEURO4", Certificate: "neuro4.saltmarsh.example"},
		}
	})
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			text, ok := ask(t, "echoscu", r.address, "-aet", tt.calling, "-aec", tt.called)
			assert.False(t, ok)
			assert.Contains(t, text, tt.want)
		})
	}
	text, ok := ask(t, "echoscu", r.address, "-aet", "CATH2", "-aec", "AFTERBEAM")
	assert.True(t, ok, text)
}

func TestEncryption(t *testing.T) {
	c, err := demo.MakeCertificates(t.TempDir(), time.Now())
	require.NoError(t, err)
	other, err := demo.MakeCertificates(t.TempDir(), time.Now())
	require.NoError(t, err)
	name := file(t, "report.dcm", report(t, ""))
	config := func(must bool) dimse.Encryption {
		return dimse.Encryption{Certificate: c.Server, Key: c.ServerKey, ClientCA: c.Authority, ClientsMust: must}
	}
	pinned := func(d *dimse.Config) { d.Callers = []dimse.Caller{{Title: "CATH2", Certificate: demo.ClientName}} }
	good := []string{"+tls", c.ClientKey, c.Client, "+cf", c.Authority}
	tests := map[string]struct {
		must      bool
		tune      tuned
		arguments []string
		ok        bool
	}{
		"a good certificate":                   {true, pinned, good, true},
		"none where one must be":               {true, nil, []string{"+tla", "+cf", c.Authority}, false},
		"of another authority":                 {true, nil, []string{"+tls", other.ClientKey, other.Client, "+cf", c.Authority}, false},
		"the server's is not trusted":          {true, nil, []string{"+tls", c.ClientKey, c.Client, "+cf", other.Authority}, false},
		"without encryption":                   {true, nil, nil, false},
		"none where none must be":              {false, nil, []string{"+tla", "+cf", c.Authority}, true},
		"none where the caller is known by it": {false, pinned, []string{"+tla", "+cf", c.Authority}, false},
		"not the one that the caller has": {true, func(d *dimse.Config) {
			d.Callers = []dimse.Caller{{Title: "CATH2", Certificate: "sha256:" + strings.Repeat("0", 64)}}
		}, good, false},
	}
	for what, tt := range tests {
		t.Run(what, func(t *testing.T) {
			encryption, err := config(tt.must).Read()
			require.NoError(t, err)
			tune := tt.tune
			if tune == nil {
				tune = func(*dimse.Config) {}
			}
			r := newRig(t, nil, encryption, tune)
			text, ok := ask(t, "storescu", r.address, append(append([]string{"-aec", "AFTERBEAM", "-aet", "CATH2"}, tt.arguments...), "--", name)...)
			assert.Equal(t, tt.ok, ok, text)
			if !tt.ok {
				assert.Empty(t, r.receipts(t))
				return
			}
			require.Len(t, r.receipts(t), 1)
			raw, err := r.db.Raw(r.receipts(t)[0].Digest)
			require.NoError(t, err)
			want, err := dicomio.Read(report(t, ""), dicomio.DefaultLimits())
			require.NoError(t, err)
			got, err := dicomio.Read(raw, dicomio.DefaultLimits())
			require.NoError(t, err)
			assert.Equal(t, want.DataSetDigest, got.DataSetDigest)
		})
	}
}

// TestLogNamesNoPatient looks for the patient of a sent report in the log.
func TestLogNamesNoPatient(t *testing.T) {
	r := newRig(t, nil, nil)
	raw := report(t, "")
	broken := bytes.ReplaceAll(raw, []byte("113701"), []byte("113799"))
	for _, content := range [][]byte{raw, broken, raw[:len(raw)/2]} {
		ask(t, "storescu", r.address, "-aec", "AFTERBEAM", "--", file(t, "report.dcm", content))
	}
	for _, c := range demo.Cases() {
		if c.File == "rhythm3-ablation.dcm" {
			assert.NotContains(t, r.log.String(), c.Report.Patient.ID)
			assert.NotContains(t, r.log.String(), strings.Split(c.Report.Patient.Name, "^")[0])
		}
	}
}
