package quantity

import "encoding/json"

// Opt is a value that may be absent. The zero Opt is absent; absent is never taken for zero.
type Opt[T any] struct {
	value T
	ok    bool
}

// Some is a present value.
func Some[T any](v T) Opt[T] { return Opt[T]{value: v, ok: true} }

// None is an absent value.
func None[T any]() Opt[T] { return Opt[T]{} }

// Get gives the value and whether it is present.
func (o Opt[T]) Get() (T, bool) { return o.value, o.ok }

// Or gives the value, or def when absent. The caller lists def among its assumptions.
func (o Opt[T]) Or(def T) T {
	if o.ok {
		return o.value
	}
	return def
}

// Present tells whether there is a value.
func (o Opt[T]) Present() bool { return o.ok }

// IsZero tells whether the value is absent, so that encoding/json can omit it by omitzero.
func (o Opt[T]) IsZero() bool { return !o.ok }

// MarshalJSON writes the value, or null when absent.
func (o Opt[T]) MarshalJSON() ([]byte, error) {
	if !o.ok {
		return []byte("null"), nil
	}
	return json.Marshal(o.value)
}

// UnmarshalJSON reads a value, or null as absent.
func (o *Opt[T]) UnmarshalJSON(b []byte) error {
	if string(b) == "null" {
		*o = Opt[T]{}
		return nil
	}
	if err := json.Unmarshal(b, &o.value); err != nil {
		return err
	}
	o.ok = true
	return nil
}
