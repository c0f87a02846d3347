package transport_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/transport"
)

// TestStretched: a point belongs to the stretched region where it belonged to the region before it was moved along.
func TestStretched(t *testing.T) {
	regions, err := transport.Phantom(transport.ArmsAlongside)
	require.NoError(t, err)
	before, err := transport.NewWorld(regions, cell)
	require.NoError(t, err)
	s := transport.Stretch{Trunk: r3.Vec{X: 1.2, Y: 1.3, Z: 0.9}, Head: r3.Vec{X: 0.8, Y: 0.9, Z: 1.1}, Legs: r3.Vec{X: 1.2, Y: 1.2, Z: 0.7}}
	after, err := transport.NewWorld(s.Stretched(regions), cell)
	require.NoError(t, err)
	const apart = 3 // mm from where zones meet: parts of the neighbour reach over by 2 mm
	rapid.Check(t, func(t *rapid.T) {
		p := r3.Vec{
			X: rapid.Float64Range(-210, 210).Draw(t, "x"), Y: rapid.Float64Range(-130, 110).Draw(t, "y"), Z: rapid.Float64Range(-800, 990).Draw(t, "z"),
		}
		q := r3.Vec{X: s.Trunk.X * p.X, Y: s.Trunk.Y * p.Y, Z: s.Trunk.Z * p.Z}
		switch {
		case p.Z < -apart:
			q = r3.Vec{X: s.Legs.X * p.X, Y: s.Legs.Y * p.Y, Z: s.Legs.Z * p.Z}
		case p.Z > 700+apart:
			q = r3.Vec{X: s.Head.X * p.X, Y: s.Head.Y * p.Y, Z: 700*s.Trunk.Z + s.Head.Z*(p.Z-700)}
		case p.Z < apart || p.Z > 700-apart:
			return
		}
		for _, hair := range []r3.Vec{{X: 1e-6}, {Y: 1e-6}, {Z: 1e-6}} {
			if before.Locate(p) != before.Locate(r3.Add(p, hair)) || before.Locate(p) != before.Locate(r3.Sub(p, hair)) {
				return // on a surface rounding decides
			}
		}
		assert.Equal(t, before.Locate(p), after.Locate(q), "%v mm", p)
	})
	for i, r := range s.Stretched(regions) {
		assert.InEpsilon(t, regions[i].Volume, r.Volume/volumeFactor(s, regions[i]), 1e-12, r.Name)
	}
}

func volumeFactor(s transport.Stretch, r transport.Region) float64 {
	by := s.Trunk
	switch middle := (r.Low.Z + r.High.Z) / 2; {
	case middle > 700:
		by = s.Head
	case middle < 0:
		by = s.Legs
	}
	return by.X * by.Y * by.Z
}
