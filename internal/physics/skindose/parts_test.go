package skindose_test

import (
	"runtime"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/quantity"
)

// So many beams are summed in parts side by side: neither their order nor the number of processors changes a bit, and the
// parts add up to what the beams give a few at a time.
func TestManyBeamsSideBySide(t *testing.T) {
	b, err := body.New(body.Size{}, 4)
	require.NoError(t, err)
	list := longCase(100, 150)
	whole := irradiate(t, b, list...)
	slices.Reverse(list)
	assert.Equal(t, whole.Dose, irradiate(t, b, list...).Dose, "order")
	procs := runtime.GOMAXPROCS(1)
	alone := irradiate(t, b, list...)
	runtime.GOMAXPROCS(procs)
	assert.Equal(t, whole.Dose, alone.Dose, "one processor")
	assert.Equal(t, whole.Contributions, alone.Contributions)
	assert.Equal(t, whole.Fields, alone.Fields)
	sum := make([]quantity.Gray, len(b.Patches))
	for few := range slices.Chunk(list, 30) {
		m, err := skindose.Irradiate(few, b, beam.SoftTissue)
		require.NoError(t, err)
		for i, d := range m.Dose {
			sum[i] += d
		}
	}
	for i, d := range whole.Dose {
		assert.InDelta(t, float64(sum[i]), float64(d), 1e-12*float64(d)) // additions in another order
	}
}
