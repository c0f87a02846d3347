package beam_test

import (
	"encoding/csv"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

// row is one line of a table of published figures, by column name.
type row struct {
	t      testing.TB
	fields map[string]string
}

// published reads a table of testdata; its notes say where the figures come from.
func published(t testing.TB, name string) []row {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close() //nolint:errcheck // opened for reading
	r := csv.NewReader(f)
	r.Comment = '#'
	lines, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(lines), 1, "%s is empty", name)
	rows := make([]row, len(lines)-1)
	for i, line := range lines[1:] {
		rows[i] = row{t: t, fields: make(map[string]string, len(line))}
		for j, column := range lines[0] {
			rows[i].fields[column] = line[j]
		}
	}
	return rows
}

func (r row) text(column string) string {
	r.t.Helper()
	require.Contains(r.t, r.fields, column)
	return r.fields[column]
}

func (r row) number(column string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.text(column), 64)
	require.NoError(r.t, err)
	return v
}

func (r row) centimetres(column string) quantity.Millimetre {
	return quantity.Millimetre(r.number(column)) * quantity.Centimetre
}

func newBeam(t testing.TB, kv, aluminium, copper float64) *beam.Beam {
	t.Helper()
	b, err := beam.New(beam.Quality{
		Voltage:   quantity.Kilovolt(kv),
		Aluminium: quantity.Millimetre(aluminium),
		Copper:    quantity.Millimetre(copper),
	})
	require.NoError(t, err)
	return b
}

// tuned finds the beam of the given half-value layer (mm Al) by its aluminium.
func tuned(t testing.TB, kv, hvl float64) *beam.Beam {
	t.Helper()
	low, high := float64(beam.TubeAluminium), 40.0
	require.Less(t, float64(newBeam(t, kv, low, 0).HVL()), hvl, "%v kV cannot be as soft as %v mm Al", kv, hvl)
	for range 50 {
		middle := (low + high) / 2
		if float64(newBeam(t, kv, middle, 0).HVL()) < hvl {
			low = middle
		} else {
			high = middle
		}
	}
	return newBeam(t, kv, low, 0)
}

func aluminium(mm float64) []beam.Layer {
	return []beam.Layer{beam.Sheet(beam.AluminiumMat, quantity.Millimetre(mm))}
}

func copper(mm float64) []beam.Layer {
	return []beam.Layer{beam.Sheet(beam.CopperMat, quantity.Millimetre(mm))}
}
