package commission_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

const heading = "plane = \"single\"\nday = \"2026-11-20\"\nby = \"P\"\n"

const oneExposure = "[[exposure]]\nevent = 1\nregistered = \"HFS\"\ndetector = [0, 0]\ntable = [0, 0, 0]\n"

func TestReadFillsEverything(t *testing.T) {
	text := heading + oneExposure + `
[heights]
event = 1
isocentre_height_mm = 1070
table_top_height_mm = 940.5
source_to_table_mm = 655
midline_left_mm = -3
[dosimeter]
name = "D"
certificate = "C 1"
calibration_percent = 3
energy_percent = 4
distance_mm = 2
field_side_mm = 1
uniformity_percent = 2.5
[[reading]]
event = 2
kerma_mgy = 10.5
distance_mm = 635
behind_table = true
field_width_mm = 120
field_height_mm = 100
`
	got, err := commission.Read(strings.NewReader(text))
	require.NoError(t, err)
	percent := quantity.Some[quantity.Percent]
	assert.Equal(t, commission.Record{
		Plane: procedure.PlaneSingle, Day: "2026-11-20", By: "P",
		Exposures: []commission.Exposure{{Event: 1, Direction: procedure.HeadFirst, Posture: procedure.Supine}},
		Heights:   commission.Heights{Event: 1, Isocentre: mm(1070), TableTop: mm(940.5), SourceToTable: mm(655), Midline: mm(-3)},
		Dosimeter: commission.Dosimeter{
			Name: "D", Certificate: "C 1", Calibration: percent(3), Energy: percent(4), Distance: mm(2), Side: mm(1), Uniformity: percent(2.5),
		},
		Readings: []commission.Reading{{Event: 2, Kerma: 10.5 * quantity.MilliGray, Distance: 635, BehindTable: true, Width: mm(120), Height: mm(100)}},
	}, got)
}

func TestReadRefuses(t *testing.T) {
	reading := "[[reading]]\nevent = 2\nkerma_mgy = 10\ndistance_mm = 635\nbehind_table = false\n"
	tests := map[string]struct{ text, want string }{
		"the empty form":        {commission.Protocol(), "day wants a date"},
		"no TOML":               {"plane = \"A\"\nday = 1 1", "line 2 is no TOML"},
		"misspelt key":          {heading + "dosimetr = 1\n" + oneExposure, "unknown key \"dosimetr\""},
		"plane":                 {strings.Replace(heading, "single", "C", 1) + oneExposure, "single, A or B"},
		"nobody":                {strings.Replace(heading, "\"P\"", "\"\"", 1) + oneExposure, "by is empty"},
		"nothing done":          {heading, "no [[exposure]]"},
		"name without end":      {strings.Replace(heading, "\"P\"", "\""+strings.Repeat("x", 201)+"\"", 1) + oneExposure, "by is longer"},
		"no event":              {heading + strings.Replace(oneExposure, "event = 1", "event = 0", 1), "exposure 1: event wants"},
		"registration":          {heading + strings.Replace(oneExposure, "HFS", "HF", 1), "registered wants HFS"},
		"registration, posture": {heading + strings.Replace(oneExposure, "HFS", "HFX", 1), "registered wants HFS"},
		"no detector":           {heading + strings.Replace(oneExposure, "detector = [0, 0]", "", 1), "detector wants [left, head]"},
		"detector too far":      {heading + strings.Replace(oneExposure, "detector = [0, 0]", "detector = [0, 91]", 1), "detector wants"},
		"no table":              {heading + strings.Replace(oneExposure, "table = [0, 0, 0]", "table = [0, 0]", 1), "table wants [head, left, down]"},
		"table of no number":    {heading + strings.Replace(oneExposure, "table = [0, 0, 0]", "table = [0, nan, 0]", 1), "table wants"},
		"one event twice":       {heading + oneExposure + oneExposure, "exposure 2: event 1 stands in two exposures"},
		"height of no number":   {heading + oneExposure + "[heights]\nevent = 1\ntable_top_height_mm = inf\n", "table_top_height_mm wants"},
		"heights of no event":   {heading + oneExposure + "[heights]\ntable_top_height_mm = 900\n", "heights: event wants"},
		"certificate of 0 %":    {heading + oneExposure + "[dosimeter]\ncalibration_percent = 0\n", "calibration_percent wants a number of 0.1 to 30"},
		"no kerma":              {heading + strings.Replace(reading, "kerma_mgy = 10", "", 1), "reading 1: kerma_mgy wants"},
		"kerma in Gy x 1000":    {heading + strings.Replace(reading, "kerma_mgy = 10", "kerma_mgy = 10200", 1), "kerma_mgy wants"},
		"chamber in cm":         {heading + strings.Replace(reading, "635", "63.5", 1), "distance_mm wants"},
		"table or not":          {heading + strings.Replace(reading, "behind_table = false", "", 1), "behind_table is missing"},
		"half a field":          {heading + reading + "field_width_mm = 100\n", "come together"},
		"reading of no event":   {heading + strings.Replace(reading, "event = 2", "", 1), "reading 1: event wants"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := commission.Read(strings.NewReader(tt.text))
			require.ErrorIs(t, err, commission.ErrRecord)
			assert.Contains(t, err.Error(), tt.want)
		})
	}
}

// FuzzCheck feeds any form into the check of a report: a refusal or a result, never a panic.
func FuzzCheck(f *testing.F) {
	f.Add(heading + oneExposure)
	f.Add(form())
	report := plainEquipment().reported(filled(f).Exposures, still, still)
	f.Fuzz(func(t *testing.T, text string) {
		record, err := commission.Read(strings.NewReader(text))
		if err != nil {
			require.ErrorIs(t, err, commission.ErrRecord)
			return
		}
		if _, err := commission.Check(report, record, procedure.DeviceProfile{}); err != nil {
			require.ErrorIs(t, err, commission.ErrReport)
		}
	})
}
