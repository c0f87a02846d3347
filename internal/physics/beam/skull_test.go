package beam_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/quantity"
)

// B of 5 mm of skin on 6 mm of bone on water; source: own photon Monte Carlo of the project, computed.
func TestSkullMeetsItsMonteCarlo(t *testing.T) {
	tests := []struct {
		kv     quantity.Kilovolt
		copper quantity.Millimetre
		sides  [5]float64
	}{
		{60, 0, [5]float64{1.161, 1.180, 1.186, 1.188, 1.189}},
		{80, 0, [5]float64{1.183, 1.215, 1.227, 1.232, 1.235}},
		{80, 0.3, [5]float64{1.238, 1.301, 1.328, 1.341, 1.348}},
		{100, 0.3, [5]float64{1.244, 1.321, 1.357, 1.376, 1.386}},
		{120, 0.9, [5]float64{1.247, 1.348, 1.401, 1.431, 1.449}},
	}
	for _, tt := range tests {
		t.Run(fmt.Sprintf("%v kV %v mm Cu", tt.kv, tt.copper), func(t *testing.T) {
			b, err := beam.New(beam.Quality{Voltage: tt.kv, Aluminium: 3, Copper: tt.copper})
			require.NoError(t, err)
			for k, want := range tt.sides {
				side := quantity.Millimetre(50 * (k + 1))
				got := 1 + (b.Scatter().Square(side)-1)*b.Skull().Left(side)
				assert.InEpsilon(t, want, got, 0.006, "%v mm", side) // another tungsten model made the expectation
			}
		})
	}
}

func TestSkullOutsideItsTable(t *testing.T) {
	soft, err := beam.Mono(20)
	require.NoError(t, err)
	hard, err := beam.Mono(140)
	require.NoError(t, err)
	assert.Greater(t, hard.Skull().Left(100), soft.Skull().Left(100))
	assert.Equal(t, soft.Skull().Left(50), soft.Skull().Left(10))    //nolint:testifylint // the same entry of the table
	assert.Equal(t, hard.Skull().Left(250), hard.Skull().Left(4000)) //nolint:testifylint // the same
	assert.InEpsilon(t, 140, hard.MeanEnergy(), 1e-12)               // one energy
}
