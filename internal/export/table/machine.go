package table

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"hash"
	"io"
	"strings"
	"time"
)

// machine writes CSV by RFC 4180 but for the ends of lines, which are line feeds: comma, decimal point, ISO 8601 with the
// offset, names in the first line.
type machine struct {
	t     Table
	cells []Column
	out   *bufio.Writer
	sum   hash.Hash
	rows  int
	line  []byte
	row   []Value
}

func openMachine(w io.Writer, t Table) (*machine, error) {
	m := &machine{t: t, cells: t.cells(), sum: sha256.New()}
	m.out = bufio.NewWriterSize(io.MultiWriter(w, m.sum), 1<<16)
	for i, c := range m.cells {
		if i > 0 {
			m.line = append(m.line, ',')
		}
		m.line = append(m.line, c.Name...)
	}
	_, err := m.out.Write(append(m.line, '\n'))
	return m, err
}

// Row writes a row.
func (m *machine) Row(values []Value) error {
	row, err := m.t.spread(m.row, values)
	if err != nil {
		return err
	}
	m.row = row
	return m.write(row)
}

// write writes a row that was checked and spread.
func (m *machine) write(row []Value) error {
	m.line = m.line[:0]
	for i, v := range row {
		if i > 0 {
			m.line = append(m.line, ',')
		}
		if !v.there {
			continue
		}
		switch v.kind {
		case Number:
			m.line = m.cells[i].appendNumber(m.line, v.number)
		case Date:
			m.line = v.time.AppendFormat(m.line, time.DateOnly)
		case Time:
			m.line = v.time.AppendFormat(m.line, time.RFC3339)
		case Text, ID:
			m.line = appendField(m.line, clean(v.text), ',')
		}
	}
	m.rows++
	_, err := m.out.Write(append(m.line, '\n'))
	return err
}

// Close writes what is left.
func (m *machine) Close() error { return m.out.Flush() }

// Digest is of the rows so far.
func (m *machine) Digest() Digest {
	if err := m.out.Flush(); err != nil {
		return Digest{Rows: m.rows}
	}
	return Digest{Rows: m.rows, SHA256: hex.EncodeToString(m.sum.Sum(nil))}
}

// appendField appends a text, quoted where RFC 4180 part 2.6 wants it and where a reader might trim it. A text that is there but
// empty is quoted, so that it is not an absent one.
func appendField(to []byte, text string, separator byte) []byte {
	quoted := text == "" || strings.IndexByte(text, separator) >= 0 || strings.ContainsAny(text, "\"\r\n\t") ||
		text[0] == ' ' || text[len(text)-1] == ' '
	if !quoted {
		return append(to, text...)
	}
	to = append(to, '"')
	for i := range len(text) {
		if text[i] == '"' {
			to = append(to, '"')
		}
		to = append(to, text[i])
	}
	return append(to, '"')
}
