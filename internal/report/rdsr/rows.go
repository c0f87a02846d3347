package rdsr

import (
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// numberRow is one NUM row of a template, once for reading and writing. A row of multiplicity 1-n has many set.
type numberRow[O any] struct {
	concept procedure.Code
	measure
	many bool
	get  func(*O) []float64
	set  func(*O, float64)
}

// number makes a row that occurs once.
func number[O any, T ~float64](concept procedure.Code, m measure, at func(*O) *quantity.Opt[T]) numberRow[O] {
	return numberRow[O]{
		concept: concept, measure: m,
		get: func(o *O) []float64 {
			if v, ok := at(o).Get(); ok {
				return []float64{float64(v)}
			}
			return nil
		},
		set: func(o *O, v float64) { *at(o) = quantity.Some(T(v)) },
	}
}

// numbers makes a row that may occur many times.
func numbers[O any, T ~float64](concept procedure.Code, m measure, at func(*O) *[]T) numberRow[O] {
	return numberRow[O]{
		concept: concept, measure: m, many: true,
		get: func(o *O) []float64 {
			out := make([]float64, 0, len(*at(o)))
			for _, v := range *at(o) {
				out = append(out, float64(v))
			}
			return out
		},
		set: func(o *O, v float64) { *at(o) = append(*at(o), T(v)) },
	}
}

// codedRow is one CODE row. set tells whether it knows the code.
type codedRow[O any] struct {
	concept procedure.Code
	many    bool
	get     func(*O) []procedure.Code
	set     func(*O, procedure.Code) bool
}

// coded makes a row whose code is kept as it is.
func coded[O any](concept procedure.Code, at func(*O) *procedure.Code) codedRow[O] {
	return codedRow[O]{
		concept: concept,
		get: func(o *O) []procedure.Code {
			if at(o).IsZero() {
				return nil
			}
			return []procedure.Code{*at(o)}
		},
		set: func(o *O, c procedure.Code) bool { *at(o) = c; return true },
	}
}

// codedList makes a row whose codes are kept as they are and which may occur many times.
func codedList[O any](concept procedure.Code, at func(*O) *[]procedure.Code) codedRow[O] {
	return codedRow[O]{
		concept: concept, many: true,
		get: func(o *O) []procedure.Code { return *at(o) },
		set: func(o *O, c procedure.Code) bool { *at(o) = append(*at(o), c); return true },
	}
}

// term is one member of a code list that the project has a name for.
type term[E comparable] struct {
	value E
	code  procedure.Code
}

// enumerated makes a row whose codes are the members of a list. other, when not zero, stands for a code outside it.
func enumerated[O any, E comparable](concept procedure.Code, terms []term[E], other E, at func(*O) *E) codedRow[O] {
	return codedRow[O]{
		concept: concept,
		get: func(o *O) []procedure.Code {
			if c, ok := codeOf(terms, *at(o)); ok {
				return []procedure.Code{c}
			}
			return nil
		},
		set: func(o *O, c procedure.Code) bool {
			v, ok := valueOf(terms, c)
			if !ok {
				v = other
			}
			*at(o) = v
			return ok
		},
	}
}

func codeOf[E comparable](terms []term[E], value E) (procedure.Code, bool) {
	for _, t := range terms {
		if t.value == value {
			return t.code, true
		}
	}
	return procedure.Code{}, false
}

func valueOf[E comparable](terms []term[E], c procedure.Code) (E, bool) {
	for _, t := range terms {
		if identity(t.code) == identity(c) {
			return t.value, true
		}
	}
	var none E
	return none, false
}

// textRow is one TEXT row.
type textRow[O any] struct {
	concept procedure.Code
	kind    string
	at      func(*O) *string
}

// The kinds of numbers, by the unit the template wants and the canonical unit.
func grays(zero zeroRule) measure {
	return measure{unit: "Gy", inside: "Gy", zero: zero, suspect: procedure.SuspectKerma}
}

func kap(zero zeroRule) measure {
	return measure{unit: "Gy.m2", inside: "Gy.m2", zero: zero, suspect: procedure.SuspectKAP}
}

func plain(unit, inside string) measure {
	return measure{unit: unit, inside: inside, zero: zeroUnlikely}
}

func plainZero(unit, inside string) measure { return measure{unit: unit, inside: inside} }

func distance() measure {
	return measure{unit: "mm", inside: "mm", zero: zeroUnlikely, suspect: procedure.SuspectDistance}
}

func position() measure { return measure{unit: "mm", inside: "mm", sign: signed} }

func angle() measure {
	return measure{unit: "deg", inside: "deg", sign: signed, suspect: procedure.SuspectAngle}
}

func tableAngle() measure { return measure{unit: "deg", inside: "deg", sign: signed} }

func length() measure { return measure{unit: "mm", inside: "mm", zero: zeroUnlikely} }
