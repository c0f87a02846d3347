package ask

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// record is one line of a table by its columns.
type record struct {
	line   int
	fields map[string]string
}

// table reads CSV with exactly the wanted columns; # starts a comment.
func table(r io.Reader, columns string) ([]record, error) {
	names := strings.Split(columns, ",")
	reader := csv.NewReader(r)
	reader.Comment = '#'
	reader.FieldsPerRecord = len(names)
	header, err := reader.Read()
	if err != nil {
		return nil, fmt.Errorf("%w: no header line: %w", ErrInvalid, err)
	}
	if got := strings.Join(header, ","); got != columns {
		return nil, fmt.Errorf("%w: the first line wants the columns %s, got %s", ErrInvalid, columns, got)
	}
	var all []record
	for {
		fields, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%w: %w", ErrInvalid, err)
		}
		line, _ := reader.FieldPos(0)
		one := record{line: line, fields: make(map[string]string, len(names))}
		for i, name := range names {
			one.fields[name] = fields[i]
		}
		all = append(all, one)
	}
}
