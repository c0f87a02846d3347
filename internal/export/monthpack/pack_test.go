package monthpack_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/monthpack"
	"afterbeam/internal/export/paperpdf"
	"afterbeam/internal/peer"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
)

// invented is how an invented class is spread: median and log standard deviation of KAP (Gy cm2), cases a month. Invented numbers.
var invented = []struct {
	class, complexity, room string
	kap, sigma              float64
	month                   int
}{
	{"coronary_diagnostic", "standard", "Cath 2", 28, 0.6, 24},
	{"coronary_intervention", "standard", "Cath 2", 95, 0.7, 36},
	{"rhythm_ablation", "complex", "Rhythm 3", 14, 0.8, 18},
	{"structural_valve", "standard", "Hybrid 1", 70, 0.6, 11},
	{"aortic_complex", "complex", "Hybrid 1", 300, 0.7, 7},
	{"rhythm_device", "standard", "Rhythm 3", 4, 0.8, 6},
	{"neuro", "complex", "Neuro 4", 160, 0.6, 3},
}

// year is an invented year of cases up to the end of October 2026.
func year() summary.Input {
	rng := rand.New(rand.NewPCG(1, 2))
	in := summary.Input{AsOf: "2026-11-02"}
	for m := range 13 {
		first := time.Date(2025, time.October, 1, 8, 0, 0, 0, time.UTC).AddDate(0, m, 0)
		for _, kind := range invented {
			for i := range kind.month {
				at := first.AddDate(0, 0, rng.IntN(28)).Add(time.Duration(rng.IntN(480)) * time.Minute)
				in.Cases = append(in.Cases, caseOf(rng, at, kind.class, kind.complexity, kind.room, kind.kap*math.Exp(kind.sigma*rng.NormFloat64()), fmt.Sprintf("case-%02d-%s-%d", m, kind.class[:5], i)))
			}
		}
	}
	in.Meters = []summary.Meter{
		{Room: "Hybrid 1", Device: "d-Hybrid 1", DeviceName: "Hybrid 1 (synthetic)", KermaFactor: quantity.Some(1.04), KermaUncertainty: quantity.Some(quantity.Percent(2.5)), CheckedOn: "2026-03-02", From: "2026-03-02", Checked: true},
		{Room: "Cath 2", Device: "d-Cath 2", CheckedOn: "2024-03-02", From: "2024-03-02", KermaFactor: quantity.Some(0.6), Checked: true},
	}
	in.Actions = []summary.Action{
		{ID: "a1", Period: "2026-08", Text: "Lower the frame rate of the coronary protocol where the view allows it", Owner: "physicist", Opened: "2026-09-03", Due: "2026-10-15"},
		{ID: "a2", Period: "2026-10", Text: "Teach collimation to new staff", Owner: "quality", Opened: "2026-10-30", Due: "2026-12-01"},
	}
	for i := range 130 {
		in.Performed = append(in.Performed, summary.Performed{Day: "2026-10-05", Room: "Cath 2", Arrived: i%20 != 0, Why: "nothing near"})
	}
	return in
}

func caseOf(rng *rand.Rand, at time.Time, class, complexity, room string, kap float64, id string) summary.Case {
	kerma := kap / 60 * math.Exp(0.4*rng.NormFloat64())
	c := summary.Case{
		ID: id, Start: at, Day: at.Format(time.DateOnly), Class: class, Complexity: complexity, Room: room, Device: "d-" + room, DeviceName: room + " (synthetic)",
		Operators: []string{fmt.Sprintf("P%d", rng.IntN(5))}, Patient: fmt.Sprint("p", rng.IntN(500)), Age: quantity.Some(50 + 30*rng.Float64()), State: summary.StateBelow,
		Weight: quantity.Some(quantity.Kilogram(60 + 50*rng.Float64())), Height: quantity.Some(quantity.Millimetre(1600 + 300*rng.Float64())),
		KAP: quantity.Some(quantity.GraySquareMetre(kap * 1e-4)), Kerma: quantity.Some(quantity.Gray(kerma)), FluoroTime: quantity.Some(quantity.Second(600 + kap*10)), Images: quantity.Some(200 + kap),
		PSD: quantity.Some(quantity.Gray(kerma * 0.7)), PSDLow: quantity.Some(quantity.Gray(kerma * 0.5)), PSDHigh: quantity.Some(quantity.Gray(kerma)), PSDMethod: "map",
		Effective: quantity.Some(quantity.Sievert(kap * 2e-4)), EffectiveMethod: "coefficient",
	}
	switch rng.IntN(40) {
	case 0:
		c.KAP, c.EffectiveNone, c.Effective = quantity.None[quantity.GraySquareMetre](), "no KAP", quantity.None[quantity.Sievert]()
	case 1:
		c.KermaDoubt = summary.DoubtPart
	case 2:
		c.Age, c.Weight = quantity.Some(7+rng.Float64()), quantity.Some(quantity.Kilogram(24))
	case 3:
		c.Class, c.Complexity = "", ""
	}
	if kerma > 5 {
		due := at.AddDate(0, 0, 33).Format(time.DateOnly)
		c.State = summary.StateReached
		c.Flags = []summary.Flag{{Scope: summary.ScopeCase, Scheme: "site", Level: "5 Gy", Meaning: summary.MeaningFollowUp, Quantity: "kar", State: summary.StateReached, Value: quantity.Some(kerma), LevelValue: quantity.Some(5.0)}}
		c.Asks = []summary.Ask{{Kind: summary.AskInform, Owner: "operator", State: summary.AskAnswered, Due: c.Day, AnsweredOn: c.Day}, {Kind: summary.AskMonthCheck, Owner: "operator", State: summary.AskOpen, From: c.Day, Due: due}}
		if rng.IntN(2) == 0 {
			c.Asks[1].State, c.Asks[1].AnsweredOn = summary.AskAnswered, due
			c.Reactions = []summary.Reaction{{Day: due, Grade: 1, Place: "back, left"}}
		}
	}
	return c
}

func summed(t *testing.T, period string) summary.Summary {
	t.Helper()
	in := year()
	var err error
	in.Period, err = summary.ParsePeriod(period)
	require.NoError(t, err)
	s, err := summary.Summarise(in, summary.DefaultSettings())
	require.NoError(t, err)
	return s
}

func inputOf(s summary.Summary) monthpack.Input {
	return monthpack.Input{
		Summary: s, Centre: "Saltmarsh Regional Heart & Vascular Centre", Department: "Dose committee", Notice: "All data are synthetic.",
		Made: time.Date(2026, time.November, 2, 9, 30, 0, 0, time.UTC), Program: "test",
	}
}

// poppler runs a program on a PDF.
func poppler(t *testing.T, pdf []byte, program string, args ...string) string {
	t.Helper()
	program = peer.Need(t, program)
	name := filepath.Join(t.TempDir(), "pack.pdf")
	require.NoError(t, os.WriteFile(name, pdf, 0o600))
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	out, err := exec.CommandContext(ctx, program, append([]string{name}, args...)...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return string(out)
}

func TestPack(t *testing.T) {
	s := summed(t, "2026-10")
	for language, size := range map[string]paperpdf.Size{"en": paperpdf.A4, "de": paperpdf.Letter} {
		t.Run(language, func(t *testing.T) {
			var out bytes.Buffer
			require.NoError(t, monthpack.Write(&out, language, size, inputOf(s)))
			if dir := os.Getenv("AFTERBEAM_SCREENSHOTS"); dir != "" {
				require.NoError(t, os.WriteFile(filepath.Join(dir, "pack-"+language+"-"+string(size)+".pdf"), out.Bytes(), 0o600))
			}
			text := poppler(t, out.Bytes(), "pdftotext", "-layout", "-")
			sections, err := monthpack.Sections(language, inputOf(s), false)
			require.NoError(t, err)
			for i, section := range sections[1:] {
				assert.Contains(t, strings.Join(strings.Fields(text), " "), fmt.Sprintf("%d %s", i+1, section.Title))
			}
			assert.NotRegexp(t, regexp.MustCompile(`\[[a-z_]+\.[a-z_]+\]`), text, "a key without words")
			assert.NotContains(t, text, "{")
			assert.NotContains(t, text, "NaN")
		})
	}
}

// TestWithheld has what leaves the department say in words what it leaves out, and hold no case.
func TestWithheld(t *testing.T) {
	s := summary.Leaving(summed(t, "2026-10"))
	sections, err := monthpack.Sections("en", inputOf(s), false)
	require.NoError(t, err)
	text := fmt.Sprint(sections)
	assert.Contains(t, text, "withheld")
	assert.Contains(t, text, "Lists of single cases are withheld")
	assert.NotContains(t, text, "case-12")
	whole, err := monthpack.Sections("en", inputOf(summed(t, "2026-10")), false)
	require.NoError(t, err)
	assert.Contains(t, fmt.Sprint(whole), "case-12", "the department's own form lists cases")
}

// TestChart draws every chart of a year that can be drawn, alike each time.
func TestChart(t *testing.T) {
	s := summed(t, "2026-10")
	drawn := monthpack.Drawn(s.Charts)
	require.Len(t, drawn, monthpack.MostCharts)
	var first, again bytes.Buffer
	require.NoError(t, monthpack.Chart(&first, "en", drawn[0], s.Period.From, s.Period.To))
	require.NoError(t, monthpack.Chart(&again, "en", drawn[0], s.Period.From, s.Period.To))
	assert.Equal(t, first.Bytes(), again.Bytes())
	assert.True(t, bytes.HasPrefix(first.Bytes(), []byte("\x89PNG")))
	assert.Less(t, first.Len(), 60_000, "eight of them on a page")
	assert.NotEmpty(t, monthpack.ChartWords("de", drawn[0]))
	assert.NotEmpty(t, monthpack.ChartTitle("de", drawn[0]))
}

// TestEmptyMonth composes a month without a case: words, and no number that is not there.
func TestEmptyMonth(t *testing.T) {
	p, err := summary.ParsePeriod("2024-02")
	require.NoError(t, err)
	s, err := summary.Summarise(summary.Input{Period: p, AsOf: "2024-03-01"}, summary.DefaultSettings())
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, monthpack.Write(&out, "de", paperpdf.A4, inputOf(s)))
	text := poppler(t, out.Bytes(), "pdftotext", "-")
	assert.Contains(t, text, "0 von 0: kein Anteil")
	assert.NotContains(t, text, "NaN")
}

func TestRefusedLanguage(t *testing.T) {
	require.ErrorIs(t, monthpack.Write(&bytes.Buffer{}, "fr", paperpdf.A4, inputOf(summed(t, "2026-10"))), monthpack.ErrLanguage)
	require.ErrorIs(t, monthpack.Write(&bytes.Buffer{}, "en", "a5", inputOf(summed(t, "2026-10"))), paperpdf.ErrSize)
}
