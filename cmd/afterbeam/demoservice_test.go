package main

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
)

// A sum that is below its level never prints as the level, also in the unit that people read.
func TestAnsweredNumbersStayBelowTheirLevels(t *testing.T) {
	five, fiveHundred := 5.0, 0.05 // Gy, and 500 Gy cm2 in Gy m2
	w := httpapi.Window{Flags: []httpapi.Flag{
		{Quantity: string(level.Kerma), Level: &five}, {Quantity: string(level.KAP), Level: &fiveHundred},
	}}
	kerma, kap, at := 4.9999, 499.9999, 5.0
	assert.Equal(t, "4.99 Gy", answered(&kerma, "Gy", levelsOf(w, level.Kerma)))
	assert.Equal(t, "499.99 Gy cm2", answered(&kap, "Gy cm2", levelsOf(w, level.KAP)))
	assert.Equal(t, "5.00 Gy", answered(&at, "Gy", levelsOf(w, level.Kerma)))
	assert.Equal(t, "-", answered(nil, "Gy", nil))
}
