package table_test

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/table"
	"afterbeam/internal/peer"
	"afterbeam/internal/quantity"
)

// cell is a cell as LibreOffice has it: its type and value, or its text.
type cell struct{ kind, value, text string }

// TestReadBackByLibreOffice opens workbooks and CSV as LibreOffice of an American and of a German desk does, and compares every
// cell with what was written: the digits of numbers, days, times, and each letter of texts.
func TestReadBackByLibreOffice(t *testing.T) {
	program := peer.Need(t, "soffice")
	n := 300
	if ci := os.Getenv("CI"); ci == "1" || ci == "true" {
		n = 10_000
	}
	written := randomRows(n)
	for _, desk := range []struct{ language, locale string }{{"en", "en-US"}, {"de", "de-DE"}} {
		for _, format := range []table.Format{table.Workbook, table.Spreadsheet} {
			t.Run(desk.locale+" "+string(format), func(t *testing.T) {
				of := hostile(desk.language)
				var out bytes.Buffer
				w, err := table.Open(format, &out, of, table.LocaleOf(desk.language))
				require.NoError(t, err)
				for _, row := range written {
					require.NoError(t, w.Row(row))
				}
				require.NoError(t, w.Close())
				got := opened(t, program, desk.locale, format, out.Bytes())
				for len(got) > n+1 && strings.Trim(fmt.Sprint(got[len(got)-1]), "[]{} ") == "" {
					got = got[:len(got)-1] // empty rows that only have a format
				}
				require.Len(t, got, n+1)
				different := 0
				for i, row := range written {
					for k, v := range row {
						want := expected(of.Columns[k], v, format)
						if have := got[i+1][k]; want != have {
							different++
							if different <= 10 {
								assert.Equal(t, want, have, "row %d column %s", i+1, of.Columns[k].Name)
							}
						}
					}
				}
				assert.Zero(t, different)
			})
		}
	}
}

func hostile(language string) table.Table {
	return table.Table{
		Name: "hostile", Version: 1, Title: "Hostile", Language: language, Zone: summer, Program: "test", Made: at(8),
		Columns: []table.Column{
			{Name: "id", Title: "Id", Kind: table.ID},
			{Name: "name", Title: "Name", Kind: table.Text},
			{Name: "angle_deg", Title: "Angle", Kind: table.Number, Unit: "deg", Decimals: 1},
			{Name: "kar_gy", Title: "Kerma", Kind: table.Number, Unit: "Gy", Decimals: 5},
			{Name: "day", Title: "Day", Kind: table.Date},
			{Name: "begun", Title: "Begun", Kind: table.Time},
		},
	}
}

// names are texts that spreadsheet programs are known to spoil.
var names = []string{
	`Sam "Q" O'Brien`, "two\nlines", "=1+1", `=HYPERLINK("http://x")`, "+49 123", "-x", "@SUM(A1)", "007", "0", "1-2", "3E5", "1/2", "12:30", "TRUE", "wahr", "1.2.2026", "5 €", "50 %", "Mai 5", "1 Jan",
	"a,b;c\td", "😀 emoji", "مرحبا ١٢", "ÄÖÜß", " led", "trailing ", "'apostrophe", "''", "x\"", "\"", "null", "#N/A", "#REF!", "1,234.5", "1.234,5", "2026-10-05", "_x0041_", "<b>&amp;", "Hybrid 1", "", "=cmd|' /C calc'!A0", "١٢", "−5", "½", "1 000",
}

func randomRows(n int) [][]table.Value {
	rng := rand.New(rand.NewPCG(26, 10))
	letters := []rune("aZ0189=+-@.,;:/'\"%€$ \n_eE()#äé😀م١")
	rows := make([][]table.Value, n)
	for i := range rows {
		name := names[i%len(names)]
		if i >= len(names) && i%2 == 0 {
			text := make([]rune, 1+rng.IntN(12))
			for k := range text {
				text[k] = letters[rng.IntN(len(letters))]
			}
			name = string(text)
		}
		uid := "1.2.840." + strings.Repeat("9", 1+rng.IntN(56))
		if i%3 == 0 {
			uid = fmt.Sprintf("%0*d", 1+rng.IntN(64), rng.IntN(1_000_000))
		}
		when := time.Date(1900+rng.IntN(150), time.Month(1+rng.IntN(12)), 1+rng.IntN(28), rng.IntN(24), rng.IntN(60), rng.IntN(60), 0, summer)
		if when.Year() == 1900 {
			when = when.AddDate(1, 0, 0)
		}
		rows[i] = []table.Value{
			table.TextOf(uid), table.TextOf(name), table.NumberOf(180 * (2*rng.Float64() - 1)), table.NumberOf(math.Exp(4 * rng.NormFloat64())), table.DateOf(when), table.TimeOf(when),
		}
		if rng.IntN(10) == 0 {
			rows[i][2+rng.IntN(4)] = table.Value{}
		}
	}
	return rows
}

// expected is how LibreOffice has to have a value.
func expected(c table.Column, v table.Value, format table.Format) cell {
	text, number, when, there := table.Parts(v)
	if !there {
		return cell{}
	}
	switch c.Kind {
	case table.Number:
		return cell{kind: "float", value: quantity.Fixed(number, c.Decimals)}
	case table.Date:
		return cell{kind: "date", value: when.Format(time.DateOnly)}
	case table.Time:
		return cell{kind: "date", value: when.In(summer).Format("2006-01-02T15:04:05")}
	case table.Text, table.ID:
	}
	if format == table.Spreadsheet {
		text = table.Guarded(text)
	}
	if text == "" {
		return cell{}
	}
	return cell{kind: "string", text: text}
}

// opened has LibreOffice of a locale open a file and gives the cells of its first sheet.
func opened(t *testing.T, program, locale string, format table.Format, file []byte) [][]cell {
	t.Helper()
	dir := t.TempDir()
	profile := filepath.Join(dir, "profile", "user")
	require.NoError(t, os.MkdirAll(profile, 0o700))
	settings := `<?xml version="1.0" encoding="UTF-8"?><oor:items xmlns:oor="http://openoffice.org/2001/registry"><item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>` + locale + `</value></prop></item></oor:items>`
	require.NoError(t, os.WriteFile(filepath.Join(profile, "registrymodifications.xcu"), []byte(settings), 0o600))
	name := filepath.Join(dir, "table"+format.Ending())
	require.NoError(t, os.WriteFile(name, file, 0o600))
	args := []string{"-env:UserInstallation=file://" + filepath.Join(dir, "profile"), "--headless", "--convert-to", "fods", "--outdir", dir}
	if format == table.Spreadsheet {
		// Separator, quote, UTF-8, from line 1, no forced columns, the desk's language, no special treatment of quoted fields,
		// everything recognised that can be.
		l := table.LocaleOf(locale[:2])
		args = append(args, fmt.Sprintf("--infilter=CSV:%d,34,76,1,,0,false,true,false,false,false,,true", l.Separator))
	}
	ctx, cancel := context.WithTimeout(t.Context(), 4*time.Minute)
	defer cancel()
	said, err := exec.CommandContext(ctx, program, append(args, name)...).CombinedOutput()
	require.NoError(t, err, "%s", said)
	sheet, err := os.Open(filepath.Join(dir, "table.fods"))
	require.NoError(t, err, "%s", said)
	defer func() { require.NoError(t, sheet.Close()) }()
	return cellsOf(t, sheet)
}

// The parts of a flat OpenDocument sheet (OASIS OpenDocument 1.3, part 3, 9.1) that hold cells.
type (
	odfRow struct {
		Repeated int       `xml:"number-rows-repeated,attr"`
		Cells    []odfCell `xml:"table-cell"`
	}
	odfCell struct {
		Repeated int       `xml:"number-columns-repeated,attr"`
		Type     string    `xml:"value-type,attr"`
		Value    string    `xml:"value,attr"`
		Date     string    `xml:"date-value,attr"`
		Lines    []odfText `xml:"p"`
	}
	odfText struct {
		Inner []byte `xml:",innerxml"`
	}
)

func cellsOf(t *testing.T, from io.Reader) [][]cell {
	t.Helper()
	d := xml.NewDecoder(from)
	var all [][]cell
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		if end, ok := token.(xml.EndElement); ok && end.Name.Local == "table" {
			return all // the first sheet
		}
		start, ok := token.(xml.StartElement)
		if !ok || start.Name.Local != "table-row" {
			continue
		}
		var row odfRow
		require.NoError(t, d.DecodeElement(&row, &start))
		var cells []cell
		for _, c := range row.Cells {
			for range max(1, min(c.Repeated, 10)) {
				cells = append(cells, c.read(len(cells)))
			}
		}
		if row.Repeated > 1000 {
			continue // the empty rest of the sheet
		}
		all = append(all, cells)
	}
}

// read gives a cell; numbers to the decimals of their column.
func (c odfCell) read(column int) cell {
	switch c.Type {
	case "":
		return cell{}
	case "float":
		v, err := strconv.ParseFloat(c.Value, 64)
		if err != nil {
			return cell{kind: "float", value: c.Value}
		}
		decimals := 1
		if column == 3 {
			decimals = 5
		}
		// 15 digits of a double are printed; nothing beyond them is compared.
		return cell{kind: "float", value: quantity.Fixed(v, decimals)}
	case "date":
		at := c.Date
		if day, clock, ok := strings.Cut(at, "T"); ok {
			if clock == "00:00:00" && column == 4 {
				at = day
			}
		} else if column == 5 {
			at += "T00:00:00"
		}
		return cell{kind: "date", value: at}
	}
	lines := make([]string, len(c.Lines))
	for i, l := range c.Lines {
		lines[i] = l.text()
	}
	return cell{kind: c.Type, text: strings.Join(lines, "\n")}
}

// text gives a paragraph with its spaces and tabs as characters.
func (p odfText) text() string {
	d := xml.NewDecoder(bytes.NewReader(p.Inner))
	d.Strict = false
	var out strings.Builder
	for {
		token, err := d.Token()
		if err != nil {
			return out.String()
		}
		switch token := token.(type) {
		case xml.CharData:
			out.Write(token)
		case xml.StartElement:
			switch token.Name.Local {
			case "s":
				n := 1
				for _, a := range token.Attr {
					if a.Name.Local == "c" {
						if given, err := strconv.Atoi(a.Value); err == nil {
							n = given
						}
					}
				}
				out.WriteString(strings.Repeat(" ", n))
			case "tab":
				out.WriteByte('\t')
			case "line-break":
				out.WriteByte('\n')
			}
		}
	}
}
