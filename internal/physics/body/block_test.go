package body_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/body"
)

// TestWhatBlocksMayBlock holds the shortcut for groups against every patch of them: with arms, from anywhere around.
func TestWhatBlocksMayBlock(t *testing.T) {
	b, err := body.New(body.Size{ArmsAlongside: true}, 20)
	require.NoError(t, err)
	blocked := false
	rapid.Check(t, func(t *rapid.T) {
		focus := r3.Vec{
			X: rapid.Float64Range(-900, 900).Draw(t, "x"), Y: rapid.Float64Range(-900, 900).Draw(t, "y"), Z: rapid.Float64Range(-1200, 1500).Draw(t, "z"),
		}
		g := &b.Groups[rapid.IntRange(0, len(b.Groups)-1).Draw(t, "group")]
		for i := g.First; i < g.End; i++ {
			assert.Equal(t, b.Patches[g.First].Part, b.Patches[i].Part, "a group is of one part")
			if b.Facing(i, focus) && b.Blocked(i, focus, r3.Sub(b.Patches[i].Centre, focus)) {
				blocked = true
				assert.True(t, b.MayBlock(g, focus))
			}
		}
	})
	focus := r3.Vec{Y: -900, Z: 300}
	for i := range b.Patches {
		blocked = blocked || b.Facing(i, focus) && b.Blocked(i, focus, r3.Sub(b.Patches[i].Centre, focus))
	}
	assert.True(t, blocked, "something was in the way of something")
}
