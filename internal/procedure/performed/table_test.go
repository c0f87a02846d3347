package performed_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure/performed"
	"afterbeam/internal/quantity"
)

func options() performed.Options {
	return performed.Options{KnownClass: func(class string) bool { return class == "evar" }}
}

func rows(t *testing.T, text string, opt performed.Options) []performed.Row {
	t.Helper()
	table, err := performed.Read(strings.NewReader(text), opt)
	require.NoError(t, err)
	var all []performed.Row
	for row, err := range table.Rows() {
		require.NoError(t, err)
		all = append(all, row)
	}
	return all
}

const head = "study_uid,accession_number,status,excluded,start,end,room,station,patient_id,patient_id_issuer,birth_date,sex,procedure_code,procedure_code_scheme,procedure_description,class,height_cm,weight_kg,operator,operator_id,operator_id_issuer\n"

const full = `2.25.17,A-17,completed,,2026-09-14T08:30+02:00,2026-09-14T10:05+02:00,Hybrid 1,HYBRID1,P-1,SALTMARSH,1950-01-31,F,43,SCT,"Branched repair, stage 1",evar,171.5,80,Operator^A,OP-A,STAFF` + "\n"

func TestRowIsRead(t *testing.T) {
	all := rows(t, head+full, options())
	require.Len(t, all, 1)
	require.NoError(t, all[0].Err)
	s := all[0].Step
	assert.Equal(t, 2, all[0].Line)
	assert.Equal(t, "study 2.25.17", s.Key)
	assert.Equal(t, performed.Completed, s.State)
	assert.Equal(t, performed.Patient{Number: "P-1", Issuer: "SALTMARSH", BirthDate: "1950-01-31", Sex: "F"}, s.Patient)
	assert.Equal(t, time.Date(2026, 9, 14, 6, 30, 0, 0, time.UTC), s.Start.Time.UTC())
	assert.Equal(t, quantity.Some[quantity.Millimetre](1715), s.Height)
	assert.Equal(t, "Branched repair, stage 1", s.Description)
	assert.Equal(t, "Operator^A", s.Operators[0].Name)
}

// The same row is read from every dress that such tables come in.
func TestDressesOfATable(t *testing.T) {
	want := rows(t, head+full, options())[0].Step
	semicolons := strings.NewReplacer(`"Branched repair, stage 1"`, "Branched repair, stage 1", ",", ";", "171.5", "171,5").Replace
	bare := func(s string) string {
		return strings.ReplaceAll(s, `"Branched repair, stage 1"`, "Branched repair stage 1")
	}
	for name, text := range map[string]string{
		"byte order mark": "\ufeff" + head + full,
		"CRLF":            strings.ReplaceAll(head+full, "\n", "\r\n"),
		"empty lines":     head + "\n\n" + full + "\n",
		"no last end":     head + strings.TrimSpace(full),
		"capital head":    strings.ToUpper(head) + full,
		"semicolons":      semicolons(bare(head + full)),
		"tabs":            strings.ReplaceAll(bare(head+full), ",", "\t"),
		"spaces":          head + strings.ReplaceAll(full, ",Hybrid 1,", ",  Hybrid 1  ,"),
	} {
		t.Run(name, func(t *testing.T) {
			all := rows(t, text, options())
			require.Len(t, all, 1)
			require.NoError(t, all[0].Err)
			got := all[0].Step
			got.Description, want.Description = "", ""
			assert.Equal(t, want, got)
		})
	}
}

func TestEncodings(t *testing.T) {
	latin := "study_uid,start,room\n2.25.1,2026-09-14T08:30,S\xe4l 1\n2.25.2,2026-09-14T08:30,Hybrid 1\n"
	all := rows(t, latin, performed.Options{Encoding: performed.Latin1})
	require.NoError(t, all[0].Err)
	assert.Equal(t, "Säl 1", all[0].Step.Room)
	all = rows(t, latin, performed.Options{})
	require.ErrorIs(t, all[0].Err, performed.ErrLine)
	assert.ErrorContains(t, all[0].Err, "line 2")
	assert.ErrorContains(t, all[0].Err, "iso-8859-1")
	require.NoError(t, all[1].Err, "the next line is read")
	_, err := performed.Read(strings.NewReader("\xff\xfes\x00t\x00"), performed.Options{})
	require.ErrorIs(t, err, performed.ErrTable)
	assert.ErrorContains(t, err, "UTF-16")
	_, err = performed.EncodingOf("ebcdic")
	require.ErrorIs(t, err, performed.ErrTable)
}

func TestBadLinesAreNamed(t *testing.T) {
	const secret = "PLANTED"
	tests := map[string]struct{ line, column, expected string }{
		"start":           {"2.25.1,yesterday,,,,,", "column start", "2026-09-14T08:30"},
		"no start":        {"2.25.1,,,,,,", "column start", "expected a time"},
		"year":            {"2.25.1,1066-10-14,,,,,", "column start", "a time like"},
		"UID":             {"2.25." + secret + ",2026-09-14,,,,,", "column study_uid", "a DICOM UID"},
		"no key":          {",2026-09-14,Hybrid 1,,,,", "line", "study_uid"},
		"formula":         {"2.25.1,2026-09-14,=1+1,,,,", "column room", "formula"},
		"at sign":         {"2.25.1,2026-09-14,@SUM(A1),,,,", "column room", "formula"},
		"minus":           {"2.25.1,2026-09-14,-2+3,,,,", "column room", "formula"},
		"control":         {"2.25.1,2026-09-14,a\x00b,,,,", "column room", "control"},
		"long cell":       {"2.25.1,2026-09-14," + strings.Repeat("x", 65) + ",,,,", "column room", "64 characters"},
		"long line":       {"2.25.1,2026-09-14," + strings.Repeat("x", 70000) + ",,,,", "line", "65536 bytes"},
		"quotes":          {`2.25.1,2026-09-14,"Hybrid,,,,`, "line", "quotation"},
		"height":          {"2.25.1,2026-09-14,,1.71,,,", "column height_cm", "30 to 220"},
		"not a number":    {"2.25.1,2026-09-14,,NaN,,,", "column height_cm", "30 to 220"},
		"class":           {"2.25.1,2026-09-14,,,nothing,,", "column class", "procedure class"},
		"excluded":        {"2.25.1,2026-09-14,,,,because,", "column excluded", "cancelled"},
		"birth date":      {"2.25.1,2026-09-14,,,,,31.1." + secret, "column birth_date", "1950-01-31"},
		"the same, other": {"2.25.9,2026-09-14,Cath 2,,,,", "line", "line 2"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			all := rows(t, "study_uid,start,room,height_cm,class,excluded,birth_date\n2.25.9,2026-09-14,,,,,\n"+tt.line+"\n2.25.8,2026-09-14,,,,,\n", options())
			require.Len(t, all, 3)
			require.NoError(t, all[0].Err)
			require.ErrorIs(t, all[1].Err, performed.ErrLine)
			for _, part := range []string{"line 3", tt.column, tt.expected} {
				assert.ErrorContains(t, all[1].Err, part)
			}
			assert.NotContains(t, all[1].Err.Error(), secret)
			require.NoError(t, all[2].Err, "the line after a bad one is read")
			assert.Equal(t, 4, all[2].Line)
		})
	}
}

func TestHeadIsWanted(t *testing.T) {
	for name, text := range map[string]string{
		"nothing":     "",
		"data":        "2.25.17,2026-09-14,PLANTED\n",
		"no start":    "study_uid,room\n",
		"no identity": "start,room\n",
		"twice":       "study_uid,start,Start\n",
	} {
		t.Run(name, func(t *testing.T) {
			_, err := performed.Read(strings.NewReader(text), performed.Options{})
			require.ErrorIs(t, err, performed.ErrTable)
			assert.NotContains(t, err.Error(), "PLANTED")
		})
	}
	table, err := performed.Read(strings.NewReader("study_uid,ward,start\n"), performed.Options{})
	require.NoError(t, err)
	assert.Equal(t, []int{2}, table.Ignored)
}

func TestColumnsAreDocumented(t *testing.T) {
	names := map[string]bool{}
	for _, c := range performed.Columns() {
		assert.NotEmpty(t, c.Form, c.Name)
		assert.NotEmpty(t, c.Meaning, c.Name)
		assert.False(t, names[c.Name], c.Name)
		names[c.Name] = true
	}
	for name := range strings.SplitSeq(strings.TrimSpace(head), ",") {
		assert.True(t, names[name], name)
	}
}

func TestKeys(t *testing.T) {
	all := rows(t, "step_id,study_uid,accession_number,patient_id,start\n"+
		"S1,2.25.1,A1,P1,2026-09-14T08:00\n,2.25.1,A1,P1,2026-09-14T08:00\n,,A1,P1,2026-09-14T08:00\n,,,P1,2026-09-14T08:00\n", options())
	var keys []string
	for _, row := range all {
		require.NoError(t, row.Err)
		keys = append(keys, row.Step.Key)
	}
	assert.Equal(t, []string{"id S1", "study 2.25.1", "accession A1", "start 20260914080000  P1"}, keys)
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(head+full), false)
	f.Add([]byte("start;study_uid\n2026-09-14;2.25.1\r\n\"\n"), true)
	f.Fuzz(func(t *testing.T, data []byte, latin bool) {
		opt := options()
		if latin {
			opt.Encoding = performed.Latin1
		}
		table, err := performed.Read(strings.NewReader(string(data)), opt)
		if err != nil {
			require.ErrorIs(t, err, performed.ErrTable)
			return
		}
		for row, err := range table.Rows() {
			require.NoError(t, err)
			if row.Err != nil {
				require.ErrorIs(t, row.Err, performed.ErrLine)
				continue
			}
			assert.NotEmpty(t, row.Step.Key, fmt.Sprint(row.Line))
			assert.False(t, row.Step.Start.IsZero())
		}
	})
}
