package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/followup/paper"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/store"
)

// paperSite is a store with the two stages of the repair.
func paperSite(t *testing.T, change func(*procedure.Report)) (config string, db *store.DB) {
	t.Helper()
	dir := t.TempDir()
	reports := filepath.Join(dir, "reports")
	require.NoError(t, os.Mkdir(reports, 0o700))
	for _, c := range demo.Cases() {
		if c.Report.Patient.ID != demo.StagedPatient {
			continue
		}
		change(&c.Report)
		var b bytes.Buffer
		require.NoError(t, rdsr.Write(&b, &c.Report, rdsr.WriteOptions{}))
		require.NoError(t, os.WriteFile(filepath.Join(reports, c.File), b.Bytes(), 0o600))
	}
	profiles, folder := filepath.Join(dir, "devices.toml"), filepath.Join(dir, "store")
	require.NoError(t, os.WriteFile(profiles, []byte(demo.ProfileFile()), 0o600))
	config = filepath.Join(dir, "site.toml")
	require.NoError(t, os.WriteFile(config, fmt.Appendf(nil, `zone = "UTC"
[site]
centre = "Saltmarsh"
phone = "000 555 0100"
address = ["1 Tidemill Road"]
language = "de"
[store]
dir = %q
[tables]
profiles = %q
[estimate]
range_points = 16
[metrics]
listen = ""
`, folder, profiles), 0o600))
	ran(t, "ingest", "--config", config, reports)
	db, err := store.Open(context.Background(), store.Config{Dir: folder, Program: "test", Beside: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, db.Close()) })
	return config, db
}

// latest is the second stage.
func latest(t *testing.T, db *store.DB) store.Version {
	t.Helper()
	cases, err := db.Cases(context.Background(), store.Filter{Limit: 10})
	require.NoError(t, err)
	require.Len(t, cases, 2)
	v, err := db.Version(context.Background(), cases[0].ID, 0)
	require.NoError(t, err)
	require.Equal(t, "2026-10-27", v.Case.LocalDate)
	return v
}

func TestPaperFromTheStore(t *testing.T) {
	config, db := paperSite(t, func(*procedure.Report) {})
	v := latest(t, db)
	made := strings.TrimSpace(string(ran(t, "paper", "make", "--config", config, "--recipient", "Dr A, MD", "--recipient", "Saltmarsh", v.Case.ID, "doctor-letter")))
	list := string(ran(t, "paper", "list", "--config", config, v.Case.ID))
	assert.Contains(t, list, made)
	assert.Contains(t, list, "doctor-letter  de        a4")

	first, again := t.TempDir(), t.TempDir()
	var bodies [][]byte
	for _, to := range []string{first, again} {
		name := strings.TrimSpace(string(ran(t, "paper", "write", "--config", config, "--to", to, v.Case.ID, made)))
		require.Equal(t, filepath.Join(to, "doctor-letter-"+made+".pdf"), name)
		body, err := os.ReadFile(name)
		require.NoError(t, err)
		bodies = append(bodies, body)
	}
	assert.True(t, bytes.Equal(bodies[0], bodies[1]), "a reprint is the same bytes")
	sum := sha256.Sum256(bodies[0])
	assert.Contains(t, list, hex.EncodeToString(sum[:]))
	html, err := os.ReadFile(strings.TrimSpace(string(ran(t, "paper", "write", "--html", "--config", config, "--to", first, v.Case.ID, made))))
	require.NoError(t, err)
	assert.Contains(t, string(html), `<html lang="de">`)

	// The numbers are those of the kept case, to the printed digit; the days are those of the asks.
	var c casejson.Case
	require.NoError(t, json.Unmarshal(v.Summary, &c))
	gy := func(o quantity.Opt[float64]) quantity.Gray { return quantity.Gray(o.Or(0)) }
	value, low, high, _ := quantity.ShowSkin(gy(c.SkinDose.ValueGy), gy(c.SkinDose.LowGy), gy(c.SkinDose.HighGy), 3, 5)
	german := strings.NewReplacer(".", ",").Replace(fmt.Sprintf("geschätzt %s Gy, Bereich %s bis %s Gy", value, low, high))
	asks, err := db.Asks(context.Background(), store.AskFilter{CaseID: v.Case.ID, Kind: ask.MonthCheck})
	require.NoError(t, err)
	require.Len(t, asks, 1)
	due, err := time.Parse(time.DateOnly, asks[0].Due)
	require.NoError(t, err)
	when := fmt.Sprintf("%d. %s %d", due.Day(), paper.Languages().In("de").Text("month."+strings.ToLower(due.Month().String())), due.Year())
	if asks[0].Due < time.Now().UTC().Format(time.DateOnly) {
		when = "sobald dies ankommt"
	}
	for _, text := range []string{string(html), textOf(t, bodies[0])} {
		plainly := strings.ReplaceAll(text, "\u00a0", " ")
		assert.Contains(t, plainly, german)
		assert.Contains(t, plainly, "Dr A, MD")
		assert.Contains(t, plainly, when)
		assert.Contains(t, plainly, "Karten von 2 von 2 Eingriffen")
	}

	records, err := db.AuditAfter(context.Background(), 0, 1000)
	require.NoError(t, err)
	var actions []string
	for _, r := range records {
		if strings.HasPrefix(r.Action, "paper") {
			assert.Equal(t, v.Case.PatientID, r.Patient)
			actions = append(actions, r.Action)
		}
	}
	assert.Equal(t, []string{"paper.make", "papers.list", "paper.view", "paper.view", "paper.view"}, actions)
	found, err := db.Verify(context.Background(), nil)
	require.NoError(t, err)
	assert.True(t, found.Sound())
	assert.Empty(t, found.Orphans)
}

// textOf gives the text of a PDF as one line.
func textOf(t *testing.T, pdf []byte) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "paper.pdf")
	require.NoError(t, os.WriteFile(name, pdf, 0o600))
	out, err := exec.CommandContext(t.Context(), peer.Need(t, "pdftotext"), "-enc", "UTF-8", name, "-").Output()
	require.NoError(t, err)
	return strings.Join(strings.FieldsFunc(string(out), func(r rune) bool { return r == ' ' || r == '\n' || r == '\f' }), " ")
}

func TestPaperRefused(t *testing.T) {
	config, db := paperSite(t, func(r *procedure.Report) { r.Patient.Name = "王^Anna" })
	v := latest(t, db)
	for name, tt := range map[string]struct {
		args   []string
		status int
		want   string
	}{
		"a name that the fonts cannot draw": {[]string{"make", v.Case.ID, "patient-sheet"}, exitPartial, "the patient's name: the fonts of papers cannot draw it: U+738B"},
		"a language that there is not":      {[]string{"make", "--language", "xx", v.Case.ID, "patient-sheet"}, exitUsage, `no language "xx"`},
		"no such case":                      {[]string{"list", strings.Repeat("a", 24)}, exitPartial, "not found"},
		"no such paper":                     {[]string{"write", v.Case.ID, strings.Repeat("a", 24)}, exitPartial, "not found"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, messages bytes.Buffer
			args := append([]string{"paper", tt.args[0], "--config", config}, tt.args[1:]...)
			assert.Equal(t, tt.status, run(args, console{out: &out, err: &messages}))
			assert.Contains(t, messages.String(), tt.want)
			assert.NotContains(t, messages.String(), "Anna")
			assert.Empty(t, out.String())
		})
	}
	papers, err := db.Papers(context.Background(), v.Case.ID)
	require.NoError(t, err)
	assert.Empty(t, papers, "what was refused is not kept")
}
