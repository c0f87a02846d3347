package skinmap_test

import (
	"bytes"
	"image/png"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/skinmap"
	"afterbeam/internal/golden"
	"afterbeam/internal/quantity"
)

func someDirections() skinmap.Directions {
	return skinmap.Directions{
		Primary: []quantity.Degree{-30, 0, 30}, Secondary: []quantity.Degree{15, -15},
		Dose: [][]quantity.Opt[quantity.Gray]{
			{quantity.Some[quantity.Gray](1.5), quantity.None[quantity.Gray]()},
			{quantity.Some[quantity.Gray](2.999), quantity.Some[quantity.Gray](4.2)},
			{quantity.Some[quantity.Gray](0.8), quantity.Some[quantity.Gray](12)},
		},
		Title: "1 Gy more from <each> direction", Caption: "invented", Earlier: "invented",
	}
}

func TestDirectionsAreDrawn(t *testing.T) {
	var svg, again, picture bytes.Buffer
	require.NoError(t, someDirections().SVG(&svg))
	require.NoError(t, someDirections().SVG(&again))
	assert.Equal(t, svg.String(), again.String())
	golden.Check(t, "testdata/directions.svg", svg.Bytes())
	for _, words := range []string{">2.99<", ">-<", "RAO 30", "cranial 15", "caudal 15", "&lt;each&gt;", "each number has a range."} {
		assert.Contains(t, svg.String(), words)
	}
	assert.NotContains(t, svg.String(), ">3.00<", "a dose below a level never prints as the level")
	require.NoError(t, someDirections().PNG(&picture))
	image, err := png.Decode(&picture)
	require.NoError(t, err)
	assert.Equal(t, 1575, image.Bounds().Dx()) // 200 mm at 200 dots per inch
}

func TestNoDirections(t *testing.T) {
	var out bytes.Buffer
	for _, d := range []skinmap.Directions{{}, {Dose: [][]quantity.Opt[quantity.Gray]{{quantity.None[quantity.Gray]()}}}} {
		require.ErrorIs(t, d.SVG(&out), skinmap.ErrNoMap)
		require.ErrorIs(t, d.PNG(&out), skinmap.ErrNoMap)
	}
	assert.Zero(t, out.Len())
}
