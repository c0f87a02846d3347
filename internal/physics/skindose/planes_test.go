package skindose_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// What a small plane lacks counts by that plane's own total: 5 % of plane B is 0.5 % of the case.
func TestKermaWithoutGeometryCountsByPlane(t *testing.T) {
	tests := map[string]struct {
		totalA, totalB quantity.Gray
		want           quantity.Gray // what the high end gains
	}{
		"nothing missing":         {9, 1, 0},
		"1 % of plane B":          {9, 1.0101, 0},
		"5 % of plane B":          {9, 1 / 0.95, 2.4 * (1/0.95 - 1)},
		"5 % of plane A":          {9 / 0.95, 1, 2.4 * (9/0.95 - 9)},
		"1 % of A and 5 % of B":   {9.09, 1 / 0.95, 2.4 * (0.09 + 1/0.95 - 1)},
		"more events than totals": {8, 1, 0},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			a, b := frontal(9), frontal(1)
			a.Plane, b.Plane = procedure.PlaneA, procedure.PlaneB
			b.UID, b.Mechanics.Primary = "1.2.4", some(quantity.Degree(90))
			p := single(10, 10, a, b)
			p.Totals = []procedure.PlaneTotal{
				{Plane: procedure.PlaneA, RefKerma: some(tt.totalA)}, {Plane: procedure.PlaneB, RefKerma: some(tt.totalB)},
			}
			e := skindose.Evaluate(input(p, known()))
			require.Equal(t, skindose.MethodMap, e.Method)
			assert.InDelta(t, float64(tt.want), float64(e.HighForMissing), 1e-9)
		})
	}
}
