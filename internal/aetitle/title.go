// Package aetitle knows what a DICOM application may be called.
package aetitle

import (
	"fmt"
	"strings"
)

// Check tells what is wrong with an AE title (PS3.5 6.2: up to 16 characters, no backslash, no control character; spaces at
// its ends say nothing). The error begins with "wants", for the name of what has the title to stand before it.
func Check(title string) error {
	foreign := func(r rune) bool { return r < ' ' || r > '~' || r == '\\' }
	if title == "" || len(title) > 16 || strings.TrimSpace(title) != title || strings.ContainsFunc(title, foreign) {
		return fmt.Errorf("wants 1 to 16 characters of ASCII without backslash, got %q", title)
	}
	return nil
}
