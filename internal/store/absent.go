package store

import (
	"database/sql"

	"afterbeam/internal/quantity"
)

// null gives an absent value as NULL.
func null[T ~float64](o quantity.Opt[T]) sql.NullFloat64 {
	v, ok := o.Get()
	return sql.NullFloat64{Float64: float64(v), Valid: ok}
}

// opt is the way back from a nullable column.
type opt[T ~float64] struct{ to *quantity.Opt[T] }

// Scan reads NULL as absent.
func (o opt[T]) Scan(src any) error {
	// What the driver gives of such a column, without the way round that anything else takes: lists scan millions of them.
	switch v := src.(type) {
	case nil:
		*o.to = quantity.None[T]()
		return nil
	case float64:
		*o.to = quantity.Some(T(v))
		return nil
	}
	var n sql.NullFloat64
	if err := n.Scan(src); err != nil {
		return err
	}
	*o.to = quantity.None[T]()
	if n.Valid {
		*o.to = quantity.Some(T(n.Float64))
	}
	return nil
}
