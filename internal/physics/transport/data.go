package transport

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
)

//go:embed data/coefficients.csv
var coefficientsCSV string

//go:embed data/scattering.csv
var scatteringCSV string

//go:embed data/regions.csv
var regionsCSV string

//go:embed data/quadrics.csv
var quadricsCSV string

// records reads an embedded table without its notes and column names. The tables are part of the build: a broken one is
// a defect of the program, so it panics.
func records(table string) [][]string {
	r := csv.NewReader(strings.NewReader(table))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 2 {
		panic(fmt.Sprintf("transport: embedded table of %d rows: %v", len(rows), err))
	}
	return rows[1:]
}

func numbers(row []string) []float64 {
	v := make([]float64, len(row))
	for i, field := range row {
		n, err := strconv.ParseFloat(field, 64)
		if err != nil {
			panic(fmt.Sprintf("transport: embedded table: %v", err))
		}
		v[i] = n
	}
	return v
}
