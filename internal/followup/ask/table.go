package ask

import (
	"fmt"
	"io"
	"strings"

	"afterbeam/internal/embedded"
)

// table hands the rows of a table with exactly the wanted columns to a function, by column. Its errors name the line.
func table(r io.Reader, columns string, row func(f map[string]string) error) error {
	names := strings.Split(columns, ",")
	err := embedded.Each(r, columns, func(_ int, fields []string) error {
		f := make(map[string]string, len(names))
		for i, name := range names {
			f[name] = fields[i]
		}
		return row(f)
	})
	if err != nil {
		return fmt.Errorf("%w: %w", ErrInvalid, err)
	}
	return nil
}
