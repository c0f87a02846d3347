package table

import (
	"slices"
	"strings"
	"unicode"
)

// Guarded gives a text as CSV for spreadsheets has it: with an apostrophe before it where a spreadsheet program would run it as a
// formula (ASVS 5.0, V1.2.10) or take it for a number, date, time, share, amount of money or truth value. Leading zeros, long
// digits and names like 1-2 stay what they are by it.
func Guarded(text string) string {
	if formula(text) || readAsValue(text) {
		return "'" + text
	}
	return text
}

// formula tells that a program would run the text; an apostrophe of its own would be swallowed by some.
func formula(text string) bool {
	trimmed := strings.TrimLeftFunc(text, unicode.IsSpace)
	return strings.HasPrefix(text, "\t") || strings.HasPrefix(text, "\n") || strings.ContainsAny(first(trimmed), "=+-@'＝＋－＠")
}

func first(text string) string {
	for _, r := range text {
		return string(r)
	}
	return ""
}

// valueWords are the words that stand in values as programs read them in English and German: exponents, hours, months, days of the
// week, money, truth values.
var valueWords = strings.Fields(`e d t z am pm a p h min s st nd rd th
	jan january januar feb february februar mar march mär märz mrz apr april may mai jun june juni jul july juli aug august
	sep sept september oct october okt oktober nov november dec december dez dezember jän jänner
	mon tue wed thu fri sat sun mo di mi do fr sa so monday tuesday wednesday thursday friday saturday sunday
	montag dienstag mittwoch donnerstag freitag samstag sonnabend sonntag
	eur usd gbp chf dm`)

var truths = []string{"true", "false", "wahr", "falsch"}

// readAsValue tells that a text has a digit and no ordinary word, or is a truth value.
func readAsValue(text string) bool {
	low := strings.ToLower(strings.TrimSpace(text))
	if slices.Contains(truths, low) {
		return true
	}
	if !strings.ContainsFunc(low, unicode.IsDigit) {
		return false
	}
	words := strings.FieldsFunc(low, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsMark(r) })
	for _, word := range words {
		if !slices.Contains(valueWords, word) {
			return false
		}
	}
	return true
}
