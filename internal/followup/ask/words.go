package ask

import (
	_ "embed"
	"fmt"
	"sync"

	"afterbeam/internal/embedded"
)

//go:embed words.csv
var wordsCSV string

var words = sync.OnceValue(func() map[string]string {
	byKey := map[string]string{}
	for _, f := range embedded.Records(wordsCSV) {
		byKey[f[0]] = f[1]
	}
	return byKey
})

// Words says in English what is asked; a key of a site's own schedule without words stands for itself.
func Words(key string) string {
	if text, ok := words()[key]; ok {
		return text
	}
	return key
}

// MayAnswer tells whether somebody of a role may answer an ask: its owner role, and a physicist any.
func MayAnswer(by Role, to Ask) error {
	if by == Physicist || by == to.Owner {
		return nil
	}
	return fmt.Errorf("%w: this is asked of the role %s", ErrRole, to.Owner)
}
