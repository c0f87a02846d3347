package quantity

import (
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Fixed prints v with the given number of decimals, half to even on the exact binary value. A number that rounds to zero
// prints without a sign.
func Fixed(v float64, decimals int) string {
	out := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.HasPrefix(out, "-") && strings.Trim(out, "-0.") == "" {
		return out[1:]
	}
	return out
}

// Significant prints v with n significant digits, half to even, without an exponent.
func Significant(v float64, n int) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'g', n, 64)
	}
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', n-1, 64), 64)
	if err != nil {
		return strconv.FormatFloat(v, 'g', n, 64)
	}
	decimals := n - 1 - int(math.Floor(math.Log10(math.Abs(rounded))+1e-9))
	return strconv.FormatFloat(rounded, 'f', max(decimals, 0), 64)
}

// Below prints v like Fixed, except that a value below one of the levels never prints as that level: 2.999 against the
// level 3 gives 2.99, so that paper and flag agree.
func Below(v float64, decimals int, levels ...float64) string {
	out := Fixed(v, decimals)
	printed, err := strconv.ParseFloat(out, 64)
	if err != nil {
		return out
	}
	for _, level := range levels {
		if v < level && printed >= level {
			return truncated(v, decimals)
		}
	}
	return out
}

// truncated cuts v to decimals towards zero, exactly: a float times ten may itself round up.
func truncated(v float64, decimals int) string {
	exact := new(big.Float).SetPrec(200).SetFloat64(v)
	scale := new(big.Float).SetPrec(200).SetInt(new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil))
	whole, _ := new(big.Float).SetPrec(200).Mul(exact, scale).Int(nil)
	return new(big.Rat).SetFrac(whole, new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)).FloatString(decimals)
}
