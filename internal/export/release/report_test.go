package release_test

import (
	"context"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/export/release"
	"afterbeam/internal/peer"
	"afterbeam/internal/procedure"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// Every number that stands in the released report is that of the report, digit by digit, and none is lost.
func TestDosesStayToTheDigit(t *testing.T) {
	for name, r := range scenario() {
		t.Run(name, func(t *testing.T) {
			numbers := func(set dicomio.DataSet) []string {
				var all []string
				walk(set, "", func(path, kind string, item dicomio.DataSet) {
					if kind != "NUM" {
						return
					}
					codes := path
					for _, m := range item.Items(0x0040A300) {
						exact, _ := m.Find(0x0040A161)
						codes += " " + m.Text(0x0040A30A) + " " + m.Items(0x004008EA)[0].Text(0x00080100) + strings.Join(exact.Values, " ")
					}
					// Items before it may be left out: the place among its kind counts, not the number of the item.
					all = append(all, placeless(codes))
				})
				return all
			}
			set := dataSet(t, file(t, rdsr.DataSet(&r, rdsr.WriteOptions{})))
			got := released(t, &r, keyOfOne, release.Cautious())
			want := numbers(set)
			require.NotEmpty(t, want)
			assert.Equal(t, want, numbers(got.Data))
			assert.Equal(t, want, numbers(dataSet(t, got.Bytes)))
			assert.Zero(t, got.Left.Numbers)
		})
	}
}

// placeless takes the numbers of the items out of a path.
func placeless(path string) string {
	parts := strings.Split(path, "/")
	for i, p := range parts {
		if _, name, ok := strings.Cut(p, ":"); ok {
			parts[i] = name
		}
	}
	return strings.Join(parts, "/")
}

// The project's own reader sees the same procedure, but for who, where and when.
func TestTheReaderSeesTheSameEvents(t *testing.T) {
	r := staged()
	got := released(t, r, keyOfOne, most())
	back, err := rdsr.Read(got.Bytes, rdsr.Options{})
	require.NoError(t, err)
	days := pseudonyms(t, keyOfOne).DaysBack(subject(r).Patient)
	require.Len(t, back.Events, len(r.Events))
	seen := map[string]bool{}
	for i := range r.Events {
		want, have := r.Events[i], back.Events[i]
		assert.Equal(t, want.Start.Time.AddDate(0, 0, -days).Format("20060102150405.000000"), have.Start.Time.Format("20060102150405.000000"))
		assert.NotEqual(t, want.UID, have.UID)
		assert.False(t, seen[have.UID])
		seen[have.UID] = true
		assert.Equal(t, []any{want.Plane, want.Type, want.KAP, want.RefKerma, want.Direction, want.Posture, want.Target.Value}, []any{have.Plane, have.Type, have.KAP, have.RefKerma, have.Direction, have.Posture, have.Target.Value})
		assert.Equal(t, want.Field, have.Field)
		assert.Equal(t, want.Mechanics, have.Mechanics)
	}
	assert.Equal(t, r.Patient.Sex, back.Patient.Sex)
	assert.Equal(t, r.Patient.Weight, back.Patient.Weight)
	assert.Equal(t, "", back.Patient.BirthDate)
	age, _ := back.Patient.AgeYears.Get()
	assert.InDelta(t, 72, age, 0.01) // born 1954-03-11, treated 2026-09-21, in whole years
}

func TestWhatWasDoneStandsInIt(t *testing.T) {
	for name, tt := range map[string]struct {
		o    release.Options
		want []string
	}{
		"cautious": {release.Cautious(), []string{"113100", "113104", "113105", "113107"}},
		"most":     {most(), []string{"113100", "113104", "113105", "113107", "113108", "113109"}},
	} {
		t.Run(name, func(t *testing.T) {
			set := released(t, staged(), keyOfOne, tt.o).Data
			assert.Equal(t, "YES", set.Text(0x00120062))
			assert.Equal(t, release.Method, set.Text(0x00120063))
			assert.Equal(t, "MODIFIED", set.Text(0x00280303))
			var codes []string
			for _, item := range set.Items(0x00120064) {
				assert.Equal(t, "DCM", item.Text(0x00080102))
				codes = append(codes, item.Text(0x00080100))
			}
			assert.Equal(t, tt.want, codes)
		})
	}
}

func TestRefused(t *testing.T) {
	set := rdsr.DataSet(staged(), rdsr.WriteOptions{})
	p := pseudonyms(t, keyOfOne)
	for name, tt := range map[string]struct {
		set  dicomio.DataSet
		p    release.Pseudonyms
		o    release.Options
		want error
	}{
		"no report":         {dicomio.DataSet{text(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.88.67")}, p, most(), release.ErrNotDose},
		"another class":     {with(set, text(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.88.50")), p, most(), release.ErrNotDose},
		"CT":                {with(set, seq(0x0040A043, coded("113811", "DCM", "x"))), p, most(), release.ErrNotDose},
		"no key":            {set, release.Pseudonyms{}, most(), release.ErrKey},
		"no option":         {set, p, release.Options{Device: "all", Persons: release.PersonsDropped}, release.ErrOptions},
		"no persons option": {set, p, release.Options{Device: release.DeviceMake}, release.ErrOptions},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := release.Report(tt.set, release.Subject{Patient: "1"}, tt.p, tt.o)
			assert.ErrorIs(t, err, tt.want)
		})
	}
	_, err := release.PseudonymsOf("00")
	assert.ErrorIs(t, err, release.ErrKey)
}

func TestPersonsByOption(t *testing.T) {
	names := func(set dicomio.DataSet) []string {
		var all []string
		walk(set, "", func(_, kind string, item dicomio.DataSet) {
			if kind == "PNAME" {
				all = append(all, item.Text(0x0040A123))
			}
		})
		return all
	}
	assert.Empty(t, names(released(t, staged(), keyOfOne, release.Cautious()).Data))
	got := names(released(t, staged(), keyOfOne, most()).Data)
	require.NotEmpty(t, got)
	for _, name := range got {
		assert.Regexp(t, `^S-[A-Z2-7]{16}$`, name)
	}
	assert.Equal(t, pseudonyms(t, keyOfOne).Person(procedure.Person{Name: "Surgeon^A"}), pseudonyms(t, keyOfOne).Person(procedure.Person{Name: "surgeon A"}), "spelt in two ways")
}

func TestCharacteristics(t *testing.T) {
	set := rdsr.DataSet(staged(), rdsr.WriteOptions{})
	for name, tt := range map[string]struct {
		age, birth, height, weight     string
		bound                          bool
		wantAge, wantHeight, wantWight string
	}{
		"as it is":                          {"067Y", "", "1.78", "104", false, "067Y", "1.78", "104"},
		"89 is told":                        {"089Y", "", "", "", false, "089Y", "", ""},
		"90 and more are one":               {"097Y", "", "", "", false, "090Y", "", ""},
		"an age from the birth date":        {"", "19270101", "", "", false, "090Y", "", ""},
		"the day before the birthday":       {"", "19540922", "", "", false, "071Y", "", ""},
		"the birthday":                      {"", "19540921", "", "", false, "072Y", "", ""},
		"an infant in months":               {"", "20250821", "", "", false, "013M", "", ""},
		"very large, bounded":               {"050Y", "", "2.11", "212.5", true, "050Y", "2", "150"},
		"very small, bounded":               {"050Y", "", "1.30", "31", true, "050Y", "1.45", "40"},
		"a child is small":                  {"006Y", "", "1.10", "19", true, "006Y", "1.10", "19"},
		"small at an age that is not known": {"", "", "1.30", "31", true, "", "1.30", "31"},
		"no numbers":                        {"old", "1954", "tall", "-1", false, "", "", ""},
	} {
		t.Run(name, func(t *testing.T) {
			in := with(set, text(0x00101010, "AS", tt.age), text(0x00100030, "DA", tt.birth), text(0x00101020, "DS", tt.height), text(0x00101030, "DS", tt.weight))
			o := most()
			o.BoundSizes = tt.bound
			got, err := release.Report(in, subject(staged()), pseudonyms(t, keyOfOne), o)
			require.NoError(t, err)
			assert.Equal(t, []string{tt.wantAge, tt.wantHeight, tt.wantWight}, []string{got.Data.Text(0x00101010), got.Data.Text(0x00101020), got.Data.Text(0x00101030)})
		})
	}
	bare := released(t, staged(), keyOfOne, release.Cautious()).Data
	assert.Equal(t, []string{"", "", "", ""}, []string{bare.Text(0x00100040), bare.Text(0x00101010), bare.Text(0x00101020), bare.Text(0x00101030)})
}

func uids(set dicomio.DataSet) map[string]bool {
	all := map[string]bool{}
	var in func(dicomio.DataSet)
	in = func(s dicomio.DataSet) {
		for _, e := range s {
			if e.VR == "UI" && e.Tag != 0x00080016 {
				for _, v := range e.Values {
					all[v] = true
				}
			}
			for _, item := range e.Items {
				in(item)
			}
		}
	}
	in(set)
	return all
}

// Same input and recipient, same bytes; two recipients share no UID, no pseudonym and no day.
func TestOneRecipientAndAnother(t *testing.T) {
	for name, r := range scenario() {
		t.Run(name, func(t *testing.T) {
			one, again, other := released(t, &r, keyOfOne, most()), released(t, &r, keyOfOne, most()), released(t, &r, keyOfOther, most())
			assert.Equal(t, one.Bytes, again.Bytes)
			theirs := uids(other.Data)
			require.Greater(t, len(theirs), 3)
			for uid := range uids(one.Data) {
				assert.False(t, theirs[uid], uid)
				assert.LessOrEqual(t, len(uid), 64)
			}
			assert.NotEqual(t, one.Data.Text(0x00100020), other.Data.Text(0x00100020))
			assert.NotEqual(t, one.Data.Text(0x00080020), other.Data.Text(0x00080020))
		})
	}
}

// Reports of one patient keep the interval between them, and the references between their UIDs.
func TestStagesStayTogether(t *testing.T) {
	cases := scenario()
	first, second := cases["hybrid1-branched-repair-stage1.dcm"], cases["hybrid1-branched-repair-stage2.dcm"]
	a, b := released(t, &first, keyOfOne, most()).Data, released(t, &second, keyOfOne, most()).Data
	assert.Equal(t, a.Text(0x00100020), b.Text(0x00100020))
	day := func(s dicomio.DataSet) time.Time {
		d, err := time.Parse("20060102", s.Text(0x00080020))
		require.NoError(t, err)
		return d
	}
	want := second.Study.Date.Time.Truncate(24 * time.Hour).Sub(first.Study.Date.Time.Truncate(24 * time.Hour))
	assert.InDelta(t, want.Hours(), day(b).Sub(day(a)).Hours(), 1) // an hour where the clocks changed between
	scope := ""
	walk(a, "", func(_, kind string, item dicomio.DataSet) {
		if kind == "UIDREF" && item.Items(0x0040A043)[0].Text(0x00080100) == "110180" {
			scope = item.Text(0x0040A124)
		}
	})
	assert.Equal(t, a.Text(0x0020000D), scope, "the totals name their study by its new UID")
}

func TestIntervalsSurvive(t *testing.T) {
	set := rdsr.DataSet(&procedure.Report{SOPInstanceUID: "1.2", StudyUID: "1.3", SeriesUID: "1.4"}, rdsr.WriteOptions{})
	rapid.Check(t, func(t *rapid.T) {
		from := time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC)
		moments := rapid.SliceOfN(rapid.Int64Range(0, 40*365*86400), 2, 5).Draw(t, "seconds")
		zone := rapid.SampledFrom([]string{"", "+0100", "-0930", "+1400"}).Draw(t, "zone")
		var items []dicomio.DataSet
		for _, s := range moments {
			items = append(items, content("DATETIME", coded("111526", "DCM", "x"), text(0x0040A120, "DT", from.Add(time.Duration(s)*time.Second).Format("20060102150405.25")+zone)))
		}
		got, err := release.Report(with(set, seq(0x0040A730, items...)), release.Subject{Patient: rapid.String().Draw(t, "patient")}, keyed(t), release.Cautious())
		require.NoError(t, err)
		var back []int64
		walk(got.Data, "", func(_, _ string, item dicomio.DataSet) {
			at, err := time.Parse("20060102150405", strings.TrimSuffix(item.Text(0x0040A120), zone)[:14])
			require.NoError(t, err)
			back = append(back, int64(at.Sub(from)/time.Second))
		})
		require.Len(t, back, len(moments))
		shift := moments[0] - back[0]
		assert.Positive(t, shift)
		assert.Zero(t, shift%86400, "whole days, so that the time of day stays")
		assert.LessOrEqual(t, shift, int64(3*366*86400))
		for i := range back {
			assert.Equal(t, shift, moments[i]-back[i])
		}
	})
}

// keyed gives pseudonyms of any key.
func keyed(t *rapid.T) release.Pseudonyms {
	key := rapid.SliceOfN(rapid.Byte(), release.KeySize, release.KeySize).Draw(t, "key")
	text, err := release.NewKey(strings.NewReader(string(key)))
	require.NoError(t, err)
	p, err := release.PseudonymsOf(text)
	require.NoError(t, err)
	return p
}

func TestPseudonymsDiffer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, q := keyed(t), keyed(t)
		a, b := rapid.String().Draw(t, "a"), rapid.String().Draw(t, "b")
		assert.Equal(t, a == b, p.Patient(a) == p.Patient(b))
		assert.Equal(t, a == b, p.UID(a) == p.UID(b))
		assert.NotEqual(t, p.Patient(a)[2:], p.Procedure(a)[2:], "a patient and a procedure of one id")
		if p.UID("1.2") != q.UID("1.2") { // two keys that are not one
			assert.NotEqual(t, p.Patient(a), q.Patient(a))
			assert.NotEqual(t, p.UID(a), q.UID(a))
		}
		assert.Regexp(t, `^2\.25\.[1-9][0-9]{0,38}$`, p.UID(a))
	})
}

// onDisk writes a file that outside programs can read.
func onDisk(t *testing.T, data []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "report.dcm")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return path
}

func said(t *testing.T, program string, args ...string) (string, bool) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, program, args...).CombinedOutput()
	return string(out), err == nil
}

// The module check finds no more in the released report than in the report, whose errors are none here; the tree check and an
// outside reader take it.
func TestOutsideProgramsTakeIt(t *testing.T) {
	verify, dump := peer.Need(t, "dciodvfy"), peer.Need(t, "dsrdump")
	files := map[string][]byte{"planted": planted(t)}
	for name, r := range scenario() {
		files[name] = file(t, rdsr.DataSet(&r, rdsr.WriteOptions{}))
	}
	errorsOf := func(data []byte) int {
		out, _ := said(t, verify, onDisk(t, data)) // its status also tells of warnings
		return strings.Count(out, "Error -")
	}
	for name, data := range files {
		if !strings.HasPrefix(name, "hybrid1") && name != "planted" && os.Getenv("CI") == "" {
			continue // the other rooms in continuous integration: the programs take their time
		}
		for option, o := range map[string]release.Options{"cautious": release.Cautious(), "most": most()} {
			t.Run(name+" "+option, func(t *testing.T) {
				got, err := release.Report(dataSet(t, data), subject(staged()), pseudonyms(t, keyOfOne), o)
				require.NoError(t, err)
				assert.LessOrEqual(t, errorsOf(got.Bytes), errorsOf(data))
				if name != "planted" {
					assert.Zero(t, errorsOf(got.Bytes))
				}
				out, ok := said(t, dump, "-q", onDisk(t, got.Bytes))
				assert.True(t, ok, out)
			})
		}
	}
}

// pydicom finds the identity removed, and every number.
func TestPydicomReadsIt(t *testing.T) {
	python := "/usr/bin/python3"
	if _, ok := said(t, python, "-c", "import pydicom"); !ok {
		peer.Need(t, "python3-pydicom")
	}
	got := released(t, staged(), keyOfOne, release.Cautious())
	const script = `
import json, sys, pydicom
d = pydicom.dcmread(sys.argv[1])
n = 0
for e in d.iterall():
    n += e.tag == 0x0040A30A
print(json.dumps({"numbers": n, "removed": d.PatientIdentityRemoved, "modified": d.LongitudinalTemporalInformationModified,
    "private": sum(1 for e in d.iterall() if e.tag.is_private), "preamble": d.preamble == b"\0" * 128, "name": str(d.PatientName)}))
`
	out, err := exec.Command(python, "-c", script, onDisk(t, got.Bytes)).Output()
	require.NoError(t, err)
	var have struct {
		Numbers, Private        int
		Removed, Modified, Name string
		Preamble                bool
	}
	require.NoError(t, json.Unmarshal(out, &have))
	numbers := 0
	walk(got.Data, "", func(_, kind string, item dicomio.DataSet) {
		if kind == "NUM" && len(item.Items(0x0040A300)) > 0 {
			numbers++
		}
	})
	assert.Equal(t, numbers, have.Numbers)
	assert.Equal(t, []any{"YES", "MODIFIED", 0, true, got.Data.Text(0x00100010)}, []any{have.Removed, have.Modified, have.Private, have.Preamble, have.Name})
}
