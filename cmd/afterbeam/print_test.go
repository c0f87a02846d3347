package main

import (
	"bytes"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/effective"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestGray(t *testing.T) {
	tests := map[string]struct {
		v     quantity.Gray
		edges []float64
		want  string
	}{
		"from 1 Gy two decimals":              {3.384, nil, "3.38 Gy"},
		"below 1 Gy three figures":            {0.2297, nil, "0.230 Gy"},
		"small":                               {0.0287, nil, "0.0287 Gy"},
		"below a level never the level":       {2.999, []float64{3}, "2.99 Gy"},
		"at the level":                        {3, []float64{3}, "3.00 Gy"},
		"a site's own level":                  {0.49996, []float64{0.5}, "0.4999 Gy"},
		"without that level it rounds":        {0.49996, nil, "0.500 Gy"},
		"reported as zero":                    {0, nil, "0 Gy"},
		"beyond all sense, and still a line":  {4e12, nil, "4e+12 Gy"},
		"just below the change of the digits": {0.99996, []float64{1}, "0.9999 Gy"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) { assert.Equal(t, tt.want, gray(tt.v, tt.edges...)) })
	}
}

func TestKAP(t *testing.T) {
	of := func(gycm2 float64) quantity.GraySquareMetre {
		return quantity.GraySquareMetre(gycm2) * quantity.GraySquareCentimetre
	}
	assert.Equal(t, "4.31 Gy cm2", kap(of(4.31)))
	assert.Equal(t, "1171 Gy cm2", kap(of(1171.2)))
	assert.Equal(t, "500 Gy cm2", kap(of(499.7)))
	assert.Equal(t, "499 Gy cm2", kap(of(499.7), 500), "below a level never the level")
}

func TestSpread(t *testing.T) {
	assert.Equal(t, "estimated 2.97 Gy, range 1.5 to 5.2 Gy (k=2)", spread(2.97, 1.5, 5.2, false, 3))
	assert.Equal(t, "estimated 2.4 Gy, range 1.8 to 2.99 Gy (k=2)", spread(2.4, 1.8, 2.99, false, 3), "the high end below the level neither")
	assert.Equal(t, "estimated, at least 10 Gy, range 8.4 to 12 Gy (k=2)", spread(10.17, 8.42, 12.3, true, 10))
	assert.Equal(t, "estimated 4.2 mGy, range 2.0 to 11 mGy (k=2)", spread(0.0042, 0.002, 0.0111, false, 3), "one unit for all three")
	assert.Equal(t, "estimated 2.99 mGy, range 1.0 to 11 mGy (k=2)", spread(0.00299, 0.001, 0.0111, false, 0.003), "a level in the unit that is printed")
}

func TestLeast(t *testing.T) {
	some, none := quantity.Some(quantity.Gray(2)), quantity.None[quantity.Gray]()
	print := func(v quantity.Gray) string { return gray(v) }
	assert.Equal(t, "Ka,r 2.00 Gy", least("Ka,r", some, some, nil, print))
	assert.Equal(t, "Ka,r at least 2.00 Gy (missing or incomplete for plane B)", least("Ka,r", none, some, []string{"plane B"}, print))
	assert.Equal(t, "Ka,r - (not reported)", least("Ka,r", none, none, nil, print))
}

func TestReportedMarksDoubt(t *testing.T) {
	one := quantity.Some(quantity.Gray(1))
	got := reported(procedure.CaseDose{Kerma: one, LeastKerma: one, Suspicion: procedure.SuspectKerma | procedure.SuspectKAP}, level.Edges{})
	assert.Equal(t, "Ka,r 1.00 Gy (NOT BELIEVED, see findings)   KAP - (not reported)   fluoroscopy - (not reported)", got)
}

func evaluation(kerma, factor float64) level.Evaluation {
	v := quantity.Some(quantity.Gray(kerma))
	in := level.Input{Dose: procedure.CaseDose{Kerma: v, LeastKerma: v}, PSDReason: "none"}
	if factor > 0 {
		in.KermaFactor = quantity.Some(factor)
	}
	return level.Evaluate(level.Default(), in)
}

func TestEdgesKeepEveryStepOfALevel(t *testing.T) {
	// MPPG 12.a: 3 Gy, then each further Gy. 5.9996 Gy has passed 5 and not 6.
	assert.Equal(t, "5.99 Gy", gray(5.9996, evaluation(5.9996, 0).Edges().Kerma...))
	// With a factor of 1.2 the deciding value is over 7; what is displayed still lies below 6.
	assert.Equal(t, "5.99 Gy", gray(5.9996, evaluation(5.9996, 1.2).Edges().Kerma...))
	assert.Equal(t, "2.99 Gy", gray(2.9999, evaluation(2.9999, 0).Edges().Kerma...))
}

func TestStateLine(t *testing.T) {
	assert.Equal(t, "BELOW the 2 levels that could be compared; 3 unknown", stateLine(evaluation(1, 0)))
	assert.Equal(t, "REACHED: 1 of 5 levels reached; 3 unknown", stateLine(evaluation(3, 0)))
	assert.Contains(t, stateLine(level.Evaluate(level.Default(), level.Input{PSDReason: "none"})), "UNKNOWN, which is not below")
	assert.Equal(t, "quality-control exposure: no patient flag", stateLine(level.Evaluate(level.Default(), level.Input{QualityControl: true})))
	near := level.Evaluate(level.Default(), level.Input{PSD: quantity.Some(level.Estimated{Value: 2.9, High: 3.1, Method: "map"})})
	assert.Contains(t, stateLine(near), "NEAR: the range of the estimate reaches 1 of")
}

// printed prints with a printer into text.
func printed(why bool, print func(*printer)) string {
	var b bytes.Buffer
	p := printer{w: &b, why: why}
	print(&p)
	return b.String()
}

func TestLevelsPrintWhatIsNotBelow(t *testing.T) {
	short := printed(false, func(p *printer) { p.levels(evaluation(5.2, 0), "single delivery") })
	assert.Contains(t, short, "[reached] AAPM MPPG 12.a, prompts notification: Ka,r 5.20 Gy, level 3.00 Gy; 3 steps passed, the last at 5.00 Gy")
	assert.Contains(t, short, "[unknown] NCRP 168 substantial levels, prompts follow-up: KAP not known, level 500 Gy cm2")
	assert.NotContains(t, short, "[below]")
	assert.NotContains(t, short, "tissue-reaction", "no band without an estimate")
	assert.Contains(t, printed(true, func(p *printer) { p.levels(evaluation(3.2, 0), "single delivery") }), "[below] NCRP 168")
}

func TestBand(t *testing.T) {
	band := func(value, high quantity.Gray) string {
		e := level.Evaluate(level.Default(), level.Input{PSD: quantity.Some(level.Estimated{Value: value, High: high})})
		return printed(true, func(p *printer) { p.row("", p.band(e, "single delivery")...) })
	}
	assert.Empty(t, band(0.5, 1.9))
	assert.Contains(t, band(1.5, 2.5), "tissue-reaction band A1, up to A2 at the high end of the range (single delivery; bands are not rigid and foretell nothing for one patient)")
	assert.Contains(t, band(1.5, 2.5), "published for A2: prompt: transient erythema")
	assert.NotContains(t, band(2.5, 3.5), "up to")
}

func TestSkinLines(t *testing.T) {
	none := skinLines(skindose.Estimate{Method: skindose.MethodNone, Reason: "no kerma"}, level.Edges{})
	assert.Equal(t, []string{"- (no estimate: no kerma)"}, none)
	gy := func(v quantity.Gray) quantity.Opt[quantity.Gray] { return quantity.Some(v) }
	totals := strings.Join(skinLines(skindose.Estimate{
		Method: skindose.MethodTotals, Value: gy(1), Low: gy(0.4), High: gy(2), Class: skindose.LittleKnown, Reason: "no events", LowerBound: true,
	}, level.Edges{}), "\n")
	assert.Contains(t, totals, "estimated, at least 1.0 Gy, range 0.40 to 2.0 Gy (k=2)")
	assert.Contains(t, totals, "because: no events")
	assert.Contains(t, totals, "the dose may lie above the range")
}

func TestEffectiveLines(t *testing.T) {
	assert.Equal(t, []string{"- (no estimate: a child)"}, effectiveLines(effective.Estimate{Method: effective.MethodNone, Reason: "a child"}))
	sv := func(v quantity.Sievert) quantity.Opt[quantity.Sievert] {
		return quantity.Some(v * quantity.MilliSievert)
	}
	lines := effectiveLines(effective.Estimate{Method: "events", Value: sv(4.56), Low: sv(2), High: sv(9.04), Covered: quantity.Some(quantity.Percent(61.2))})
	assert.Equal(t, []string{"estimated 4.6 mSv, range 2.0 to 9.0 mSv, of a reference person; from events", "covers 61 % of the kerma-area product"}, lines)
}

func TestFindingsAreGroupedTheGravestFirst(t *testing.T) {
	of := func(rule string, s procedure.Severity, place string) procedure.Finding {
		return procedure.Finding{Rule: rule, Severity: s, Place: place, Text: "text of " + rule}
	}
	var c assessed
	c.Procedure.Findings = []procedure.Finding{
		of("a", procedure.Note, ""), of("b", procedure.Reduced, "event 1"), of("b", procedure.Reduced, "event 2"), of("c", procedure.Suspect, "total"),
	}
	short := printed(false, func(p *printer) { p.findings(c) })
	assert.Contains(t, short, "1 suspect, 1 reduced, 1 note (--why lists all)\n")
	assert.Contains(t, short, "[suspect] total: text of c (c)")
	assert.NotContains(t, short, "text of b")
	long := printed(true, func(p *printer) { p.findings(c) })
	assert.Contains(t, long, "[reduced] event 1 and 1 more: text of b (b)")
	assert.Less(t, strings.Index(long, "text of c"), strings.Index(long, "text of b"))
	c.Procedure.Findings = c.Procedure.Findings[:1]
	assert.Empty(t, printed(false, func(p *printer) { p.findings(c) }), "notes change nothing and stand in --why")
}

func TestPlain(t *testing.T) {
	assert.Equal(t, "Fluoroscopy Höhe 15/s μ", plain("Fluoroscopy Höhe 15/s μ"))
	for _, r := range hostile {
		if unprintable(r) {
			assert.Equal(t, "a\ufffdb", plain("a"+string(r)+"b"), "%U", r)
		}
	}
	assert.True(t, utf8.ValidString(plain("\xff\x1b")))
	assert.Len(t, []rune(plain(strings.Repeat("é", 5000))), longest+len("..."))
	assert.NotContains(t, printed(false, func(p *printer) { p.say("%s %v", "a\nb", os.ErrNotExist) }), "a\nb")
}

func TestEscapeJSONKeepsTheText(t *testing.T) {
	assert.Equal(t, "{\n \"a\": \"\\u009b\\u202e\\udb40\\udc01é\"\n}", string(escapeJSON([]byte("{\n \"a\": \"\u009b\u202e\U000e0001é\"\n}"))))
}

func TestThePrinterKeepsTheFirstError(t *testing.T) {
	closed, err := os.CreateTemp(t.TempDir(), "")
	require.NoError(t, err)
	require.NoError(t, closed.Close())
	p := printer{w: closed}
	p.say("one")
	first := p.err
	require.ErrorIs(t, first, os.ErrClosed)
	p.say("two")
	assert.Equal(t, first, p.err)
}

func TestTheBarIsForTerminals(t *testing.T) {
	var b bytes.Buffer
	progress := bar(&b, "reading")
	for i := range 200 {
		progress(i+1, 200)
	}
	assert.Empty(t, b.String())
	file, err := os.CreateTemp(t.TempDir(), "")
	require.NoError(t, err)
	bar(file, "reading")(1, 200)
	info, err := file.Stat()
	require.NoError(t, err)
	assert.Zero(t, info.Size())
	require.NoError(t, file.Close())
}
