package dicomio_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/report/dicomio"
)

// withText is a small file that declares a character set (none when "-") and has one text.
func withText(set string, t dicomio.Tag, vr, value string) []byte {
	var b []byte
	if set != "-" {
		b = explicitLE.element(tagCharacterSet, "CS", padded(set))
	}
	b = append(b, identified()...)
	return part10(dicomio.ExplicitLittleEndian, b, explicitLE.element(t, vr, padded(value)))
}

func padded(s string) string { return s + strings.Repeat(" ", len(s)%2) }

// TestCharacterSets takes its Japanese, Korean and Chinese person names from the examples of PS3.5 annexes H, I and J
// (from memory); the other expected texts are Python's decoding of the same bytes.
func TestCharacterSets(t *testing.T) {
	const latin = "read as ISO 8859-1"
	tests := map[string]struct {
		set, vr, value string
		want           []string
		repair         string
	}{
		"ASCII":                        {"-", "LO", "plain", []string{"plain"}, ""},
		"ISO_IR 6":                     {"ISO_IR 6", "LO", "plain", []string{"plain"}, ""},
		"Latin 1":                      {"ISO_IR 100", "LO", "B\xe4r\\na\xefve", []string{"Bär", "naïve"}, ""},
		"Latin 1, other spelling":      {"ISO-IR 100", "LO", "B\xe4r", []string{"Bär"}, ""},
		"Latin 2":                      {"ISO_IR 101", "LO", "\xa3\xf3d\xbc", []string{"Łódź"}, ""},
		"Latin 4":                      {"ISO_IR 110", "LO", "\xc0ba", []string{"Āba"}, ""},
		"Cyrillic":                     {"ISO_IR 144", "PN", "\xbb\xee\xdace\xdc\xd1\xe0\xd3", []string{"Люкceмбрг"}, ""},
		"Greek":                        {"ISO_IR 126", "LO", "\xe1\xe2", []string{"αβ"}, ""},
		"Arabic":                       {"ISO_IR 127", "PN", "\xe2\xc8\xc7\xe6\xea", []string{"قباني"}, ""},
		"Hebrew":                       {"ISO_IR 138", "PN", "\xf9\xf8\xe5\xef", []string{"שרון"}, ""},
		"Turkish":                      {"ISO_IR 148", "LO", "\xde", []string{"Ş"}, ""},
		"Latin 9":                      {"ISO_IR 203", "LO", "\xa4", []string{"€"}, ""},
		"Thai":                         {"ISO_IR 166", "LO", "\xa1", []string{"ก"}, ""},
		"UTF-8":                        {"ISO_IR 192", "LO", "Wang^小東\\é", []string{"Wang^小東", "é"}, ""},
		"UTF-8 in a long text":         {"ISO_IR 192", "LT", "a\\é", []string{`a\é`}, ""},
		"GB18030":                      {"GB18030", "PN", "Wang^XiaoDong=\xcd\xf5^\xd0\xa1\xb6\xab", []string{"Wang^XiaoDong=王^小东"}, ""},
		"GB18030, backslash as a half": {"GB18030", "LO", "\x81\x5c\\b", []string{"乗", "b"}, ""},
		"GBK":                          {"GBK", "LO", "\xcd\xf5", []string{"王"}, ""},
		"katakana": {
			"ISO_IR 13", "PN", "\xd4\xcf\xc0\xde^\xc0\xdb\xb3", []string{"ﾔﾏﾀﾞ^ﾀﾛｳ"}, "",
		},
		"yen sign in a text": {"ISO_IR 13", "ST", "\\100 ~", []string{"¥100 ‾"}, ""},
		"kanji by escape": {
			`\ISO 2022 IR 87`, "PN",
			"Yamada^Tarou=\x1b$B;3ED\x1b(B^\x1b$BB@O:\x1b(B=\x1b$B$d$^$@\x1b(B^\x1b$B$?$m$&\x1b(B",
			[]string{"Yamada^Tarou=山田^太郎=やまだ^たろう"},
			"",
		},
		"kanji by escape after katakana": {
			`ISO 2022 IR 13\ISO 2022 IR 87`, "PN",
			"\xd4\xcf\xc0\xde^\xc0\xdb\xb3=\x1b$B;3ED\x1b(J^\x1b$BB@O:\x1b(J=\x1b$B$d$^$@\x1b(J^\x1b$B$?$m$&\x1b(J",
			[]string{"ﾔﾏﾀﾞ^ﾀﾛｳ=山田^太郎=やまだ^たろう"},
			"",
		},
		"kanji with a backslash byte inside": {`\ISO 2022 IR 87`, "LO", "\x1b$B\x25\x5c\x1b(B\\b", []string{"ボ", "b"}, ""},
		"supplementary kanji":                {`\ISO 2022 IR 159`, "LO", "\x1b$(D\x30\x21\x1b(B.", []string{"丂."}, ""},
		"Korean by escape": {
			`\ISO 2022 IR 149`, "PN",
			"Hong^Gildong=\x1b$)C\xfb\xf3^\x1b$)C\xd1\xce\xd4\xd7=\x1b$)C\xc8\xab^\x1b$)C\xb1\xe6\xb5\xbf",
			[]string{"Hong^Gildong=洪^吉洞=홍^길동"},
			"",
		},
		"Korean, escaped only once": {
			`\ISO 2022 IR 149`, "PN", "Hong=\x1b$)C\xfb\xf3^\xd1\xce\xd4\xd7", []string{"Hong=洪^吉洞"}, "no escape sequence",
		},
		"Korean on two lines": {
			`\ISO 2022 IR 149`, "LT", "\x1b$)C\xb1\xe6\r\n\x1b$)C\xb5\xbf!", []string{"길\r\n동!"}, "",
		},
		"simplified Chinese by escape":  {`\ISO 2022 IR 58`, "LO", "\x1b$)A\xcd\xf5 a", []string{"王 a"}, ""},
		"Latin 1, Cyrillic by escape":   {`ISO 2022 IR 100\ISO 2022 IR 144`, "LO", "\xe4\x1b-L\xbb", []string{"äЛ"}, ""},
		"Latin 1 named as an extension": {"ISO 2022 IR 100", "LO", "\xe4", []string{"ä"}, ""},
		"every single-byte set by escape": {
			`ISO 2022 IR 100\ISO 2022 IR 101\ISO 2022 IR 109\ISO 2022 IR 110\ISO 2022 IR 126\ISO 2022 IR 127\ISO 2022 IR 138\ISO 2022 IR 148`,
			"UC", "\x1b-A\xe4\x1b-B\xa3\x1b-C\xa6\x1b-D\xc0\x1b-F\xe1\x1b-G\xc8\x1b-H\xf9\x1b-L\xbb\x1b-M\xde\x1b-T\xa1\x1b-b\xa4",
			[]string{"äŁĤĀαبשЛŞก€"},
			"",
		},
		"katakana by escape":             {`\ISO 2022 IR 13`, "LO", "\x1b)I\xd4!", []string{"ﾔ!"}, ""},
		"half a kanji":                   {`\ISO 2022 IR 87`, "LO", "\x1b$B;", []string{"\uFFFD"}, "do not fit"},
		"half a Korean sign":             {`\ISO 2022 IR 149`, "LO", "\x1b$)C\xb1", []string{"\uFFFD"}, "do not fit"},
		"no katakana":                    {`\ISO 2022 IR 13`, "LO", "\x1b)I\xff", []string{"\uFFFD"}, "do not fit"},
		"high bytes of no set":           {`\ISO 2022 IR 87`, "LO", "\xe4", []string{"ä"}, "no escape sequence"},
		"escape nothing knows":           {`\ISO 2022 IR 87`, "LO", "a\x1b%Gb", []string{"ab"}, "do not fit"},
		"escape without code extensions": {"ISO_IR 192", "LO", "a\x1b$)Cb", []string{"ab"}, "does not allow"},
		"escape undeclared":              {"-", "LO", "a\x1b$B;3\x1b(Bb", []string{"a山b"}, ""},
		"undeclared Latin 1":             {"-", "LO", "B\xe4r", []string{"Bär"}, "undeclared non-ASCII text " + latin},
		"undeclared UTF-8":               {"-", "LO", "Bär", []string{"Bär"}, "undeclared non-ASCII text read as UTF-8"},
		"UTF-8 that is Latin 1":          {"ISO_IR 192", "LO", "B\xe4r", []string{"Bär"}, latin},
		"unknown set":                    {"ISO_IR 999", "LO", "B\xe4r", []string{"Bär"}, "unknown character set"},
		"unknown set, ASCII":             {"KLINGON", "LO", "Bar", []string{"Bar"}, "unknown character set"},
		"GB18030 that is none":           {"GB18030", "LO", "\xff\xff", []string{"ÿÿ"}, latin},
		"code string takes no set":       {"ISO_IR 144", "CS", "A\xe4", []string{"Aä"}, "default repertoire"},
		"UID takes no set":               {"ISO_IR 192", "UI", "1.2\xe9", []string{"1.2é"}, "default repertoire"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			f := read(t, withText(tt.set, 0x00111001, tt.vr, tt.value))
			e, ok := f.Data.Find(0x00111001)
			require.True(t, ok)
			assert.Equal(t, tt.want, e.Values)
			repairs := strings.Join(f.Repairs, "\n")
			if tt.repair == "" {
				assert.Empty(t, repairs)
			} else {
				assert.Contains(t, repairs, tt.repair)
			}
			requireSound(t, f.Data)
		})
	}
}

func TestCharacterSetOfAnItem(t *testing.T) {
	b := append(explicitLE.element(tagCharacterSet, "CS", "ISO_IR 100"), identified()...)
	b = append(b, explicitLE.open(tagContent)...)
	for _, set := range []string{"ISO_IR 144", "ISO_IR 192"} {
		b = append(b, explicitLE.item()...)
		b = append(b, explicitLE.element(tagCharacterSet, "CS", set)...)
		value := "\xbb "
		if set == "ISO_IR 192" {
			value = "Л"
		}
		b = append(b, explicitLE.element(tagMeaning, "LO", value)...)
		b = append(b, explicitLE.itemEnd()...)
	}
	b = append(b, explicitLE.item()...)
	b = append(b, explicitLE.element(tagMeaning, "LO", "\xbb ")...)
	b = append(b, explicitLE.itemEnd()...)
	b = append(b, explicitLE.close()...)
	f := read(t, part10(dicomio.ExplicitLittleEndian, b))
	items := f.Data.Items(tagContent)
	require.Len(t, items, 3)
	assert.Equal(t, "Л", items[0].Text(tagMeaning))
	assert.Equal(t, "Л", items[1].Text(tagMeaning))
	assert.Equal(t, "»", items[2].Text(tagMeaning), "the set of the data set holds again")
	assert.Empty(t, f.Repairs)
}

func TestUndeclaredTextNamesThePlaceOnce(t *testing.T) {
	f := read(t, withText("-", tagPatientName, "PN", "M\xfcller"))
	assert.Equal(t, "Müller", f.Data.Text(tagPatientName))
	assert.Equal(t, []string{"undeclared non-ASCII text read as ISO 8859-1 at (0010,0010)"}, f.Repairs)
}
