package wording

import (
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// ErrInvalid marks language files that cannot be used.
var ErrInvalid = errors.New("invalid wording")

// Base is the language that every other one is compared with, and the one a reader gets who wants none of them.
const Base = "en"

// localeTable is the table of a file that says how figures are written.
const localeTable = "locale"

// Book holds the same texts in several languages.
type Book struct{ languages map[string]Language }

// Embedded loads the folder language of files that are part of the program. It panics where they cannot be used: such a build is
// broken, and its first test sees that.
func Embedded(files fs.FS) Book {
	folder, err := fs.Sub(files, "language")
	if err == nil {
		var b Book
		if b, err = Load(folder); err == nil {
			return b
		}
	}
	panic("wording: embedded languages: " + err.Error())
}

// Load reads every file *.toml of a folder. What stands before the ending, after the last point in it, is the language's
// tag (BCP 47): en.toml and case.en.toml are both English, and several files of a language are one. Tables inside tables make
// keys with dots. The table locale, one a language, wants name, the language in its own words, decimal, the decimal sign, and
// date and clock, layouts of package time. A language that lacks a key or placeholder of English, or has one more, is
// ErrInvalid with the language and the key.
func Load(folder fs.FS) (Book, error) {
	names, err := fs.Glob(folder, "*.toml")
	if err != nil {
		return Book{}, fmt.Errorf("language files: %w", err)
	}
	b := Book{languages: map[string]Language{}}
	texts := map[string]map[string]string{}
	for _, name := range names {
		if err := read(texts, folder, name); err != nil {
			return Book{}, err
		}
	}
	for tag, all := range texts {
		if b.languages[tag], err = locale(tag, all); err != nil {
			return Book{}, err
		}
	}
	if _, ok := b.languages[Base]; !ok {
		return Book{}, fmt.Errorf("%w: no file of the language %s", ErrInvalid, Base)
	}
	for _, tag := range b.Tags()[1:] {
		if err := alike(b.languages[Base], b.languages[tag]); err != nil {
			return Book{}, err
		}
	}
	return b, nil
}

// Tags lists the languages, the base first, then by their tags.
func (b Book) Tags() []string {
	others := slices.DeleteFunc(slices.Sorted(maps.Keys(b.languages)), func(tag string) bool { return tag == Base })
	return append([]string{Base}, others...)
}

// In gives a language, the base where there is no such one.
func (b Book) In(tag string) Language {
	if l, ok := b.languages[tag]; ok {
		return l
	}
	return b.languages[Base]
}

// Has tells whether there is such a language.
func (b Book) Has(tag string) bool {
	_, ok := b.languages[tag]
	return ok
}

// Prefer chooses by an Accept-Language header (RFC 9110, 12.5.4): the language with the greatest weight that there is, a
// region's by its language; of equal weights the earlier; the base for none.
func (b Book) Prefer(header string) string {
	best, weight := Base, 0.0
	for part := range strings.SplitSeq(header, ",") {
		name, rest, _ := strings.Cut(strings.TrimSpace(part), ";")
		tag, _, _ := strings.Cut(strings.ToLower(strings.TrimSpace(name)), "-")
		q := 1.0
		if text, ok := strings.CutPrefix(strings.TrimSpace(rest), "q="); ok {
			var err error
			if q, err = strconv.ParseFloat(text, 64); err != nil {
				continue
			}
		}
		if b.Has(tag) && q > weight {
			best, weight = tag, q
		}
	}
	return best
}

func read(into map[string]map[string]string, folder fs.FS, name string) error {
	raw, err := fs.ReadFile(folder, name)
	if err != nil {
		return fmt.Errorf("language file: %w", err)
	}
	var tree map[string]any
	if err := toml.Unmarshal(raw, &tree); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrInvalid, name, err)
	}
	tag := strings.TrimSuffix(name, ".toml")
	tag = tag[strings.LastIndex(tag, ".")+1:]
	if into[tag] == nil {
		into[tag] = map[string]string{}
	}
	if err := flatten(into[tag], "", tree); err != nil {
		return fmt.Errorf("%w: %s: %w", ErrInvalid, name, err)
	}
	return nil
}

func locale(tag string, texts map[string]string) (Language, error) {
	l := Language{tag: tag, texts: texts}
	for key, to := range map[string]*string{"name": &l.name, "decimal": &l.decimal, "date": &l.date, "clock": &l.clock} {
		if *to = texts[localeTable+"."+key]; *to == "" {
			return Language{}, fmt.Errorf("%w: language %s has no %s.%s", ErrInvalid, tag, localeTable, key)
		}
	}
	return l, nil
}

func flatten(into map[string]string, prefix string, tree map[string]any) error {
	for key, value := range tree {
		switch v := value.(type) {
		case string:
			if _, ok := into[prefix+key]; ok {
				return fmt.Errorf("%s%s stands in another file too", prefix, key)
			}
			into[prefix+key] = v
		case map[string]any:
			if err := flatten(into, prefix+key+".", v); err != nil {
				return err
			}
		default:
			return fmt.Errorf("%s%s is %T, not a text", prefix, key, value)
		}
	}
	return nil
}

// alike compares a language with the base, locale apart.
func alike(base, other Language) error {
	for _, key := range slices.Sorted(maps.Keys(base.texts)) {
		text, ok := other.texts[key]
		switch {
		case !ok:
			return fmt.Errorf("%w: %s lacks %s", ErrInvalid, other.tag, key)
		case strings.HasPrefix(key, localeTable+"."):
		case !slices.Equal(placeholders(base.texts[key]), placeholders(text)):
			return fmt.Errorf("%w: %s: %s has placeholders %v, %s has %v", ErrInvalid, other.tag, key, placeholders(text), base.tag, placeholders(base.texts[key]))
		}
	}
	for _, key := range slices.Sorted(maps.Keys(other.texts)) {
		if _, ok := base.texts[key]; !ok {
			return fmt.Errorf("%w: %s has %s, which %s lacks", ErrInvalid, other.tag, key, base.tag)
		}
	}
	return nil
}

var placeholder = regexp.MustCompile(`\{[a-z][a-z0-9_]*\}`)

func placeholders(text string) []string {
	found := placeholder.FindAllString(text, -1)
	slices.Sort(found)
	return slices.Compact(found)
}
