package table

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"afterbeam/internal/quantity"
)

// Value is one cell. The zero Value is absent without a reason.
type Value struct {
	there  bool
	kind   Kind
	text   string // or the reason of what is absent
	number float64
	time   time.Time
}

// TextOf is a text, also for a column of ids.
func TextOf(text string) Value { return Value{there: true, kind: Text, text: text} }

// NumberOf is a number in the unit of its column.
func NumberOf(v float64) Value { return Value{there: true, kind: Number, number: v} }

// DateOf is the day of t in t's own zone.
func DateOf(t time.Time) Value { return Value{there: true, kind: Date, time: t} }

// TimeOf is a moment.
func TimeOf(t time.Time) Value { return Value{there: true, kind: Time, time: t} }

// Absent is a value that is not there, with the reason.
func Absent(reason string) Value { return Value{text: reason} }

// OptNumber is a number, or absent with the reason.
func OptNumber[T ~float64](v quantity.Opt[T], reason string) Value {
	if got, ok := v.Get(); ok {
		return NumberOf(float64(got))
	}
	return Absent(reason)
}

// fits returns ErrInvalid for a value that is not of the column's kind.
func (v Value) fits(c Column) error {
	switch {
	case !v.there:
		if v.text != "" && !c.Reasoned {
			return fmt.Errorf("%w: column %q has no place for a reason", ErrInvalid, c.Name)
		}
	case v.kind != c.Kind && (v.kind != Text || c.Kind != ID):
		return fmt.Errorf("%w: column %q wants %s, not %s", ErrInvalid, c.Name, c.Kind, v.kind)
	case v.kind == Number && (math.IsNaN(v.number) || math.IsInf(v.number, 0)):
		return fmt.Errorf("%w: column %q wants a number, not %v", ErrInvalid, c.Name, v.number)
	case (v.kind == Date || v.kind == Time) && (v.time.Year() < 1 || v.time.Year() > 9999):
		return fmt.Errorf("%w: column %q wants a year of four digits", ErrInvalid, c.Name)
	}
	return nil
}

// appendNumber appends the digits of a number with a decimal point.
func (c Column) appendNumber(to []byte, v float64) []byte {
	return append(to, quantity.Fixed(v, c.Decimals)...)
}

// clean makes a text what every file can hold: lines end with a line feed, and bytes that are no text and control characters are
// the replacement character.
func clean(text string) string {
	if plain(text) {
		return text
	}
	text = strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(strings.ToValidUTF8(text, string(utf8.RuneError)))
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n', r == '\t':
			return r
		case unicode.IsControl(r), r == 0xFFFE, r == 0xFFFF: // the last two are no characters of XML 1.0 (W3C 2008, 2.2)
			return utf8.RuneError
		}
		return r
	}, text)
}

// plain tells quickly that a text is printable ASCII.
func plain(text string) bool {
	for i := range len(text) {
		if text[i] < ' ' || text[i] > '~' {
			return false
		}
	}
	return true
}
