package checksheet_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/checksheet"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/golden"
	"afterbeam/internal/peer"
	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/devicefile"
	"afterbeam/internal/quantity"
)

func result(t *testing.T, change func(*procedure.Report, *commission.Record)) *commission.Result {
	t.Helper()
	record, err := commission.Read(strings.NewReader(demo.CheckForm()))
	require.NoError(t, err)
	report := demo.Check().Report
	change(&report, &record)
	r, err := commission.Check(&report, record, procedure.DeviceProfile{})
	require.NoError(t, err)
	return r
}

func unchanged(*procedure.Report, *commission.Record) {}

func sheetOf(t *testing.T, r *commission.Result) (s checksheet.Sheet, text, page string) {
	t.Helper()
	s, err := checksheet.Of(r)
	require.NoError(t, err)
	var b, p bytes.Buffer
	require.NoError(t, s.Text(&b))
	require.NoError(t, s.HTML(&p))
	return s, b.String(), p.String()
}

func TestTheSheetOfRhythm3(t *testing.T) {
	s, text, page := sheetOf(t, result(t, unchanged))
	golden.Check(t, "testdata/rhythm3.txt", []byte(text))
	golden.Check(t, "testdata/rhythm3.html", []byte(page))
	assert.Equal(t, 2, s.Unproven, "the zeros across and along")
	for line := range strings.Lines(text) {
		assert.LessOrEqual(t, len(line), 160, line)
	}
}

// The page is well-formed, fetches nothing, and whatever the form says stays text.
func TestThePageStandsAlone(t *testing.T) {
	_, text, page := sheetOf(t, result(t, func(_ *procedure.Report, r *commission.Record) {
		r.By, r.Dosimeter.Name = `<script>alert(1)</script>`, "\x1b[31mred"
	}))
	assert.NotContains(t, page, "<script>")
	assert.Contains(t, page, "&lt;script&gt;alert(1)")
	assert.NotContains(t, page, "http")
	assert.NotContains(t, text, "\x1b")
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
	}
}

// The draft on the sheet is the one that the device file takes, when signed.
func TestTheDraftIsADeviceFile(t *testing.T) {
	r := result(t, func(report *procedure.Report, r *commission.Record) {
		r.Plane = procedure.PlaneSingle // of two planes no factor is drafted
		for i := range report.Events {
			report.Events[i].Plane = procedure.PlaneSingle
		}
	})
	draft, err := checksheet.Draft(r)
	require.NoError(t, err)
	_, err = devicefile.Read(strings.NewReader(draft))
	require.ErrorIs(t, err, devicefile.ErrInvalid, "unsigned")
	got, err := devicefile.Read(strings.NewReader(strings.Replace(draft, `signed_by = ""`, `signed_by = "P"`, 1)))
	require.NoError(t, err)
	want := r.Profile
	want.SignedBy = "P"
	assert.Equal(t, []procedure.DeviceProfile{want}, got)
}

// As a paper the sheet can be set in the fonts there are, and its text is found in the PDF by another reader.
func TestTheSheetAsPDF(t *testing.T) {
	s, _, _ := sheetOf(t, result(t, unchanged))
	var b bytes.Buffer
	require.NoError(t, paperpdf.Write(&b, s.Document(time.Date(2026, 11, 18, 19, 0, 0, 0, time.UTC), "test"), paperpdf.A4))
	file := filepath.Join(t.TempDir(), "sheet.pdf")
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o600))
	said, err := exec.Command(peer.Need(t, "pdftotext"), file, "-").CombinedOutput()
	require.NoError(t, err, string(said))
	text := strings.Join(strings.Fields(string(said)), " ")
	for _, want := range []string{"Check of a fluoroscopic device", "relative to the gantry", "another physicist", "spread of 4 ratios", "at_isocentre_mm = 1065", "A proposal from one record"} {
		assert.Contains(t, text, want)
	}
}

// Without readings there is no table of them, and what is contradicted says so.
func TestASheetOfLittle(t *testing.T) {
	s, text, page := sheetOf(t, result(t, func(report *procedure.Report, r *commission.Record) {
		r.Readings, r.Dosimeter = nil, commission.Dosimeter{}
		report.Events[4].Mechanics.Primary = quantity.Some[quantity.Degree](-30)
		report.Events[5].Mechanics.Primary = quantity.None[quantity.Degree]()
	}))
	assert.Len(t, s.Tables, 1)
	assert.Contains(t, text, "what the angles are relative to: CONTRADICTED")
	assert.Contains(t, text, "seen in event 5")
	assert.Contains(t, text, "dosimeter          - (none named)")
	assert.Contains(t, text, "-/0.0")
	assert.Contains(t, page, "contradicted")
	assert.Contains(t, page, checksheet.Caution)
}
