package assessment

import (
	"crypto/sha256"
	"encoding/hex"
	"maps"
	"slices"
	"strings"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure/lexicon"
)

// Versions names the methods, for the record of each estimate.
func Versions() string { return skindose.Version + " " + effective.Version }

// Tables names every embedded table with the first 12 digits of the SHA-256 of its text, in order of name.
func Tables() string {
	all := map[string]string{}
	for _, t := range []map[string]string{beam.Tables(), skindose.Tables(), effective.Tables(), level.Tables(), lexicon.Tables()} {
		maps.Copy(all, t)
	}
	var words []string
	for _, name := range slices.Sorted(maps.Keys(all)) {
		sum := sha256.Sum256([]byte(all[name]))
		words = append(words, name+":"+hex.EncodeToString(sum[:6]))
	}
	return strings.Join(words, " ")
}
