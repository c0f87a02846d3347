package level

import (
	"encoding/csv"
	"io"
	"strconv"
)

// Write writes a set as Parse reads it, in the units in which levels are written.
func Write(w io.Writer, s Set) error {
	out := csv.NewWriter(w)
	lines := [][]string{splitColumns(columns + ruleColumns)}
	for _, r := range s.Rows {
		unit, size := r.Quantity.Unit()
		line := []string{r.Scheme, r.Title, r.ID, r.Meaning, string(r.Quantity), "", "", unit, yes(r.On, "no"), r.Text, r.Source, r.Known}
		if r.Quantity != QuantityNone {
			line[5] = inUnit(r.Value, size)
		}
		if r.Step > 0 {
			line[6] = inUnit(r.Step, size)
		}
		rule := []string{r.Rule.Classes, "", "", yes(r.Rule.Pregnant, "")}
		if v, ok := r.Rule.AgeFrom.Get(); ok {
			rule[1] = years(v)
		}
		if v, ok := r.Rule.AgeBelow.Get(); ok {
			rule[2] = years(v)
		}
		lines = append(lines, append(line, rule...))
	}
	return out.WriteAll(lines)
}

// inUnit gives the shortest number that is read back as the same value.
func inUnit(v, size float64) string {
	for digits := 1; digits <= 17; digits++ {
		text := strconv.FormatFloat(v/size, 'g', digits, 64)
		if back, err := strconv.ParseFloat(text, 64); err == nil && back*size == v {
			return text
		}
	}
	return strconv.FormatFloat(v/size, 'g', -1, 64)
}

func yes(is bool, otherwise string) string {
	if is {
		return "yes"
	}
	return otherwise
}
