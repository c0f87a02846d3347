package fhir

import (
	"math"
	"strconv"
)

// Decimal is a number as it is printed: FHIR keeps the digits of a decimal.
type Decimal string

// MarshalJSON writes the number.
func (d Decimal) MarshalJSON() ([]byte, error) { return []byte(d), nil }

// UnmarshalJSON reads a number.
func (d *Decimal) UnmarshalJSON(b []byte) error {
	*d = Decimal(b)
	return nil
}

// digits are how many significant digits of a reported number are told. A float64 holds 15.95 of them; a value that was
// changed to another unit and back and added over two planes has lost less than the sixteenth.
const digits = 14

// reported prints a number that equipment reported: the digits that it wrote, without what binary numbers add to them, and
// without an exponent. It is false for what is no number.
func reported(v float64) (Decimal, bool) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "", false
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', digits-1, 64), 64)
	if err != nil {
		return "", false
	}
	return Decimal(strconv.FormatFloat(rounded, 'f', -1, 64)), true
}
