package paper

import (
	"strings"
	"unicode"
)

// Called gives a DICOM person name (PS3.5 6.2.1) as people write it: prefix, given, middle and family name, suffix, of the
// first group that has letters.
func Called(name string) string {
	for group := range strings.SplitSeq(name, "=") {
		parts := strings.Split(group, "^")
		for len(parts) < 5 {
			parts = append(parts, "")
		}
		called := strings.Join(strings.Fields(strings.Join([]string{parts[3], parts[1], parts[2], parts[0], parts[4]}, " ")), " ")
		if strings.ContainsFunc(called, unicode.IsLetter) {
			return called
		}
	}
	return ""
}
