package reference_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary/reference"
)

func level(t *testing.T, id string) reference.Level {
	t.Helper()
	for _, l := range reference.Levels() {
		if l.ID == id {
			return l
		}
	}
	t.Fatalf("no level %q", id)
	return reference.Level{}
}

// TestCompareWithPublished has what ARPANSA says of coronary angiograms (median 24, level 30, first quartile 16 Gy cm2;
// read), and Mesnard et al 2025 (read): 208 Gy cm2 and 1.753 Gy against 340 and 2.8, an older era of 441 and 3.644.
func TestCompareWithPublished(t *testing.T) {
	tests := map[string]struct {
		level       string
		median, low float64
		want        reference.Verdict
	}{
		"at the published median":              {"au20-ca-kap", 24, 20, reference.NotAbove},
		"between median and level":             {"au20-ca-kap", 27, 20, reference.Between},
		"at the level is not above":            {"au20-ca-kap", 30, 20, reference.Between},
		"above, its interval too":              {"au20-ca-kap", 31, 30.1, reference.Above},
		"above, its interval reaches the edge": {"au20-ca-kap", 31, 30, reference.PossiblyAbove},
		"below the first quartile":             {"au20-ca-kap", 15, 12, reference.BelowP25},
		"at the first quartile":                {"au20-ca-kap", 16, 12, reference.NotAbove},
		"newer era, KAP":                       {"us25-fbevar-kap", 208, 200, reference.NotAbove},
		"newer era, kerma":                     {"us25-fbevar-kar", 1.753, 1.7, reference.NotAbove},
		"older era, KAP":                       {"us25-fbevar-kap", 441, 420, reference.Above},
		"older era, kerma":                     {"us25-fbevar-kar", 3.644, 3.4, reference.Above},
		"no quartile is published":             {"uk23-tevar-kap", 1, 0.5, reference.NotAbove},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, tt.want, reference.Compare(tt.median, quantity.Some(tt.low), level(t, tt.level)))
		})
	}
	assert.Equal(t, reference.PossiblyAbove, reference.Compare(31, quantity.None[float64](), level(t, "au20-ca-kap")), "without an interval nothing is firm")
}

func TestTablesAreWhole(t *testing.T) {
	fits := 0
	for _, l := range reference.Levels() {
		assert.NotEmpty(t, l.Unit, l.ID)
		if l.Class != "" {
			fits++
			assert.True(t, lexicon.Known(l.Class), l.ID)
		}
		if p50, ok := l.P50.Get(); ok {
			assert.Less(t, p50, l.Value, l.ID)
			assert.Less(t, l.P25.Or(0), p50, l.ID)
		}
	}
	assert.Greater(t, fits, 70, "most rows fit a class")
	assert.NotEmpty(t, reference.Distributions())
	assert.Len(t, reference.Tables(), 2)
	assert.Equal(t, "mobile", level(t, "es20-evar-mobile-kap").Mount)
	assert.Equal(t, "memory", level(t, "es20-evar-fixed-kar").Known, "not everything of one source is known alike")
}

func TestParseRefuses(t *testing.T) {
	const header = "id,country,procedure,class,complexity,mount,fit,quantity,value,p25,p50,kind,year,source,known,note\n"
	const row = "a,Here,words,neuro,complex,,close,kap_gy_cm2,100,,,drl,2020,who,read,\n"
	got, err := reference.Parse(strings.NewReader(header + row))
	require.NoError(t, err)
	require.Len(t, got, 1)
	tests := map[string]struct{ from, to, want string }{
		"an unknown class":      {"neuro", "brain", `line 2: reference levels not usable: class "brain": want a class of the lexicon`},
		"no number":             {",100,", ",lots,", `value "lots": want a number above 0`},
		"zero":                  {",100,", ",0,", `value "0": want a number above 0`},
		"not a number":          {",100,", ",NaN,", `value "NaN": want a number above 0`},
		"an unknown quantity":   {"kap_gy_cm2", "kap", `quantity "kap": want kap_gy_cm2`},
		"a year":                {"2020", "20", `year "20": want four digits`},
		"no source":             {",who,", ",,", "source: want text"},
		"an unknown kind":       {",drl,", ",limit,", `kind "limit": want one of`},
		"a class that fits not": {"close", "none", "fit is none where there is no class"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := reference.Parse(strings.NewReader(header + strings.Replace(row, tt.from, tt.to, 1)))
			require.ErrorIs(t, err, reference.ErrInvalid)
			assert.ErrorContains(t, err, tt.want)
		})
	}
	_, err = reference.Parse(strings.NewReader(header + row + row))
	assert.ErrorContains(t, err, `line 3: reference levels not usable: id "a": want one that no other row has`)
	_, err = reference.Parse(strings.NewReader("id,value\n"))
	assert.ErrorIs(t, err, reference.ErrInvalid)
}
