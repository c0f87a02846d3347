package skindose_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"gonum.org/v1/gonum/stat"

	"afterbeam/internal/physics/skindose"
)

// The first 2^k points take each of the 2^k equally likely intervals of each dimension once.
func TestPointsFillEachDimensionEvenly(t *testing.T) {
	for dimension := range skindose.Dimensions {
		for _, n := range []int{8, 32, 128} {
			taken := make([]int, n)
			for _, z := range skindose.Normals(dimension, n) {
				taken[min(int(float64(n)*(1+math.Erf(z/math.Sqrt2))/2), n-1)]++
			}
			for cell, times := range taken {
				assert.Equal(t, 1, times, "dimension %d, interval %d of %d", dimension, cell, n)
			}
		}
	}
}

func TestDimensionsAreIndependent(t *testing.T) {
	for a := range skindose.Dimensions {
		x := skindose.Normals(a, skindose.Points)
		assert.InDelta(t, 0, stat.Mean(x, nil), 0.02)     // random points would lie within 0.09 (one standard deviation)
		assert.InDelta(t, 1, stat.Variance(x, nil), 0.12) // 0.12: the outermost point of 128 lies anywhere beyond 2.4
		for b := range a {
			// Random points would scatter by 0.09; three of these.
			assert.InDelta(t, 0, stat.Correlation(x, skindose.Normals(b, skindose.Points), nil), 0.27, "%d and %d", a, b)
		}
	}
}
