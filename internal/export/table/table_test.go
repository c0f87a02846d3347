package table_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"github.com/xuri/excelize/v2"

	"afterbeam/internal/export/table"
)

var summer = time.FixedZone("CEST", 2*60*60)

func sample() table.Table {
	return table.Table{
		Name: "procedures", Version: 1, Title: "Procedures (synthetic)", Language: "en", Zone: summer, ZoneName: "Europe/Berlin", Program: "test",
		Made: time.Date(2026, time.November, 1, 6, 0, 0, 0, time.UTC),
		Columns: []table.Column{
			{Name: "study_uid", Title: "Study", Kind: table.ID, Meaning: "UID of the study", Source: "dose report"},
			{Name: "name", Title: "Name", Kind: table.Text},
			{Name: "angle_deg", Title: "Angle", Kind: table.Number, Unit: "deg", Decimals: 1},
			{Name: "kar_gy", Title: "Air kerma", Kind: table.Number, Unit: "Gy", Decimals: 4, Reasoned: true},
			{Name: "day", Title: "Day", Kind: table.Date},
			{Name: "begun", Title: "Begun", Kind: table.Time},
		},
		Filters: []table.Pair{{Name: "period", Value: "2026-10"}}, Methods: []table.Pair{{Name: "percentile", Value: "type 7"}},
		Notes: []string{"Estimates, not measurements."},
	}
}

func at(hour int) time.Time { return time.Date(2026, time.October, 5, hour, 30, 15, 0, summer) }

var rows = [][]table.Value{
	{table.TextOf("1.2.3"), table.TextOf(`Sam "Q", jr`), table.NumberOf(-30), table.NumberOf(2.99996), table.DateOf(at(23)), table.TimeOf(at(23))},
	{table.TextOf("000123"), table.TextOf("=1+1"), table.NumberOf(-0.04), table.Absent("not reported"), {}, {}},
	{{}, table.TextOf("two\r\nlines"), {}, {}, {}, {}},
	{table.TextOf("7"), table.TextOf(""), table.NumberOf(0.05), table.NumberOf(0), table.DateOf(at(0)), table.TimeOf(at(0))},
}

func written(t *testing.T, f table.Format, of table.Table, l table.Locale, rows [][]table.Value) ([]byte, table.Digest) {
	t.Helper()
	var out bytes.Buffer
	w, err := table.Open(f, &out, of, l)
	require.NoError(t, err)
	for _, row := range rows {
		require.NoError(t, w.Row(row))
	}
	require.NoError(t, w.Close())
	return out.Bytes(), w.Digest()
}

func TestMachine(t *testing.T) {
	got, digest := written(t, table.Machine, sample(), table.Locale{}, rows)
	want := strings.Join([]string{
		"study_uid,name,angle_deg,kar_gy,kar_gy_absent,day,begun",
		`1.2.3,"Sam ""Q"", jr",-30.0,3.0000,,2026-10-05,2026-10-05T23:30:15+02:00`,
		`000123,=1+1,0.0,,not reported,,`,
		",\"two\nlines\",,,,,",
		`7,"",0.1,0.0000,,2026-10-05,2026-10-05T00:30:15+02:00`, // 0.05 lies above 1/20 in binary
		"",
	}, "\n")
	assert.Equal(t, want, string(got))
	sum := sha256.Sum256(got)
	assert.Equal(t, table.Digest{Rows: 4, SHA256: hex.EncodeToString(sum[:])}, digest)
}

func TestSpreadsheet(t *testing.T) {
	tests := map[string]struct {
		locale table.Locale
		want   []string
	}{
		"English": {table.LocaleOf("en"), []string{
			"\uFEFFStudy,Name,Angle (deg),Air kerma (Gy),Air kerma: why absent,Day,Begun",
			`'1.2.3,"Sam ""Q"", jr",-30.0,3.0000,,2026-10-05,2026-10-05 23:30:15`,
			"'000123,'=1+1,0.0,,not reported,,",
			",\"two\nlines\",,,,,",
			`'7,"",0.1,0.0000,,2026-10-05,2026-10-05 00:30:15`,
		}},
		"German, with its separator named": {table.Locale{Separator: ';', Decimal: ',', Declared: true}, []string{
			"\uFEFFsep=;",
			"Study;Name;Angle (deg);Air kerma (Gy);Air kerma: why absent;Day;Begun",
			`'1.2.3;"Sam ""Q"", jr";-30,0;3,0000;;2026-10-05;2026-10-05 23:30:15`,
			"'000123;'=1+1;0,0;;not reported;;",
			";\"two\nlines\";;;;;",
			`'7;"";0,1;0,0000;;2026-10-05;2026-10-05 00:30:15`,
		}},
	}
	_, machine := written(t, table.Machine, sample(), table.Locale{}, rows)
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			got, digest := written(t, table.Spreadsheet, sample(), tt.locale, rows)
			assert.Equal(t, strings.Join(tt.want, "\r\n")+"\r\n", string(got))
			assert.Equal(t, machine, digest)
		})
	}
}

func TestGuarded(t *testing.T) {
	for _, text := range []string{
		"=1+1", "+4", "-x", "@sum", "\t=1", " =1", "\n=1", "'quoted", "＝1", "007", "1-2", "1.2.2026", "1.2.840.10008", "3E5", "12:30", "50 %", "€ 5", "5 EUR",
		"TRUE", "wahr", "1 Jan", "Mai 5", "March 3, 2026", "١٢", "2026-10-05T12:00:00Z", strings.Repeat("9", 64),
	} {
		assert.Equal(t, "'"+text, table.Guarded(text), "%q", text)
	}
	for _, text := range []string{"", "Hybrid 1", "O'Brien", "a=b", "FB-EVAR", "stage 2 of 3", "Ann-Marie", "x1", "1st stage", "May", "😀", "مرحبا"} {
		assert.Equal(t, text, table.Guarded(text), "%q", text)
	}
}

func TestWorkbook(t *testing.T) {
	raw, digest := written(t, table.Workbook, sample(), table.Locale{}, rows)
	f, err := excelize.OpenReader(bytes.NewReader(raw))
	require.NoError(t, err)
	defer func() { require.NoError(t, f.Close()) }()
	assert.Equal(t, []string{"Rows", "Dictionary", "Provenance"}, f.GetSheetList())
	got, err := f.GetRows("Rows")
	require.NoError(t, err)
	assert.Equal(t, [][]string{
		{"Study", "Name", "Angle (deg)", "Air kerma (Gy)", "Air kerma: why absent", "Day", "Begun"},
		{"1.2.3", `Sam "Q", jr`, "-30.0", "3.0000", "", "2026-10-05", "2026-10-05 23:30:15"},
		{"000123", "=1+1", "0.0", "", "not reported"},
		{"", "two\nlines"},
		{"7", "", "0.1", "0.0000", "", "2026-10-05", "2026-10-05 00:30:15"},
	}, got)
	kind, err := f.GetCellType("Rows", "A3")
	require.NoError(t, err)
	assert.NotEqual(t, excelize.CellTypeNumber, kind, "an id is a text")
	panes, err := f.GetPanes("Rows")
	require.NoError(t, err)
	assert.True(t, panes.Freeze)
	tables, err := f.GetTables("Rows")
	require.NoError(t, err)
	require.Len(t, tables, 1)
	assert.Equal(t, "A1:G5", tables[0].Range)
	about, err := f.GetRows("Provenance")
	require.NoError(t, err)
	assert.Contains(t, about, []string{"SHA-256 of the CSV for machines", digest.SHA256})
	assert.Contains(t, about, []string{"Rows", "4"})
	assert.Contains(t, about, []string{"Filter: period", "2026-10"})
	assert.Contains(t, about, []string{"Times given in", "Europe/Berlin"})
	dictionary, err := f.GetRows("Dictionary")
	require.NoError(t, err)
	assert.Contains(t, dictionary, []string{"Study", "study_uid", "identifier, a text", "", "", "UID of the study", "dose report"})
	assert.Len(t, dictionary, 8)
}

// TestEmpty writes tables without rows in each format: files that open, with titles.
func TestEmpty(t *testing.T) {
	for _, f := range table.Formats() {
		raw, digest := written(t, f, sample(), table.LocaleOf("de"), nil)
		assert.NotEmpty(t, raw)
		assert.Zero(t, digest.Rows)
	}
}

func TestRefused(t *testing.T) {
	short := strings.Repeat("x", 32_768)
	tests := map[string]struct {
		format table.Format
		row    []table.Value
		want   error
	}{
		"too few values":               {table.Machine, rows[0][:3], table.ErrInvalid},
		"a text for a number":          {table.Machine, []table.Value{{}, {}, table.TextOf("5"), {}, {}, {}}, table.ErrInvalid},
		"no number":                    {table.Spreadsheet, []table.Value{{}, {}, table.NumberOf(math.NaN()), {}, {}, {}}, table.ErrInvalid},
		"a reason without its place":   {table.Workbook, []table.Value{{}, table.Absent("lost"), {}, {}, {}, {}}, table.ErrInvalid},
		"a text too long for a cell":   {table.Workbook, []table.Value{{}, table.TextOf(short), {}, {}, {}, {}}, table.ErrTooLong},
		"a year of more than 4 digits": {table.Machine, []table.Value{{}, {}, {}, {}, table.DateOf(time.Date(12026, 1, 1, 0, 0, 0, 0, time.UTC)), {}}, table.ErrInvalid},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			w, err := table.Open(tt.format, io.Discard, sample(), table.LocaleOf("en"))
			require.NoError(t, err)
			require.ErrorIs(t, w.Row(tt.row), tt.want)
			if tt.format == table.Workbook {
				require.ErrorIs(t, w.Close(), tt.want, "a workbook that lacks a row is none")
			}
		})
	}
}

func TestRefusedTables(t *testing.T) {
	twice, unit, name := sample(), sample(), sample()
	twice.Columns[1].Title = "Study"
	unit.Columns = []table.Column{{Name: "room", Title: "Room", Kind: table.Text, Unit: "Gy"}}
	name.Columns = []table.Column{{Name: "Room", Title: "Room", Kind: table.Text}}
	for _, of := range []table.Table{twice, unit, name, {}} {
		_, err := table.Open(table.Machine, io.Discard, of, table.Locale{})
		require.ErrorIs(t, err, table.ErrInvalid)
	}
	_, err := table.Open(table.Spreadsheet, io.Discard, sample(), table.Locale{Separator: ',', Decimal: ','})
	require.ErrorIs(t, err, table.ErrInvalid)
	_, err = table.Open("ods", io.Discard, sample(), table.Locale{})
	require.ErrorIs(t, err, table.ErrInvalid)
}

// TestSchema holds each row of the machine's CSV against the schema, by a library that is not ours.
func TestSchema(t *testing.T) {
	raw, err := table.Schema(sample())
	require.NoError(t, err)
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(raw))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	compiler.AssertFormat()
	require.NoError(t, compiler.AddResource("table.json", document))
	schema, err := compiler.Compile("table.json")
	require.NoError(t, err)
	out, _ := written(t, table.Machine, sample(), table.Locale{}, rows)
	records, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	require.NoError(t, err)
	require.Len(t, records, 5)
	numbers := map[string]bool{"angle_deg": true, "kar_gy": true}
	for _, record := range records[1:] {
		row := map[string]any{}
		for i, name := range records[0] {
			switch {
			case record[i] == "":
			case numbers[name]:
				_, err := strconv.ParseFloat(record[i], 64)
				require.NoError(t, err)
				row[name] = json.Number(record[i])
			default:
				row[name] = record[i]
			}
		}
		require.NoError(t, schema.Validate(row))
	}
	require.Error(t, schema.Validate(map[string]any{"kar_gy": "1"}))
	require.Error(t, schema.Validate(map[string]any{"another": "1"}))
}
