package archive

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// ErrBroken marks stored bytes that this package did not write or that are damaged.
var ErrBroken = errors.New("archived bytes not usable")

// limit bounds what decompression may give.
const limit = 256 << 20

// Report encodes a read report without the identity of its patient. It fails on a number that is none.
func Report(r procedure.Report) ([]byte, error) {
	r.Patient = nameless(r.Patient)
	return pack(kindReport, r)
}

// ReadReport is the way back.
func ReadReport(b []byte) (procedure.Report, error) {
	var r procedure.Report
	return r, unpack(kindReport, b, &r)
}

// Case is an assessed procedure with the facts that people had added.
type Case struct {
	Procedure procedure.Procedure
	Facts     procedure.Facts
}

// Procedure encodes an assessed procedure without the identity of its patient.
func Procedure(c Case) ([]byte, error) {
	c.Procedure.Patient = nameless(c.Procedure.Patient)
	return pack(kindProcedure, c)
}

// ReadProcedure is the way back.
func ReadProcedure(b []byte) (Case, error) {
	var c Case
	return c, unpack(kindProcedure, b, &c)
}

// nameless takes away what names a patient, and keeps the age as it is told.
func nameless(p procedure.Patient) procedure.Patient {
	p.ID, p.Issuer, p.Name, p.BirthDate = "", "", "", ""
	if years, ok := p.AgeYears.Get(); ok {
		p.AgeYears = quantity.Some(procedure.ToldAge(years))
	}
	return p
}

func pack(k kind, v any) ([]byte, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode: %w", err)
	}
	return deflate(k, text)
}

func unpack(k kind, b []byte, v any) error {
	text, err := inflate(k, b)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(text, v); err != nil {
		return fmt.Errorf("%w: %w", ErrBroken, err)
	}
	return nil
}

// kind is what some bytes hold. Kind and version of the form stand before the compressed part, so that a program which
// does not know them says so instead of guessing.
type kind byte

const (
	kindReport    kind = 'r'
	kindProcedure kind = 'p'
	kindMap       kind = 'm'
	formVersion        = 1
)

func deflate(k kind, text []byte) ([]byte, error) {
	var out bytes.Buffer
	out.Write([]byte{byte(k), formVersion})
	z, err := gzip.NewWriterLevel(&out, gzip.BestSpeed)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(text); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func inflate(k kind, b []byte) ([]byte, error) {
	if len(b) < 2 || b[0] != byte(k) || b[1] != formVersion {
		return nil, fmt.Errorf("%w: they do not begin as version %d of kind %q", ErrBroken, formVersion, byte(k))
	}
	z, err := gzip.NewReader(bytes.NewReader(b[2:]))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBroken, err)
	}
	text, err := io.ReadAll(io.LimitReader(z, limit+1))
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrBroken, err)
	}
	if len(text) > limit {
		return nil, fmt.Errorf("%w: over %d bytes", ErrBroken, limit)
	}
	return text, nil
}
