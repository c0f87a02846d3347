package paperpdf

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"unicode"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/text/unicode/bidi"
	"golang.org/x/text/unicode/norm"
)

// ErrUndrawable marks a text with a letter that the fonts cannot draw; the error names the letter and holds nothing else of the
// text.
var ErrUndrawable = errors.New("the fonts of papers cannot draw it")

const family = "paper"

// fonts are the parsed fonts, to ask which letters they have.
var fonts = sync.OnceValue(func() []*sfnt.Font {
	var all []*sfnt.Font
	for _, raw := range [][]byte{liberationsansregular.TTF, liberationsansbold.TTF} {
		f, err := sfnt.Parse(raw)
		if err != nil {
			panic("paperpdf: embedded font: " + err.Error()) // a broken build, seen by the first test
		}
		all = append(all, f)
	}
	return all
})

// Drawable returns ErrUndrawable for a text with a letter that the fonts lack, that wants writing from right to left, or that
// stands on another letter in a way that they cannot set.
func Drawable(text string) error {
	var buffer sfnt.Buffer
	for _, r := range composed(text) {
		if r == '\n' {
			continue
		}
		var why string
		class, _ := bidi.LookupRune(r)
		switch {
		case r == unicode.ReplacementChar:
			why = "stands for bytes that are no text"
		case unicode.IsControl(r):
			why = "is a control character"
		case class.Class() == bidi.R || class.Class() == bidi.AL:
			why = "is written from right to left"
		case unicode.Is(unicode.M, r):
			why = "is a mark on another letter"
		case r > 0xFFFF || !has(&buffer, r):
			why = "is in none of the fonts"
		}
		if why != "" {
			return fmt.Errorf("%w: U+%04X %q %s", ErrUndrawable, r, r, why)
		}
	}
	return nil
}

func has(buffer *sfnt.Buffer, r rune) bool {
	for _, f := range fonts() {
		if i, err := f.GlyphIndex(buffer, r); err != nil || i == 0 {
			return false
		}
	}
	return true
}

// composed joins letters with their marks where there is one letter for both.
func composed(text string) string { return norm.NFC.String(text) }

// pageOf fills the words for the number of a page.
func pageOf(words string, page, pages int) string {
	return strings.NewReplacer("{page}", strconv.Itoa(page), "{pages}", strconv.Itoa(pages)).Replace(words)
}
