// Package embedded reads the tables that are part of the program, and a site's own that replace them.
//
// A table is CSV: notes that begin with #, a line of column names, rows.
package embedded

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Records reads an embedded table without its notes and column names. The tables are part of the build: a broken one is
// a defect of the program, so it panics.
func Records(table string) [][]string {
	r := csv.NewReader(strings.NewReader(table))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(fmt.Sprintf("embedded table of %d rows: %v", len(rows), err))
	}
	return rows[1:]
}

// Numbers reads a line of numbers.
func Numbers(row []string) []float64 {
	v := make([]float64, len(row))
	for i, field := range row {
		n, err := strconv.ParseFloat(field, 64)
		if err != nil {
			panic(fmt.Sprintf("embedded table: %v", err))
		}
		v[i] = n
	}
	return v
}

// Must gives what was made of an embedded table; an error is a defect of the program, so it panics.
func Must[T any](made T, err error) T {
	if err != nil {
		panic(fmt.Sprintf("embedded table: %v", err))
	}
	return made
}

// Each hands the rows of a table that a site may have written to a function, with their lines. The columns must be those
// named, joined by commas. Its errors, and those of the function, name the line.
func Each(table io.Reader, columns string, row func(line int, fields []string) error) error {
	r := csv.NewReader(table)
	r.Comment = '#'
	r.FieldsPerRecord = strings.Count(columns, ",") + 1
	header, err := r.Read()
	if err != nil {
		return fmt.Errorf("no header line: %w", err)
	}
	if got := strings.Join(header, ","); got != columns {
		return fmt.Errorf("line 1 wants the columns %s, got %s", columns, got)
	}
	for {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		line, _ := r.FieldPos(0)
		if err := row(line, fields); err != nil {
			return fmt.Errorf("line %d: %w", line, err)
		}
	}
}
