package main

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf16"
	"unicode/utf8"
)

// longest is how many characters of one piece of text a line shows; a report may hold texts of any length.
const longest = 400

// plain makes text of a report or a file name safe for a terminal: control and format characters, which could move the
// cursor, change colours or turn the order of letters around, become U+FFFD, and very long text is cut.
func plain(text string) string {
	clean := strings.Map(func(r rune) rune {
		if unprintable(r) {
			return utf8.RuneError
		}
		return r
	}, text)
	if utf8.RuneCountInString(clean) <= longest {
		return clean
	}
	return string([]rune(clean)[:longest]) + "..."
}

func unprintable(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029'
}

// plainArgs makes every text among the arguments of a line plain.
func plainArgs(args []any) []any {
	clean := make([]any, len(args))
	for i, arg := range args {
		switch v := arg.(type) {
		case string:
			clean[i] = plain(v)
		case error:
			clean[i] = plain(v.Error())
		case fmt.Stringer:
			clean[i] = plain(v.String())
		default:
			clean[i] = v
		}
	}
	return clean
}

// escapeJSON writes what a terminal could take for a command as an escape of JSON: the same text to a reader of JSON.
// encoding/json does so below U+0020 alone. Outside its strings JSON has no such character.
func escapeJSON(text []byte) []byte {
	var out strings.Builder
	for _, r := range string(text) {
		switch {
		case r == '\n' || !unprintable(r):
			out.WriteRune(r)
		case r > 0xffff:
			high, low := utf16.EncodeRune(r)
			fmt.Fprintf(&out, `\u%04x\u%04x`, high, low)
		default:
			fmt.Fprintf(&out, `\u%04x`, r)
		}
	}
	return []byte(out.String())
}
