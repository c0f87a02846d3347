package skindose_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

func budget(percent ...quantity.Percent) skindose.Budget {
	var b skindose.Budget
	for _, p := range percent {
		b = append(b, skindose.Part{Percent: p})
	}
	return b
}

// The three states of knowledge: display, distance, table, backscatter, tissue, place. Source: judgement of the project.
var states = map[skindose.Class]skindose.Budget{
	skindose.Controlled:  budget(3, 3, 3, 3, 1, 2),
	skindose.Typical:     budget(8, 8, 6, 4, 1, 8),
	skindose.LittleKnown: budget(20, 16, 12, 6, 4, 15),
}

func TestBudgetsOfTheThreeClasses(t *testing.T) {
	tests := map[skindose.Class]struct{ sum, published float64 }{
		// Published: Krajinovic M, Vujisic M, Ciraj-Bjelac O 2021, Radiat Prot Dosim 195:129-135 (abstract read).
		skindose.Controlled:  {13, 13},
		skindose.Typical:     {31, 28},
		skindose.LittleKnown: {66, 61},
	}
	for class, tt := range tests {
		t.Run(class.String(), func(t *testing.T) {
			b := states[class]
			assert.InDelta(t, tt.sum, float64(b.Expanded()), 0.6)          // printed in whole percent
			assert.InEpsilon(t, tt.published, float64(b.Expanded()), 0.12) // another author's components
			assert.Equal(t, class, b.Class())
		})
	}
}

func TestRangeIsThatOfALogNormalDose(t *testing.T) {
	b := states[skindose.Typical]
	// By hand: ln 1.08 three times, ln 1.06, ln 1.04, ln 1.01.
	sigma := math.Sqrt(3*math.Pow(math.Log(1.08), 2) + math.Pow(math.Log(1.06), 2) + math.Pow(math.Log(1.04), 2) + math.Pow(math.Log(1.01), 2))
	low, high := b.Range(2)
	assert.InEpsilon(t, 2*math.Exp(-2*sigma), float64(low), 1e-12)
	assert.InEpsilon(t, 2*math.Exp(2*sigma), float64(high), 1e-12)
}

func TestMorePartsMeanAWiderRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b skindose.Budget
		last := 1.0
		for range rapid.IntRange(1, 6).Draw(t, "parts") {
			b = append(b, skindose.Part{Percent: quantity.Percent(rapid.Float64Range(0.1, 40).Draw(t, "percent"))})
			low, high := b.Range(1)
			assert.Greater(t, float64(high), last)
			assert.InEpsilon(t, 1, float64(low*high), 1e-12)
			last = float64(high)
		}
	})
}
