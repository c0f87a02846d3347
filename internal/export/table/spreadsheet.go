package table

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"time"
)

// Locale is how the spreadsheet programs of a country read CSV.
type Locale struct {
	// Separator parts fields, Decimal is the decimal sign.
	Separator, Decimal byte
	// Declared begins the file with a line sep=;, which some programs understand and others show.
	Declared bool
}

// LocaleOf gives the locale of a language: de has semicolon and decimal comma, every other comma and point.
func LocaleOf(language string) Locale {
	if language == "de" {
		return Locale{Separator: ';', Decimal: ','}
	}
	return Locale{Separator: ',', Decimal: '.'}
}

// spreadsheet writes CSV that a spreadsheet program opens as it is meant: a byte-order mark, lines ended by CR LF, titles in
// the first line, dates as 2006-01-02, times in the table's zone, texts guarded.
type spreadsheet struct {
	t      Table
	locale Locale
	out    *bufio.Writer
	beside *machine // the machine's form, for its digest
	line   []byte
}

func openSpreadsheet(w io.Writer, t Table, l Locale) (*spreadsheet, error) {
	if (l.Separator != ',' && l.Separator != ';' && l.Separator != '\t') || (l.Decimal != '.' && l.Decimal != ',') || l.Separator == l.Decimal {
		return nil, fmt.Errorf("%w: separator %q with decimal sign %q", ErrInvalid, l.Separator, l.Decimal)
	}
	beside, err := openMachine(io.Discard, t)
	if err != nil {
		return nil, err
	}
	s := &spreadsheet{t: t, locale: l, out: bufio.NewWriterSize(w, 1<<16), beside: beside}
	s.line = append(s.line, "\uFEFF"...)
	if l.Declared {
		s.line = append(s.line, "sep="...)
		s.line = append(s.line, l.Separator, '\r', '\n')
	}
	for i, c := range beside.cells {
		if i > 0 {
			s.line = append(s.line, l.Separator)
		}
		s.line = appendField(s.line, Guarded(clean(c.head())), l.Separator)
	}
	_, err = s.out.Write(append(s.line, "\r\n"...))
	return s, err
}

// Row writes a row.
func (s *spreadsheet) Row(values []Value) error {
	row, err := s.t.spread(s.beside.row, values)
	if err != nil {
		return err
	}
	s.beside.row = row
	if err := s.beside.write(row); err != nil {
		return err
	}
	s.line = s.line[:0]
	for i, v := range row {
		if i > 0 {
			s.line = append(s.line, s.locale.Separator)
		}
		if !v.there {
			continue
		}
		switch v.kind {
		case Number:
			from := len(s.line)
			s.line = s.beside.cells[i].appendNumber(s.line, v.number)
			if at := bytes.IndexByte(s.line[from:], '.'); at >= 0 {
				s.line[from+at] = s.locale.Decimal
			}
		case Date:
			s.line = v.time.AppendFormat(s.line, time.DateOnly)
		case Time:
			s.line = v.time.In(s.t.zone()).AppendFormat(s.line, time.DateTime)
		case Text, ID:
			s.line = appendField(s.line, Guarded(clean(v.text)), s.locale.Separator)
		}
	}
	_, err = s.out.Write(append(s.line, "\r\n"...))
	return err
}

// Close writes what is left.
func (s *spreadsheet) Close() error { return s.out.Flush() }

// Digest is of the rows so far.
func (s *spreadsheet) Digest() Digest { return s.beside.Digest() }
