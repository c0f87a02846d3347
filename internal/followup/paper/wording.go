package paper

import (
	"embed"
	"strings"
	"sync"
	"time"

	"afterbeam/internal/quantity"
	"afterbeam/internal/wording"
)

//go:embed language/*.toml
var files embed.FS

// Languages are the languages that papers can be written in.
var Languages = sync.OnceValue(func() wording.Book { return wording.Embedded(files) })

// hard is a space that does not break a line.
const hard = "\u00a0"

// measure writes a number with its unit as it stands in running text: no break before the unit, powers and products as signs.
func (c *composer) measure(printed string) string {
	printed = strings.ReplaceAll(strings.ReplaceAll(printed, "Gy cm2", "Gy·cm²"), "cm2", "cm²")
	return strings.ReplaceAll(c.l.Figure(printed), " ", hard)
}

// day writes a local day such as 2026-09-14; what is none is left as it is.
func (c *composer) day(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return c.l.Date(t)
}

// long writes a local day in words.
func (c *composer) long(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	month := c.l.Text("month." + strings.ToLower(t.Month().String()))
	return strings.ReplaceAll(c.text("date.long", "day", t.Day(), "month", month, "year", t.Year()), " ", hard)
}

func (c *composer) text(key string, pairs ...any) string { return c.l.Text(key, pairs...) }

// dash stands for what is not known, with the reason.
func (c *composer) dash(reason string) string { return "– (" + reason + ")" }

// opt prints a value that may be absent.
func opt[T any](o quantity.Opt[T], print func(T) string, absent string) string {
	if v, ok := o.Get(); ok {
		return print(v)
	}
	return absent
}
