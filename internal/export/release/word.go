package release

import (
	"slices"
	"strings"
	"unicode"

	"afterbeam/internal/report/dicomio"
)

// words are words of a report that tell who somebody is, in lower case.
type words map[string]struct{}

// shortestWord is the length from which on a word tells something, longWord that from which on it tells it also inside of another.
const (
	shortestWord = 3
	longWord     = 5
)

func splitWords(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) })
}

// tellingWords collects the words of every person's name and of the patient's other attributes, of the order's number and of the
// institution, wherever they stand. Options keep some texts of the device, in which equipment's users write all sorts of things.
func tellingWords(set dicomio.DataSet) words {
	w := words{}
	w.collect(set)
	return w
}

func (w words) collect(set dicomio.DataSet) {
	for _, e := range set {
		if e.VR == "PN" || telling(e.Tag) {
			for _, v := range e.Values {
				for _, word := range splitWords(v) {
					if len(word) >= shortestWord {
						w[word] = struct{}{}
					}
				}
			}
		}
		for _, item := range e.Items {
			w.collect(item)
		}
	}
}

// telling are the attributes of the patient but sex, age and size, the order's numbers, and the institution (PS3.6).
func telling(t dicomio.Tag) bool {
	switch t {
	case tagSex, tagAge, tagHeight, tagWeight, tagPregnancy:
		return false
	case tagAccession, tagStudyID, 0x00080080, 0x00080081, 0x00081040, 0x00380010, 0x00401001, 0x00402016, 0x00402017:
		return true
	}
	return t.Group() == 0x0010
}

// in tells whether one of the words stands in a text, a long one also inside of another word or in pieces.
func (w words) in(text string) bool {
	parts := splitWords(text)
	squeezed := strings.Join(parts, "")
	for word := range w {
		if len(word) >= longWord && strings.Contains(squeezed, word) || slices.Contains(parts, word) {
			return true
		}
	}
	return false
}
