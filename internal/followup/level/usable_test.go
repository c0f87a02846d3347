package level_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestWhatIsNoNumberIsNotBelow(t *testing.T) {
	nan := math.NaN()
	estimate := func(value, high float64) quantity.Opt[level.Estimated] {
		return quantity.Some(level.Estimated{Value: quantity.Gray(value), High: quantity.Gray(high), Method: "map"})
	}
	area := func(m2 float64) quantity.Opt[quantity.SquareMetre] { return quantity.Some(quantity.SquareMetre(m2)) }
	noKerma, noKAP, noKAPOver := dose(1, 50), dose(1, 50), dose(5, 50)
	noKerma.Kerma, noKerma.LeastKerma = quantity.Some(quantity.Gray(nan)), quantity.Some(quantity.Gray(nan))
	noKAP.KAP, noKAP.LeastKAP = quantity.Some(quantity.GraySquareMetre(nan)), quantity.Some(quantity.GraySquareMetre(nan))
	noKAPOver.KAP, noKAPOver.LeastKAP = noKAP.KAP, noKAP.LeastKAP
	negative := dose(1, 50)
	negative.Kerma, negative.LeastKerma = quantity.Some(quantity.Gray(-0.001)), quantity.Some(quantity.Gray(-0.001))
	tests := map[string]struct {
		in   level.Input
		want level.State
	}{
		"Ka,r":                           {level.Input{PSD: psd(1), Dose: noKerma}, level.Unknown},
		"KAP":                            {level.Input{PSD: psd(1), Dose: noKAP}, level.Unknown},
		"KAP, Ka,r at its level":         {level.Input{PSD: psd(1), Dose: noKAPOver}, level.Reached},
		"skin dose alone":                {level.Input{PSD: psd(nan)}, level.Unknown},
		"high end of the skin dose":      {level.Input{PSD: estimate(1, nan)}, level.Unknown},
		"high end below the value":       {level.Input{PSD: estimate(1, 0.5)}, level.Unknown},
		"factor: the display decides":    {level.Input{PSD: psd(1), Dose: dose(2.9, 50), KermaFactor: quantity.Some(nan)}, level.Below},
		"factor of zero counts as none":  {level.Input{PSD: psd(1), Dose: dose(5, 50), KermaFactor: quantity.Some(0.0)}, level.Reached},
		"field of zero: the plain level": {level.Input{PSD: psd(1), Dose: dose(1, 50), FieldAtSkin: area(0)}, level.Below},
		"field: the plain level":         {level.Input{PSD: psd(1), Dose: dose(1, 500), FieldAtSkin: area(nan)}, level.Reached},
		"endless field: the plain level": {level.Input{PSD: psd(1), Dose: dose(1, 500), FieldAtSkin: area(math.Inf(1))}, level.Reached},
		"Ka,r below zero":                {level.Input{PSD: psd(1), Dose: negative}, level.Unknown},
		"endless Ka,r":                   {level.Input{PSD: psd(1), Dose: dose(math.Inf(1), 50)}, level.Reached},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := level.Evaluate(level.Default(), tt.in)
			assert.Equal(t, tt.want, e.State)
			assert.Equal(t, tt.want == level.Unknown, e.State == level.Unknown && len(e.Reasons) > 0)
		})
	}
}

func TestStepsEnd(t *testing.T) {
	for _, kerma := range []float64{1e7, math.Inf(1)} {
		for _, r := range level.Evaluate(level.Default(), level.Input{Dose: dose(kerma, -1)}).Results {
			if r.Row.Step > 0 {
				assert.Len(t, r.Passed, 1000, "a wrong unit does not fill the memory")
			}
		}
	}
}

func TestALowEstimateIsSettledByAPhysicist(t *testing.T) {
	tests := map[string]struct {
		in   level.Input
		want bool
	}{
		"Ka,r reached, estimate below":   {level.Input{PSD: psd(1), Dose: dose(5, 50)}, true},
		"both reached":                   {level.Input{PSD: psd(3), Dose: dose(5, 50)}, false},
		"nothing reached":                {level.Input{PSD: psd(1), Dose: dose(1, 50)}, false},
		"Ka,r reached, without estimate": {level.Input{Dose: dose(5, 50)}, false},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			notes := strings.Join(level.Evaluate(level.Default(), tt.in).Notes, "\n")
			assert.Equal(t, tt.want, strings.Contains(notes, "until a physicist settles it"))
		})
	}
}

// drawInput makes inputs around the levels, with any part missing, partial or disbelieved.
func drawInput(t *rapid.T) level.Input {
	var in level.Input
	if rapid.Bool().Draw(t, "has psd") {
		v := rapid.Float64Range(0, 20).Draw(t, "psd")
		in.PSD = quantity.Some(level.Estimated{Value: quantity.Gray(v), High: quantity.Gray(v * rapid.Float64Range(1, 3).Draw(t, "range"))})
	}
	if rapid.Bool().Draw(t, "has kerma") {
		in.Dose.LeastKerma = quantity.Some(quantity.Gray(rapid.Float64Range(0, 10).Draw(t, "kerma")))
		if rapid.Bool().Draw(t, "whole kerma") {
			in.Dose.Kerma = in.Dose.LeastKerma
		}
	}
	if rapid.Bool().Draw(t, "has kap") {
		in.Dose.LeastKAP = quantity.Some(quantity.GraySquareMetre(rapid.Float64Range(0, 0.1).Draw(t, "kap")))
		if rapid.Bool().Draw(t, "whole kap") {
			in.Dose.KAP = in.Dose.LeastKAP
		}
	}
	in.Dose.Suspicion = procedure.Suspicion(rapid.IntRange(0, 3).Draw(t, "suspicion"))
	if rapid.Bool().Draw(t, "has factor") {
		in.KermaFactor = quantity.Some(rapid.Float64Range(0.7, 1.5).Draw(t, "factor"))
	}
	return in
}

func TestStateProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t)
		e := level.Evaluate(level.Default(), in)

		doubted := in
		doubted.Dose.Suspicion |= procedure.SuspectKerma | procedure.SuspectKAP
		d := level.Evaluate(level.Default(), doubted)
		assert.Equal(t, e.State == level.Reached, d.State == level.Reached, "suspicion removes no flag")
		assert.NotEqual(t, level.Below, d.State, "what is not believed is not below")

		without := in
		without.PSD = quantity.None[level.Estimated]()
		w := level.Evaluate(level.Default(), without)
		if w.State == level.Reached {
			assert.Equal(t, level.Reached, e.State, "an estimate silences nothing")
		}
		if v, ok := in.Dose.LeastKerma.Get(); ok && v >= 5 {
			assert.Equal(t, level.Reached, e.State)
		}
		if e.State == level.Below {
			whole := in.PSD.Present() || in.Dose.Kerma.Present() || in.Dose.KAP.Present()
			require.True(t, whole, "below wants something known")
			require.Equal(t, in.Dose.Kerma, in.Dose.LeastKerma)
			require.Equal(t, in.Dose.KAP, in.Dose.LeastKAP)
			require.Empty(t, e.Reasons)
		}
		for _, r := range e.Results {
			if m, ok := r.Margin().Get(); ok && r.State == level.Reached {
				assert.GreaterOrEqual(t, m, 0.0)
			}
		}
	})
}
