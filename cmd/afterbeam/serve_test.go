package main

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
	"afterbeam/internal/settings"
	"afterbeam/internal/store"
)

func TestTheSetupIsAskedForWhereTheServiceIs(t *testing.T) {
	for name, tt := range map[string]struct {
		settings settings.HTTP
		want     string
	}{
		"loopback":            {settings.HTTP{Listen: "127.0.0.1:8480"}, "http://127.0.0.1:8480"},
		"loopback, version 6": {settings.HTTP{Listen: "[::1]:8480"}, "http://[::1]:8480"},
		"behind a proxy":      {settings.HTTP{Listen: "0.0.0.0:8480", BehindProxy: true}, "http://localhost:8480"},
		"every address":       {settings.HTTP{Listen: ":8480", Certificate: "c.pem"}, "https://NAME-IN-CERTIFICATE:8480"},
		"one name":            {settings.HTTP{Listen: "dose.example:443", Certificate: "c.pem"}, "https://dose.example:443"},
	} {
		assert.Equal(t, tt.want, reachedAt(tt.settings), name)
	}
}

// TestASumSaysHowItCameAbout adds up three procedures: one whole, one whose peak is a lower bound and whose kerma lacks a
// plane, one without an effective dose.
func TestASumSaysHowItCameAbout(t *testing.T) {
	whole := store.Case{
		LocalDate: "2026-09-14", Kerma: quantity.Some[quantity.Gray](2), KAP: quantity.Some[quantity.GraySquareMetre](0.02), FluoroTime: quantity.Some[quantity.Second](60),
		PSD: quantity.Some[quantity.Gray](1), PSDLow: quantity.Some[quantity.Gray](0.5), PSDHigh: quantity.Some[quantity.Gray](2), PSDMethod: "map",
		Effective: quantity.Some[quantity.Sievert](0.01), EffectiveMethod: "events",
	}
	bound, lacking := whole, whole
	bound.Gaps, bound.EffectiveMethod = store.LowerBound|store.GapKerma, "class"
	lacking.Effective, lacking.EffectiveMethod = quantity.None[quantity.Sievert](), "none"
	for name, tt := range map[string]struct {
		cases     []store.Case
		effective string
		atLeast   []httpapi.Quantity
	}{
		"whole":   {[]store.Case{whole, whole}, "estimates of 2 of 2 procedures added, of a reference person; methods: events", nil},
		"bound":   {[]store.Case{whole, bound}, "estimates of 2 of 2 procedures added, of a reference person; methods: class, events", []httpapi.Quantity{httpapi.SumOfKerma, httpapi.SumOfPeaks}},
		"lacking": {[]store.Case{whole, lacking}, "estimates of 1 of 2 procedures added, of a reference person; methods: events", []httpapi.Quantity{httpapi.SumOfEffective}},
		"none":    {[]store.Case{lacking}, "no procedure has an estimate", []httpapi.Quantity{httpapi.SumOfEffective}},
	} {
		windows, err := sums{assessment.Default(), nothingLaid{}}.Sums(t.Context(), tt.cases, "2026-09-14")
		require.NoError(t, err)
		for _, w := range windows {
			assert.Equal(t, tt.effective, w.EffectiveMethod, name)
			assert.Equal(t, tt.atLeast, w.AtLeast, name)
			want := "peaks added: an upper bound, since they need not lie on the same skin"
			if len(tt.cases) == 1 {
				want = "the peak of one procedure"
			}
			assert.Equal(t, want, w.PeakSkinMethod, name)
			assert.Equal(t, httpapi.MappedSkin{Method: "not worked out for the procedures of this window", Flagged: "upper bound"}, w.Skin, name)
		}
	}
}

// nothingLaid keeps no sum.
type nothingLaid struct{}

func (nothingLaid) LevelsInForce(context.Context) (level.Set, bool, error) {
	return level.Set{}, false, nil
}

func (nothingLaid) SkinSums(context.Context, []string) (map[string][]byte, error) { return nil, nil }
