package skindose_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
)

func TestPlacesInWords(t *testing.T) {
	b, err := body.New(body.Size{}, 1)
	require.NoError(t, err)
	tests := map[string]struct {
		at   r3.Vec
		want string
	}{
		"back":       {r3.Vec{Y: 100, Z: 355}, "middle back, midline, 36 cm above the trunk base"},
		"right back": {r3.Vec{X: -100, Y: 86.6, Z: 505}, "right posterior chest, 10 cm right of the posterior midline along the skin, 50 cm above the trunk base"},
		"breastbone": {r3.Vec{Y: -100, Z: 505}, "breastbone, on the anterior midline, 50 cm above the trunk base"},
		"left front": {r3.Vec{X: 100, Y: -86.6, Z: 505}, "left anterior chest, 10 cm left of the anterior midline, 50 cm above the trunk base"},
		"head":       {r3.Vec{Y: 100, Z: 896}, "posterior head, on the posterior midline, 9 cm below the top of the head"},
		"left leg":   {r3.Vec{X: 80, Y: 80, Z: -205}, "left back of the thigh, on the midline of the leg's back, 20 cm below the trunk base"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tt.want, skindose.PlaceOf(b, patchAt(b, tt.at)).String())
		})
	}
	assert.Empty(t, skindose.Place{}.String())
}

func TestClassInJSON(t *testing.T) {
	text, err := json.Marshal(skindose.LittleKnown)
	require.NoError(t, err)
	assert.Equal(t, `"little known"`, string(text))
}
