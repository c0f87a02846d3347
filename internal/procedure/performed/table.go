package performed

import (
	"bufio"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// ErrTable marks a table that cannot be read at all; the text says what was expected and repeats nothing of the table.
var ErrTable = errors.New("table of performed procedures not usable")

// ErrLine marks one line that is left out; the text names line and column and says what was expected there.
var ErrLine = errors.New("line left out")

// The limits of a table.
const (
	LongestLine = 64 << 10
	MostLines   = 1_000_000
)

// Encoding is how the bytes of a table stand for text.
type Encoding string

// The encodings that can be declared.
const (
	UTF8   Encoding = "utf-8"
	Latin1 Encoding = "iso-8859-1"
)

// EncodingOf reads the usual names of the encodings; "" is UTF-8. Another is ErrTable.
func EncodingOf(name string) (Encoding, error) {
	switch strings.ToLower(strings.TrimSpace(name)) {
	case "", "utf-8", "utf8", "us-ascii":
		return UTF8, nil
	case "iso-8859-1", "latin-1", "latin1":
		return Latin1, nil
	}
	return "", fmt.Errorf("%w: the encoding wants to be utf-8 or iso-8859-1", ErrTable)
}

// Options say how a table is read.
type Options struct {
	Encoding Encoding
	// Site places times without an offset; nil is UTC.
	Site *time.Location
	// KnownClass tells whether there is such a procedure class.
	KnownClass func(string) bool
}

// Row is one line of a table: a step, or the reason why it is left out (ErrLine).
type Row struct {
	Line int // 1 is the head
	Step Step
	Err  error
}

// Table is a table whose head was read.
type Table struct {
	// Ignored are the numbers, from 1, of columns whose names are not known here.
	Ignored []int

	lines     *lines
	opt       Options
	separator rune
	columns   []column
	place     []int // of each known column in the line
}

// Read reads the head of a table. The head names the columns, see Columns, in any order, separated by commas, semicolons or
// tabs. It wants start and one of study_uid, accession_number and patient_id.
func Read(r io.Reader, opt Options) (*Table, error) {
	if opt.Site == nil {
		opt.Site = time.UTC
	}
	t := &Table{lines: newLines(r), opt: opt}
	head, err := t.lines.next()
	if err != nil {
		return nil, fmt.Errorf("%w: a first line with the names of the columns expected: %w", ErrTable, err)
	}
	text, err := decode(head, opt.Encoding)
	if err != nil {
		return nil, fmt.Errorf("%w: line 1: %w", ErrTable, err)
	}
	text = strings.TrimPrefix(text, "\ufeff")
	t.separator = separatorOf(text)
	names, err := t.split(text)
	if err != nil {
		return nil, fmt.Errorf("%w: line 1: %w", ErrTable, err)
	}
	return t, t.head(names)
}

// head finds the known columns.
func (t *Table) head(names []string) error {
	for i, name := range names {
		name = strings.ToLower(strings.TrimSpace(name))
		at := slices.IndexFunc(Columns(), func(c Column) bool { return c.Name == name })
		if at < 0 {
			t.Ignored = append(t.Ignored, i+1)
			continue
		}
		known := columns()[at]
		if slices.ContainsFunc(t.columns, func(c column) bool { return c.Name == known.Name }) {
			return fmt.Errorf("%w: two columns are named %s", ErrTable, known.Name)
		}
		t.columns, t.place = append(t.columns, known), append(t.place, i)
	}
	has := func(names ...string) bool {
		return slices.ContainsFunc(t.columns, func(c column) bool { return slices.Contains(names, c.Name) })
	}
	if !has("start") || !has("study_uid", "accession_number", "patient_id") {
		return fmt.Errorf("%w: the first line wants the names of columns, among them start and one of study_uid, accession_number and patient_id", ErrTable)
	}
	return nil
}

// separatorOf gives what separates the columns: the one of comma, semicolon and tab that the head has most often.
func separatorOf(head string) rune {
	best, most := ',', -1
	for _, one := range []rune{',', ';', '\t'} {
		if n := strings.Count(head, string(one)); n > most {
			best, most = one, n
		}
	}
	return best
}

// Rows gives every line after the head; empty ones are passed over. A second line of one step in the same table is left
// out, unless it says the same: which of two holds is not for a program to guess. An error that ends the reading is the
// second value.
func (t *Table) Rows() iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		seen := map[[sha256.Size]byte]told{}
		for {
			raw, err := t.lines.next()
			row := Row{Line: t.lines.number}
			switch {
			case errors.Is(err, io.EOF):
				return
			case errors.Is(err, errLong):
				row.Err = t.refuse(row.Line, "line", err.Error())
			case err != nil:
				yield(row, fmt.Errorf("read table: %w", err))
				return
			case row.Line > MostLines:
				yield(row, fmt.Errorf("%w: over %d lines", ErrTable, MostLines))
				return
			case len(strings.TrimSpace(string(raw))) == 0:
				continue
			default:
				row.Step, row.Err = t.step(raw, row.Line)
			}
			if row.Err == nil {
				key, words := sha256.Sum256([]byte(row.Step.Key)), sha256.Sum256(fmt.Appendf(nil, "%+v", row.Step))
				if before, again := seen[key]; again && before.words != words {
					row.Err = t.refuse(row.Line, "line", fmt.Sprintf("it names the procedure of line %d and says something else; expected one line a procedure, or a step_id in each", before.line))
				} else if !again {
					seen[key] = told{row.Line, words}
				}
			}
			if !yield(row, nil) {
				return
			}
		}
	}
}

// told is what a line said, by its digest: a million lines are remembered in little memory.
type told struct {
	line  int
	words [sha256.Size]byte
}

func (t *Table) refuse(line int, column, why string) error {
	return fmt.Errorf("%w: line %d, %s: %s", ErrLine, line, column, why)
}

// step reads one line.
func (t *Table) step(raw []byte, line int) (Step, error) {
	s := Step{Source: SourceCSV, State: Completed}
	text, err := decode(raw, t.opt.Encoding)
	if err != nil {
		return s, t.refuse(line, "line", err.Error())
	}
	fields, err := t.split(text)
	if err != nil {
		return s, t.refuse(line, "line", err.Error())
	}
	b := builder{step: &s, opt: t.opt}
	for i, c := range t.columns {
		if t.place[i] >= len(fields) {
			continue
		}
		value := strings.TrimSpace(fields[t.place[i]])
		if value == "" {
			continue
		}
		if why := unsafeText(fields[t.place[i]], c.longest); why != "" {
			return s, t.refuse(line, "column "+c.Name, why)
		}
		if !c.set(&b, value) {
			return s, t.refuse(line, "column "+c.Name, "expected "+c.Form)
		}
	}
	if column, why := b.finish(); why != "" {
		return s, t.refuse(line, column, why)
	}
	return s, nil
}

// split cuts a line at its separators.
func (t *Table) split(text string) ([]string, error) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.FieldsPerRecord = t.separator, -1
	fields, err := r.Read()
	if err != nil {
		return nil, errors.New("its quotation marks do not pair; expected one line a procedure, a quotation mark inside a quoted cell doubled")
	}
	return fields, nil
}

// unsafeText says what is wrong with a cell as such, "" for nothing. What a spreadsheet would run as a formula is refused
// here, so that no list made from it later can carry it on.
func unsafeText(cell string, longest int) string {
	for _, r := range cell {
		if r < ' ' || r == 0x7f {
			return "expected text without control characters"
		}
	}
	trimmed := strings.TrimSpace(cell)
	switch {
	case utf8.RuneCountInString(trimmed) > longest:
		return fmt.Sprintf("expected %d characters at most", longest)
	case strings.ContainsAny(trimmed[:1], "=@+-"):
		return "a spreadsheet would run it as a formula; expected text that does not begin with = + - or @"
	}
	return ""
}

// decode gives the text of a line.
func decode(raw []byte, encoding Encoding) (string, error) {
	if encoding == Latin1 && !strings.HasPrefix(string(raw), "\ufeff") {
		runes := make([]rune, len(raw))
		for i, b := range raw {
			runes[i] = rune(b)
		}
		return string(runes), nil
	}
	if strings.HasPrefix(string(raw), "\xff\xfe") || strings.HasPrefix(string(raw), "\xfe\xff") {
		return "", errors.New("it begins as UTF-16; expected utf-8 or iso-8859-1")
	}
	if !utf8.Valid(raw) {
		return "", errors.New("it is not UTF-8; declare iso-8859-1 if it is that")
	}
	return string(raw), nil
}

var errLong = fmt.Errorf("expected %d bytes at most", LongestLine)

// lines gives the lines of a stream one by one, whatever ends them, none longer than LongestLine.
type lines struct {
	r      *bufio.Reader
	number int
}

func newLines(r io.Reader) *lines { return &lines{r: bufio.NewReaderSize(r, LongestLine)} }

// next gives the next line without its end. One that is too long is passed over whole, with errLong.
func (l *lines) next() ([]byte, error) {
	line, err := l.r.ReadSlice('\n')
	if len(line) > 0 || err == nil {
		l.number++
	}
	switch {
	case errors.Is(err, bufio.ErrBufferFull):
		for errors.Is(err, bufio.ErrBufferFull) {
			_, err = l.r.ReadSlice('\n')
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		return nil, errLong
	case errors.Is(err, io.EOF) && len(line) > 0:
	case err != nil:
		return nil, err
	}
	return []byte(strings.TrimRight(string(line), "\r\n")), nil
}
