package wording_test

import (
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/wording"
)

const (
	english = "[locale]\nname = \"English\"\ndecimal = \".\"\ndate = \"2006-01-02\"\nclock = \"15:04\"\n"
	german  = "[locale]\nname = \"Deutsch\"\ndecimal = \",\"\ndate = \"02.01.2006\"\nclock = \"15:04\"\n"
)

func folder(texts ...string) fstest.MapFS {
	f := fstest.MapFS{}
	for i := 0; i+1 < len(texts); i += 2 {
		f[texts[i]] = &fstest.MapFile{Data: []byte(texts[i+1])}
	}
	return f
}

func TestTexts(t *testing.T) {
	b, err := wording.Load(folder(
		"en.toml", english+"[case]\ntitle = \"Case in {room}\"\n[case.found]\none = \"{n} case\"\nmany = \"{n} cases\"\n",
		"case.de.toml", "[case]\ntitle = \"Fall in {room}\"\n[case.found]\none = \"{n} Fall\"\nmany = \"{n} Fälle\"\n", "de.toml", german))
	require.NoError(t, err)
	assert.Equal(t, []string{"en", "de"}, b.Tags())
	de := b.In("de")
	assert.Equal(t, "de", de.Tag())
	assert.Equal(t, "Deutsch", de.Name())
	assert.Equal(t, "Fall in Hybrid 1", de.Text("case.title", "room", "Hybrid 1"))
	assert.Equal(t, "Fall in {n}", de.Text("case.title", "room", "{n}", "n", 2), "a value is no template")
	assert.Equal(t, "Fall in {room}", de.Text("case.title"))
	assert.Equal(t, "[case.none]", de.Text("case.none"))
	assert.Equal(t, "1 Fall", de.Count("case.found", 1))
	assert.Equal(t, "0 Fälle", de.Count("case.found", 0))
	assert.Equal(t, "English", b.In("fr").Name())
	assert.True(t, de.Has("case.title"))
	assert.Contains(t, de.Keys(), "case.found.one")
}

func TestFigures(t *testing.T) {
	b, err := wording.Load(folder("en.toml", english, "de.toml", german))
	require.NoError(t, err)
	de := b.In("de")
	assert.Equal(t, "2,50", de.Number(2.5, 2))
	assert.Equal(t, "2.50", b.In("en").Number(2.5, 2))
	assert.Equal(t, "2,99 Gy", de.Figure("2.99 Gy"))
	assert.Equal(t, "-0,5", de.Figure("-0.5"))
	assert.Equal(t, "12 Gy.cm2", de.Figure("12 Gy.cm2"), "the point of a unit stays")
	at := time.Date(2026, 9, 14, 8, 5, 0, 0, time.UTC)
	assert.Equal(t, "14.09.2026", de.Date(at))
	assert.Equal(t, "08:05", de.Clock(at))
	assert.Equal(t, "2026-09-14 08:05", b.In("en").Moment(at))
}

func TestLoadRefuses(t *testing.T) {
	tests := map[string]struct {
		give fstest.MapFS
		want string
	}{
		"no base":              {folder("de.toml", german), "no file of the language en"},
		"no locale":            {folder("en.toml", "a = \"b\"\n"), "language en has no locale."},
		"not TOML":             {folder("en.toml", "a ="), "en.toml"},
		"not a text":           {folder("en.toml", english+"[a]\nb = 1\n"), "a.b is int64, not a text"},
		"a key twice":          {folder("en.toml", english+"[a]\nb = \"x\"\n", "x.en.toml", "[a]\nb = \"x\"\n"), "a.b stands in another file too"},
		"a key lacking":        {folder("en.toml", english+"[a]\nb = \"x\"\n", "de.toml", german), "de lacks a.b"},
		"a key more":           {folder("en.toml", english, "de.toml", german+"[a]\nb = \"x\"\n"), "de has a.b"},
		"a placeholder less":   {folder("en.toml", english+"[a]\nb = \"{x}\"\n", "de.toml", german+"[a]\nb = \"y\"\n"), "de: a.b has placeholders []"},
		"another one's naming": {folder("en.toml", english+"[a]\nb = \"{x}\"\n", "de.toml", german+"[a]\nb = \"{z}\"\n"), "has placeholders [{z}], en has [{x}]"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := wording.Load(tt.give)
			require.ErrorIs(t, err, wording.ErrInvalid)
			assert.ErrorContains(t, err, tt.want)
		})
	}
}

func TestPrefer(t *testing.T) {
	b, err := wording.Load(folder("en.toml", english, "de.toml", german))
	require.NoError(t, err)
	for header, want := range map[string]string{
		"": "en", "de": "de", "de-CH,de;q=0.9,en;q=0.8": "de", "fr, en;q=0.3, de;q=0.7": "de", "en,de": "en",
		"de;q=0": "en", "de;q=x": "en", "*": "en", "DE": "de",
	} {
		assert.Equal(t, want, b.Prefer(header), header)
	}
}
