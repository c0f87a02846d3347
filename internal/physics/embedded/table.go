// Package embedded reads the tables of numbers that are part of the program.
package embedded

import (
	"encoding/csv"
	"fmt"
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
