package wording

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Language holds the texts of one language.
type Language struct {
	tag, name            string
	decimal, date, clock string
	texts                map[string]string
}

// Tag gives the language's tag, for HTML's lang.
func (l Language) Tag() string { return l.tag }

// Name gives the language's name in its own words.
func (l Language) Name() string { return l.name }

// Keys lists the keys of all texts in order.
func (l Language) Keys() []string { return slices.Sorted(maps.Keys(l.texts)) }

// Has tells whether there is a text of this key.
func (l Language) Has(key string) bool {
	_, ok := l.texts[key]
	return ok
}

// Text gives the text of a key with its placeholders filled: Text("case.of", "room", "Hybrid 1", "n", 3) fills {room} and
// {n}. Values stand as they are: a number with decimals goes through Number first. A key that there is not stands in square
// brackets, a placeholder without a value stays, so that either is seen and nothing fails for it.
func (l Language) Text(key string, pairs ...any) string {
	text, ok := l.texts[key]
	if !ok {
		return "[" + key + "]"
	}
	if len(pairs) < 2 {
		return text
	}
	replace := make([]string, 0, len(pairs))
	for i := 0; i+1 < len(pairs); i += 2 {
		replace = append(replace, "{"+fmt.Sprint(pairs[i])+"}", fmt.Sprint(pairs[i+1]))
	}
	return strings.NewReplacer(replace...).Replace(text)
}

// Count gives key.one for one and key.many for every other number, with {n} filled. Languages of more forms than that want a
// text that avoids them.
func (l Language) Count(key string, n int, pairs ...any) string {
	form := ".many"
	if n == 1 {
		form = ".one"
	}
	return l.Text(key+form, append([]any{"n", n}, pairs...)...)
}

// Number writes v with so many decimals, rounded half to even on its binary value.
func (l Language) Number(v float64, decimals int) string {
	return l.Figure(strconv.FormatFloat(v, 'f', decimals, 64))
}

// Figure gives a number that was printed with a decimal point the language's decimal sign. It changes the first point
// between digits alone, so that a unit behind it stays: "2.99 Gy" is "2,99 Gy" in German.
func (l Language) Figure(printed string) string {
	for i := 1; i+1 < len(printed); i++ {
		if printed[i] == '.' && digit(printed[i-1]) && digit(printed[i+1]) {
			return printed[:i] + l.decimal + printed[i+1:]
		}
	}
	return printed
}

// Date writes the day of t in t's own zone.
func (l Language) Date(t time.Time) string { return t.Format(l.date) }

// Clock writes the time of day of t in t's own zone.
func (l Language) Clock(t time.Time) string { return t.Format(l.clock) }

// Moment writes day and time of t in t's own zone.
func (l Language) Moment(t time.Time) string { return t.Format(l.date + " " + l.clock) }

func digit(c byte) bool { return '0' <= c && c <= '9' }
