package archive

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"afterbeam/internal/procedure"
)

// ErrBroken marks stored bytes that this package did not write or that are damaged.
var ErrBroken = errors.New("archived bytes not usable")

// limit bounds what decompression may give: four times the JSON of a report of 20,000 events.
const limit = 256 << 20

// Report encodes a read report without the identity of its patient.
func Report(r procedure.Report) ([]byte, error) {
	r.Patient = nameless(r.Patient)
	return pack(r)
}

// ReadReport is the way back.
func ReadReport(b []byte) (procedure.Report, error) {
	var r procedure.Report
	return r, unpack(b, &r)
}

// Case is an assessed procedure with the facts that people had added.
type Case struct {
	Procedure procedure.Procedure
	Facts     procedure.Facts
}

// Procedure encodes an assessed procedure without the identity of its patient.
func Procedure(c Case) ([]byte, error) {
	c.Procedure.Patient = nameless(c.Procedure.Patient)
	return pack(c)
}

// ReadProcedure is the way back.
func ReadProcedure(b []byte) (Case, error) {
	var c Case
	return c, unpack(b, &c)
}

func nameless(p procedure.Patient) procedure.Patient {
	p.ID, p.Issuer, p.Name, p.BirthDate = "", "", "", ""
	return p
}

func pack(v any) ([]byte, error) {
	text, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encode: %w", err)
	}
	return deflate(text)
}

func unpack(b []byte, v any) error {
	text, err := inflate(b)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(text, v); err != nil {
		return fmt.Errorf("%w: %w", ErrBroken, err)
	}
	return nil
}

func deflate(text []byte) ([]byte, error) {
	var out bytes.Buffer
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

func inflate(b []byte) ([]byte, error) {
	z, err := gzip.NewReader(bytes.NewReader(b))
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
