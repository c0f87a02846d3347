package release_test

import (
	"archive/zip"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/release"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
	"afterbeam/internal/witness"
)

// centre is a site of 12 patients in two rooms: 9 had one class and 3 another, six of each sex, one of them very old.
func centre(t testing.TB) release.Input {
	t.Helper()
	in := release.Input{
		ID: "r1", Recipient: "Registry", Purpose: "survey", Made: time.Date(2026, 11, 1, 8, 0, 0, 0, time.UTC), Program: "test",
		Pseudonyms: pseudonyms(t, keyOfOne), Options: release.Options{Device: release.DeviceMake, Persons: release.PersonsPseudonym, Characteristics: true},
		Reports: true, Tables: true,
	}
	events := map[string][]procedure.Event{}
	for i := range 12 {
		c := release.Case{
			ID: fmt.Sprintf("case-%d", i), Patient: fmt.Sprintf("patient-%d", i), Device: []string{"arc-1", "arc-2"}[i/7], Day: fmt.Sprintf("2026-09-%02d", 10+i), Class: []string{"evar", "tavi"}[i/9],
			State: "complete", Sex: []string{"F", "M"}[i%2], Age: quantity.Some(72.4), Height: quantity.Some[quantity.Millimetre](1780), Weight: quantity.Some[quantity.Kilogram](104),
			Operators: []procedure.Person{{Name: "Surgeon^A"}}, Kerma: quantity.Some[quantity.Gray](4.230000001), KAP: quantity.Some[quantity.GraySquareMetre](0.0315),
			Complete: true, PSD: quantity.Some[quantity.Gray](3.25), PSDLow: quantity.Some[quantity.Gray](2.5), PSDHigh: quantity.Some[quantity.Gray](4), PSDMethod: "map", Flag: "near",
		}
		in.Cases = append(in.Cases, c)
		r := staged()
		r.Events = r.Events[:2]
		events[c.ID] = r.Events
	}
	in.Cases[11].Operators = []procedure.Person{{Name: "Surgeon^Z"}}
	in.Open = func(c release.Case) (release.Detail, error) {
		r := staged()
		r.Patient.ID = c.Patient
		r.SOPInstanceUID = "1.2.3." + strings.TrimPrefix(c.ID, "case-")
		return release.Detail{Events: events[c.ID], Reports: []dicomio.DataSet{rdsr.DataSet(r, rdsr.WriteOptions{})}}, nil
	}
	return in
}

func unzipped(t testing.TB, raw []byte) map[string][]byte {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(raw), int64(len(raw)))
	require.NoError(t, err)
	files := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		files[f.Name], err = io.ReadAll(r)
		require.NoError(t, err)
		require.NoError(t, r.Close())
		assert.True(t, f.Modified.IsZero() || f.Modified.Year() < 1981, "no time of a clock")
	}
	return files
}

func bundled(t testing.TB, in release.Input) (release.Manifest, []byte) {
	t.Helper()
	var out bytes.Buffer
	m, err := release.Write(&out, in)
	require.NoError(t, err)
	return m, out.Bytes()
}

func TestWhatIsInARelease(t *testing.T) {
	in := centre(t)
	m, raw := bundled(t, in)
	files := unzipped(t, raw)
	assert.Equal(t, []int{12, 12, 24, 12, 0}, []int{m.Patients, m.Procedures, m.Events, m.Reports, m.Left.Reports})
	assert.Equal(t, []string{"113100", "113104", "113105", "113107", "113108"}, func() (codes []string) {
		for _, c := range m.Codes {
			codes = append(codes, c.Value)
		}
		return codes
	}())
	require.Len(t, files, 12+4+1)
	require.Len(t, m.Files, 12+4)
	for _, f := range m.Files {
		sum := sha256.Sum256(files[f.Name])
		assert.Equal(t, []any{hex.EncodeToString(sum[:]), len(files[f.Name])}, []any{f.SHA256, f.Size}, f.Name)
	}
	var read release.Manifest
	require.NoError(t, json.Unmarshal(files["manifest.json"], &read))
	assert.Equal(t, m, read)
	for name, b := range files {
		if strings.HasSuffix(name, ".schema.json") {
			assert.True(t, json.Valid(b), name)
		}
	}
	procedures, events := witness.Rows(t, files["tables/procedures.csv"]), witness.Rows(t, files["tables/events.csv"])
	require.Len(t, procedures, 12)
	require.Len(t, events, 24)
	p := in.Pseudonyms
	first := procedures[slices.IndexFunc(procedures, func(r map[string]string) bool { return r["procedure"] == p.Procedure("case-2") })]
	day := time.Date(2026, 9, 12, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -p.DaysBack("patient-2")).Format(time.DateOnly)
	want := map[string]string{
		"patient": p.Patient("patient-2"), "day": day, "class": "evar", "device": p.Device("arc-1"), "sex": "F", "age_years": "72", "height_m": "1.78",
		"kerma_gy": "4.230000001", "kap_gycm2": "315.00000000", "peak_skin_gy": "3.250000", "effective_sv": "", "effective_sv_absent": "no estimate", "events": "2",
		"operators": p.Person(procedure.Person{Name: "Surgeon^A"}), "level_state": "near",
	}
	for name, value := range want {
		assert.Equal(t, value, first[name], name)
	}
	assert.True(t, slices.IsSortedFunc(procedures, func(a, b map[string]string) int { return strings.Compare(a["procedure"], b["procedure"]) }), "the order tells nothing")
	// The tables and the reports are of one name, one day and one event.
	report := dataSet(t, files["reports/"+p.Procedure("case-2")+"/1.dcm"])
	assert.Equal(t, p.Patient("patient-2"), report.Text(0x00100020))
	assert.Equal(t, uids(report)[events[slices.IndexFunc(events, func(r map[string]string) bool { return r["procedure"] == p.Procedure("case-2") })]["event"]], true)
}

// Sorting, reading order and the clock leave no trace: same input, same bytes; another key, nothing in common.
func TestAReleaseIsTheSameBytes(t *testing.T) {
	_, first := bundled(t, centre(t))
	in := centre(t)
	slices.Reverse(in.Cases)
	_, again := bundled(t, in)
	assert.Equal(t, first, again)
	in.Pseudonyms = pseudonyms(t, keyOfOther)
	_, other := bundled(t, in)
	mine := strings.Join(slices.Concat(names(t, first)...), " ")
	for _, name := range slices.Concat(names(t, other)...) {
		assert.NotContains(t, mine, name)
	}
}

// names gives every pseudonym and UID of the tables.
func names(t testing.TB, raw []byte) (all [][]string) {
	for file, b := range unzipped(t, raw) {
		if strings.HasSuffix(file, ".csv") {
			for _, row := range witness.Rows(t, b) {
				all = append(all, []string{row["procedure"], row["patient"], cmpOr(row["event"], row["patient"])})
			}
		}
	}
	return all
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// What fewer than five patients share is told neither in the tables nor in the reports.
func TestSmallGroupsAreWithheld(t *testing.T) {
	in := centre(t)
	m, raw := bundled(t, in)
	files := unzipped(t, raw)
	const reason = "withheld: fewer than 5 patients of the release share it"
	p := in.Pseudonyms
	procedures := witness.Rows(t, files["tables/procedures.csv"])
	of := func(id string) map[string]string {
		return procedures[slices.IndexFunc(procedures, func(r map[string]string) bool { return r["procedure"] == p.Procedure(id) })]
	}
	// Three of class tavi, of 12; five of arc-2; one of Surgeon^Z. Women of 70 with evar are five, men four.
	assert.Equal(t, release.Withheld{Class: 3, Device: 0, Operators: 1, Characteristics: 7}, m.Withheld)
	assert.Equal(t, []string{"", reason}, []string{of("case-10")["class"], of("case-10")["class_absent"]})
	assert.Equal(t, []string{"", reason}, []string{of("case-11")["operators"], of("case-11")["operators_absent"]})
	assert.Equal(t, []string{"", reason, "", reason, "", reason}, []string{of("case-1")["sex"], of("case-1")["sex_absent"], of("case-1")["age_years"], of("case-1")["age_years_absent"], of("case-1")["weight_kg"], of("case-1")["weight_kg_absent"]})
	assert.Equal(t, "F", of("case-0")["sex"])
	report := func(id string) dicomio.DataSet { return dataSet(t, files["reports/"+p.Procedure(id)+"/1.dcm"]) }
	assert.Equal(t, []string{"", "", ""}, []string{report("case-1").Text(0x00100040), report("case-1").Text(0x00101010), report("case-1").Text(0x00101030)})
	assert.Equal(t, "M", report("case-0").Text(0x00100040), "the report's own, here of one man for all")
	persons := 0
	walk(report("case-11"), "", func(_, kind string, _ dicomio.DataSet) {
		if kind == "PNAME" {
			persons++
		}
	})
	assert.Zero(t, persons)
	// A device of few patients is one with all others of few.
	for i := range in.Cases {
		in.Cases[i].Device = fmt.Sprintf("arc-%d", i%6)
	}
	m, raw = bundled(t, in)
	assert.Equal(t, 12, m.Withheld.Device)
	seen := map[string]bool{}
	for _, row := range witness.Rows(t, unzipped(t, raw)["tables/procedures.csv"]) {
		seen[row["device"]] = true
	}
	assert.Len(t, seen, 1)
}

func TestOptionsOfTables(t *testing.T) {
	in := centre(t)
	in.Options = release.Cautious()
	in.Reports = false
	m, raw := bundled(t, in)
	files := unzipped(t, raw)
	assert.Len(t, files, 5)
	assert.Zero(t, m.Reports)
	for _, row := range witness.Rows(t, files["tables/procedures.csv"]) {
		assert.Equal(t, []string{"", "not asked for", "", "not asked for"}, []string{row["sex"], row["sex_absent"], row["operators"], row["operators_absent"]})
	}
	in = centre(t)
	in.Options.BoundSizes = true
	for i := range in.Cases {
		in.Cases[i].Sex, in.Cases[i].Class = "M", "evar"
		in.Cases[i].Weight, in.Cases[i].Height, in.Cases[i].Age = quantity.Some[quantity.Kilogram](211), quantity.Some[quantity.Millimetre](1390), quantity.Some(93.0)
	}
	_, raw = bundled(t, in)
	for _, row := range witness.Rows(t, unzipped(t, raw)["tables/procedures.csv"]) {
		assert.Equal(t, []string{"90", "150.0", "1.45"}, []string{row["age_years"], row["weight_kg"], row["height_m"]})
	}
}

// Nothing of who, where and when stands in any file, nor in their names.
func TestNothingPlantedLeavesInAFile(t *testing.T) {
	in := centre(t)
	input := dataSet(t, planted(t))
	open := in.Open
	in.Open = func(c release.Case) (release.Detail, error) {
		d, err := open(c)
		d.Reports = []dicomio.DataSet{input}
		for i := range d.Events {
			d.Events[i].Comment, d.Events[i].Protocol, d.Events[i].Label = "COMMENTPLANT", "QUARLES", "LABELPLANT"
		}
		return d, err
	}
	_, raw := bundled(t, in)
	all := []byte{}
	for name, b := range unzipped(t, raw) {
		if !strings.HasSuffix(name, ".dcm") || strings.Contains(name, in.Pseudonyms.Procedure("case-0")) || strings.Contains(name, in.Pseudonyms.Procedure("case-11")) {
			all = append(append(append(all, name...), 0), b...) // the reports are one and the same
		}
	}
	texts := map[string]string{"case-1": "id", "patient-1": "id", "arc-1": "device", "Surgeon^A": "operator", "Surgeon^Z": "operator", "2026-09": "day", "20260910": "day"}
	for _, p := range plants() {
		texts[p.text] = p.where
	}
	assertAbsent(t, texts, all)
}

func TestReleasesThatCannotBeWritten(t *testing.T) {
	broken := errors.New("broken")
	for name, tt := range map[string]struct {
		change func(*release.Input)
		want   error
	}{
		"no such option": {func(in *release.Input) { in.Options.Device = "all" }, release.ErrOptions},
		"no key":         {func(in *release.Input) { in.Pseudonyms, in.Reports = release.Pseudonyms{}, false }, release.ErrKey},
		"no detail": {func(in *release.Input) {
			in.Open = func(release.Case) (release.Detail, error) { return release.Detail{}, broken }
		}, broken},
	} {
		t.Run(name, func(t *testing.T) {
			in := centre(t)
			tt.change(&in)
			_, err := release.Write(io.Discard, in)
			assert.ErrorIs(t, err, tt.want)
		})
	}
	in := centre(t)
	in.Open = func(release.Case) (release.Detail, error) {
		return release.Detail{Reports: []dicomio.DataSet{{text(0x00080016, "UI", "1.2")}}}, nil
	}
	m, _ := bundled(t, in)
	assert.Equal(t, []int{0, 12}, []int{m.Reports, m.Left.Reports}, "what is no dose report is left out and counted")
}
