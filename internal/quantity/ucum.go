package quantity

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ErrUnit marks a unit code that cannot be read, or one of another dimension than wanted.
var ErrUnit = errors.New("unit not understood")

// Dimension counts the base quantities of a unit. Gray and volt are kept as bases of their own: a dose never has to
// turn into m2/s2 here.
type Dimension struct {
	Gray, Metre, Second, Ampere, Volt, Gram, Radian int8
}

// The dimensions that dose reports use.
var (
	DimensionNone        = Dimension{}
	DimensionDose        = Dimension{Gray: 1}
	DimensionDoseArea    = Dimension{Gray: 1, Metre: 2}
	DimensionLength      = Dimension{Metre: 1}
	DimensionArea        = Dimension{Metre: 2}
	DimensionTime        = Dimension{Second: 1}
	DimensionRate        = Dimension{Second: -1}
	DimensionVoltage     = Dimension{Volt: 1}
	DimensionCurrent     = Dimension{Ampere: 1}
	DimensionCurrentTime = Dimension{Ampere: 1, Second: 1}
	DimensionAngle       = Dimension{Radian: 1}
	DimensionMass        = Dimension{Gram: 1}
)

func (d Dimension) times(e Dimension, power int8) Dimension {
	return Dimension{
		d.Gray + power*e.Gray, d.Metre + power*e.Metre, d.Second + power*e.Second, d.Ampere + power*e.Ampere,
		d.Volt + power*e.Volt, d.Gram + power*e.Gram, d.Radian + power*e.Radian,
	}
}

// Unit is a parsed unit code: its dimension and its size in Gy, m, s, A, V, g and rad.
type Unit struct {
	Code      string
	Dimension Dimension
	Size      float64
	// Repaired tells that the code was not UCUM but a spelling known from equipment, such as Gym2.
	Repaired bool
}

// Convert turns a number of unit u into one of unit to. It returns ErrUnit when the dimensions differ. Sizes that are
// whole multiples of one another convert with one rounding, so that 5000 dGy.cm2 are 0.05 Gy.m2 and reach that level.
func (u Unit) Convert(number float64, to Unit) (float64, error) {
	if u.Dimension != to.Dimension {
		return 0, fmt.Errorf("%w: %q is not of the kind of %q", ErrUnit, u.Code, to.Code)
	}
	if u.Size < to.Size {
		return number / whole(to.Size/u.Size), nil
	}
	return number * whole(u.Size/to.Size), nil
}

// whole gives the whole number that a ratio of two rounded unit sizes stands for, or the ratio when it is none.
func whole(ratio float64) float64 {
	// Each size carries a few roundings of 1e-16.
	if n := math.Round(ratio); math.Abs(ratio-n) < 1e-14*n {
		return n
	}
	return ratio
}

type atom struct {
	dimension Dimension
	size      float64
	metric    bool // takes prefixes
}

// Source: Schadow, McDonald, The Unified Code for Units of Measure (UCUM), base and derived units; known from memory.
var atoms = map[string]atom{
	"Gy": {DimensionDose, 1, true}, "m": {DimensionLength, 1, true}, "s": {DimensionTime, 1, true},
	"A": {DimensionCurrent, 1, true}, "V": {DimensionVoltage, 1, true}, "g": {DimensionMass, 1, true},
	"rad": {DimensionAngle, 1, true}, "C": {DimensionCurrentTime, 1, true},
	"deg": {DimensionAngle, math.Pi / 180, false}, "min": {DimensionTime, 60, false}, "h": {DimensionTime, 3600, false},
	"%": {DimensionNone, 0.01, false}, "Hz": {DimensionRate, 1, true},
}

// prefixes lists the metric prefixes that can occur; "da" stands before "d" so that it is tried first.
var prefixes = []struct {
	symbol string
	factor float64
}{{"da", 10}, {"k", 1e3}, {"M", 1e6}, {"h", 1e2}, {"d", 1e-1}, {"c", 1e-2}, {"m", 1e-3}, {"u", 1e-6}, {"n", 1e-9}, {"µ", 1e-6}, {"μ", 1e-6}}

// spellings are unit codes of equipment that are not UCUM, each with the UCUM code it stands for.
// Source: seen with equipment, common practice, no source.
var spellings = map[string]string{
	"Gym2": "Gy.m2", "Gym²": "Gy.m2", "Gy*m2": "Gy.m2", "Gy·m2": "Gy.m2", "Gy m2": "Gy.m2",
	"dGycm2": "dGy.cm2", "dGy*cm2": "dGy.cm2", "dGy·cm2": "dGy.cm2",
	"cGycm2": "cGy.cm2", "cGy*cm2": "cGy.cm2", "cGy·cm2": "cGy.cm2",
	"mGycm2": "mGy.cm2", "mGy*cm2": "mGy.cm2", "mGy·cm2": "mGy.cm2",
	"Gycm2": "Gy.cm2", "Gy*cm2": "Gy.cm2", "Gy·cm2": "Gy.cm2",
	"uGym2": "uGy.m2", "uGy*m2": "uGy.m2", "µGym2": "uGy.m2", "µGy.m2": "uGy.m2", "μGy.m2": "uGy.m2",
	"mAs": "mA.s", "uAs": "uA.s", "µAs": "uA.s", "sec": "s", "msec": "ms", "°": "deg", "degrees": "deg",
	"no units": "1", "kVp": "kV", "pulses/s": "{pulse}/s",
}

// ParseUnit reads a UCUM unit code as dose reports use them ("Gy.m2", "mGy", "uA.s", "{pulse}/s", "1"), or one of the
// known misspellings, marked Repaired. It returns ErrUnit for anything else; an empty code is an error too.
func ParseUnit(code string) (Unit, error) {
	trimmed := strings.TrimSpace(code)
	if trimmed == "" {
		return Unit{}, fmt.Errorf("%w: no unit code", ErrUnit)
	}
	if len(trimmed) > 64 {
		return Unit{}, fmt.Errorf("%w: unit code of %d characters", ErrUnit, len(trimmed))
	}
	spelt, repaired := spellings[trimmed]
	if !repaired {
		spelt = trimmed
	}
	u := Unit{Code: code, Size: 1, Repaired: repaired}
	power := int8(1)
	rest := spelt
	if strings.HasPrefix(rest, "/") {
		power, rest = -1, rest[1:]
	}
	for {
		end := strings.IndexAny(rest, "./")
		term := rest
		if end >= 0 {
			term = rest[:end]
		}
		a, exponent, err := parseTerm(term)
		if err != nil {
			return Unit{}, fmt.Errorf("%w: %q", ErrUnit, code)
		}
		u.Dimension = u.Dimension.times(a.dimension, power*exponent)
		u.Size *= math.Pow(a.size, float64(power*exponent))
		if end < 0 {
			return u, nil
		}
		power = 1
		if rest[end] == '/' {
			power = -1
		}
		rest = rest[end+1:]
	}
}

// parseTerm reads one factor: a prefix and an atom with an exponent and an annotation, or a plain number.
func parseTerm(term string) (atom, int8, error) {
	if open := strings.IndexByte(term, '{'); open >= 0 {
		if !strings.HasSuffix(term, "}") {
			return atom{}, 0, ErrUnit
		}
		term = term[:open]
		if term == "" {
			return atom{size: 1}, 1, nil
		}
	}
	if n, err := strconv.ParseUint(term, 10, 16); err == nil && n > 0 {
		return atom{size: float64(n)}, 1, nil
	}
	symbol := strings.TrimRight(term, "+-0123456789")
	exponent := int64(1)
	if digits := term[len(symbol):]; digits != "" {
		n, err := strconv.ParseInt(digits, 10, 8)
		if err != nil || n == 0 || n < -4 || n > 4 {
			return atom{}, 0, ErrUnit
		}
		exponent = n
	}
	a, ok := findAtom(symbol)
	if !ok {
		return atom{}, 0, ErrUnit
	}
	return a, int8(exponent), nil
}

// findAtom looks a symbol up as it stands, then with each metric prefix taken off.
func findAtom(symbol string) (atom, bool) {
	if a, ok := atoms[symbol]; ok {
		return a, true
	}
	for _, p := range prefixes {
		bare, ok := strings.CutPrefix(symbol, p.symbol)
		if !ok {
			continue
		}
		if a, ok := atoms[bare]; ok && a.metric {
			a.size *= p.factor
			return a, true
		}
	}
	return atom{}, false
}
