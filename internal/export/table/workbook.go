package table

import (
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"
	"unicode/utf16"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// MaxSheetRows is how many rows a workbook takes besides the titles, and maxCell how many UTF-16 units a cell (ECMA-376; the numbers
// are those of the common programs, common practice).
const (
	MaxSheetRows = 1_048_575
	maxCell      = 32_767
)

// workbook writes XLSX: the rows with a frozen line of titles and filters, a sheet that explains the columns, and one that says
// where the rows come from. No formula, link or macro is in it.
type workbook struct {
	t      Table
	w      io.Writer
	file   *excelize.File
	stream *excelize.StreamWriter
	beside *machine
	styles []int
	row    []any
	broken error
}

func openWorkbook(w io.Writer, t Table) (*workbook, error) {
	beside, err := openMachine(io.Discard, t)
	if err != nil {
		return nil, err
	}
	b := &workbook{t: t, w: w, file: excelize.NewFile(), beside: beside}
	if err := b.begin(); err != nil {
		return nil, errors.Join(fmt.Errorf("begin workbook %s: %w", t.Name, err), b.file.Close())
	}
	return b, nil
}

func (b *workbook) begin() error {
	words := b.t.words()
	made := b.t.Made.UTC().Format(time.RFC3339)
	err := b.file.SetDocProps(&excelize.DocProperties{
		Title: clean(b.t.Title), Creator: "afterbeam " + b.t.Program, LastModifiedBy: "afterbeam " + b.t.Program, Created: made, Modified: made,
		Language: b.t.words().Tag(),
	})
	if err != nil {
		return err
	}
	sheet := words.Text("table.rows")
	if err := b.file.SetSheetName("Sheet1", sheet); err != nil {
		return err
	}
	for _, c := range b.beside.cells {
		style, err := b.file.NewStyle(&excelize.Style{CustomNumFmt: numberFormat(c), Alignment: &excelize.Alignment{Vertical: "top"}})
		if err != nil {
			return err
		}
		b.styles = append(b.styles, style)
	}
	if b.stream, err = b.file.NewStreamWriter(sheet); err != nil {
		return err
	}
	for i, c := range b.beside.cells {
		if err := b.stream.SetColWidth(i+1, i+1, width(c)); err != nil {
			return err
		}
	}
	if err := b.stream.SetPanes(&excelize.Panes{Freeze: true, YSplit: 1, TopLeftCell: "A2", ActivePane: "bottomLeft"}); err != nil {
		return err
	}
	head, err := b.file.NewStyle(&excelize.Style{Font: &excelize.Font{Bold: true}, Alignment: &excelize.Alignment{WrapText: true, Vertical: "top"}})
	if err != nil {
		return err
	}
	titles := make([]any, len(b.beside.cells))
	for i, c := range b.beside.cells {
		titles[i] = excelize.Cell{StyleID: head, Value: clean(c.head())}
	}
	return b.stream.SetRow("A1", titles)
}

// numberFormat is the format of a column's cells; ids and texts are text even when somebody edits them.
func numberFormat(c Column) *string {
	form := "@"
	switch c.Kind {
	case Number:
		form = "0"
		if c.Decimals > 0 {
			form += "." + strings.Repeat("0", c.Decimals)
		}
	case Date:
		form = "yyyy-mm-dd"
	case Time:
		form = "yyyy-mm-dd hh:mm:ss"
	case Text, ID:
	}
	return &form
}

func width(c Column) float64 {
	const narrow, wide = 11, 30
	switch c.Kind {
	case Time:
		return 19
	case Text, ID:
		return min(wide, max(narrow, float64(utf8.RuneCountInString(c.head()))))
	case Number, Date:
	}
	return narrow
}

// Row writes a row.
func (b *workbook) Row(values []Value) error {
	if b.broken != nil {
		return b.broken
	}
	b.broken = b.write(values)
	return b.broken
}

func (b *workbook) write(values []Value) error {
	if b.beside.rows >= MaxSheetRows {
		return fmt.Errorf("%w: more than %d rows; choose fewer, or CSV", ErrTooLong, MaxSheetRows)
	}
	row, err := b.t.spread(b.beside.row, values)
	if err != nil {
		return err
	}
	b.beside.row = row
	if err := b.beside.write(row); err != nil {
		return err
	}
	b.row = b.row[:0]
	for i, v := range row {
		cell, err := b.cell(i, v)
		if err != nil {
			return err
		}
		b.row = append(b.row, cell)
	}
	return b.stream.SetRow("A"+strconv.Itoa(b.beside.rows+1), b.row)
}

func (b *workbook) cell(i int, v Value) (any, error) {
	if !v.there {
		return nil, nil
	}
	c := b.beside.cells[i]
	cell := excelize.Cell{StyleID: b.styles[i]}
	switch v.kind {
	case Number:
		digits, err := strconv.ParseFloat(string(c.appendNumber(nil, v.number)), 64)
		if err != nil {
			return nil, fmt.Errorf("column %q: %w", c.Name, err)
		}
		cell.Value = digits
	case Date:
		cell.Value = moment(v.time, time.DateOnly, midnight(v.time))
	case Time:
		local := v.time.In(b.t.zone())
		cell.Value = moment(local, time.DateTime, local)
	case Text, ID:
		text := clean(v.text)
		if len(text) > maxCell && len(utf16.Encode([]rune(text))) > maxCell {
			return nil, fmt.Errorf("%w: column %q, a text of %d bytes", ErrTooLong, c.Name, len(text))
		}
		cell.Value = text
	}
	return cell, nil
}

func midnight(t time.Time) time.Time {
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, t.Location())
}

// moment is the number of days since the epoch of workbooks by the clock of t's own zone. Their calendar has a 29 February 1900
// that never was (ECMA-376 part 1, 18.17.4.1), so that earlier days are given as text.
func moment(t time.Time, layout string, at time.Time) any {
	clock := time.Date(at.Year(), at.Month(), at.Day(), at.Hour(), at.Minute(), at.Second(), 0, time.UTC)
	if clock.Before(time.Date(1900, time.March, 1, 0, 0, 0, 0, time.UTC)) {
		return t.Format(layout)
	}
	seconds := clock.Unix() - time.Date(1899, time.December, 30, 0, 0, 0, 0, time.UTC).Unix()
	// Numbers are written with 15 digits, 9 millionths of a second here; so much more keeps what programs cut off behind the
	// seconds from being 59.99 of the minute before.
	const day, more = 86_400, 1e-5
	if seconds%day == 0 {
		return float64(seconds / day)
	}
	return float64(seconds/day) + (float64(seconds%day)+more)/day
}

// Close adds the other sheets and writes the file.
func (b *workbook) Close() error {
	err := b.broken
	if err == nil {
		err = b.end()
	}
	if err = errors.Join(err, b.file.Close()); err != nil {
		return fmt.Errorf("end workbook %s: %w", b.t.Name, err)
	}
	return nil
}

func (b *workbook) end() error {
	last, err := excelize.CoordinatesToCellName(len(b.beside.cells), max(b.beside.rows, 1)+1)
	if err != nil {
		return err
	}
	if err := b.stream.AddTable(&excelize.Table{Range: "A1:" + last, Name: b.t.Name, StyleName: "TableStyleLight1"}); err != nil {
		return err
	}
	if err := b.stream.Flush(); err != nil {
		return err
	}
	if err := b.dictionary(); err != nil {
		return err
	}
	if err := b.provenance(); err != nil {
		return err
	}
	return b.file.Write(b.w)
}

// Digest is of the rows so far.
func (b *workbook) Digest() Digest { return b.beside.Digest() }
