package summary_test

import (
	"encoding/json"
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/golden"
	"afterbeam/internal/quantity"
	"afterbeam/internal/summary"
	"afterbeam/internal/summary/trend"
)

// TestSummaryAsJSON keeps the form in which everything that prints a summary gets it, from invented cases. A change that
// breaks a reader gets another number in summary.Schema.
func TestSummaryAsJSON(t *testing.T) {
	in := asPrinted()
	s := summed(t, in)
	text, err := json.MarshalIndent(s, "", " ")
	require.NoError(t, err)
	golden.Check(t, filepath.Join("testdata", "summary.json"), append(text, '\n'))

	var back summary.Summary
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, s, back, "nothing is lost on the way")
	for _, line := range strings.Split(string(text), "\n") {
		if name, value, is := strings.Cut(strings.TrimSpace(line), `": `); is && strings.HasPrefix(value, "null") {
			assert.Contains(t, nullable, strings.Trim(name, `"`), "a list is never null")
		}
	}
}

// nullable are the fields that are null where something is not known or not shown.
var nullable = []string{
	"rooms", "arrival", "change", "share", "low", "high", "substantial", "min", "max", "p10", "p25", "median", "p75", "p90", "p95", "coverage", "p50", "n",
	"low_percent", "high_percent", "kar_gy", "kap_gy_cm2", "ft_min", "psd_gy", "psd_low_gy", "psd_high_gy", "e_msv", "age_years", "weight_kg", "per_100",
	"largest", "level_value", "kar_factor", "kap_factor", "kar_factor_sd_percent", "kap_factor_sd_percent", "age_days", "from_kg", "to_kg", "baseline",
	"centre", "lower", "upper", "range_upper", "range", "above_p75", "local", "year",
}

// asPrinted is a small month with a little of everything.
func asPrinted() summary.Input {
	in := summary.Input{AsOf: "2026-11-20"}
	r := rand.New(rand.NewPCG(20261101, 4))
	first := time.Date(2026, 9, 21, 0, 0, 0, 0, time.UTC)
	for i := range 76 {
		c := invented(r, i, first.AddDate(0, 0, i/2))
		c.Class, c.Complexity = "coronary_diagnostic", "standard"
		if i%10 == 0 {
			c.Class, c.Complexity = "aortic_complex", "complex"
		}
		c.Room, c.Device, c.DeviceName, c.Mobile = "Cath 2", "device-2", "Angio C2", false
		c.Age = quantity.Some(float64(14 + i))
		in.Cases = append(in.Cases, c)
	}
	reached(&in.Cases[60])
	in.Cases[60].Flags = append(in.Cases[60].Flags, summary.Flag{
		Scope: "60 days", Scheme: "ncrp168", Level: "psd", Meaning: summary.MeaningFollowUp, Quantity: "psd", State: summary.StateReached,
		Value: quantity.Some(4.0), LevelValue: quantity.Some(3.0),
	})
	in.Cases[60].Asks = []summary.Ask{openAsk("inform", "2026-10-06"), answeredAsk("early-check", "2026-10-19", "2026-10-18", "seen")}
	in.Cases[60].Reactions = []summary.Reaction{{Day: "2026-10-18", Grade: 1, Place: "back, left"}}
	in.Performed = []summary.Performed{{Day: "2026-10-05", Room: "Cath 2", Arrived: true}, {Day: "2026-10-06", Room: "Cath 2", Why: "nothing came near"}}
	in.Meters = []summary.Meter{{Room: "Cath 2", Device: "device-2", DeviceName: "Angio C2", Checked: true, KermaFactor: quantity.Some(1.04), CheckedOn: "2026-02-11", From: "2026-02-11"}}
	in.Actions = []summary.Action{{ID: "action-1", Period: "2026-08", Text: "look at the protocol of Cath 2", Owner: "physicist", Opened: "2026-09-03", Due: "2026-11-01"}}
	in.Baselines = []trend.Baseline{{
		Key: "x-mr|kap_gy_cm2|coronary_diagnostic|device-2", Kind: trend.ValueAndRange, From: "2025-10-01", To: "2026-01-31", N: 50,
		Centre: 3.2, MovingRange: 0.9, FrozenOn: "2026-02-02", FrozenBy: "quality",
	}}
	return in
}
