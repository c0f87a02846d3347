package demo_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/ask"
	"afterbeam/internal/golden"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/rdsr"
)

// year is made once: it takes half a second.
var year = sync.OnceValue(demo.Year) //nolint:gochecknoglobals // the same each time, read only

// shown is what a report of the year shows of the doses: Gy, Gy cm2, minutes; 0 where it says nothing.
func shown(r procedure.Report) (sum [3]float64) {
	for _, p := range r.Planes {
		sum[0] += float64(p.RefKerma.Or(0))
		sum[1] += p.KAP.Or(0).Gycm2()
		sum[2] += p.FluoroTime.Or(0).Minutes()
	}
	return sum
}

// sane tells whether a report shows all three, without the month of the changed protocol and values slipped by a unit.
func sane(c demo.YearCase) bool {
	s := shown(c.Report)
	changed := c.Report.Device.Software != "synthetic 1.0"
	return c.Sent && !changed && s[0] > 0 && s[1] > 0 && s[2] > 0
}

func TestDosesOfTheYearAreSpreadAsTheTableSays(t *testing.T) {
	// median, sigma of the logarithm: Gy and Gy cm2, as in year.csv with the factor of the centre
	tests := map[string]struct{ kerma, kermaSigma, kap, kapSigma, minutes float64 }{
		"valve":          {0.927, 0.47, 113, 0.54, 30},
		"angiography":    {0.37, 0.6, 23.2, 0.6, 3.9},
		"coronary stent": {0.95, 0.6, 56.8, 0.6, 12},
		"ablation":       {0.217, 0.85, 17.0, 0.85, 17},
		"head vessels":   {0.26, 0.41, 43, 0.44, 5.6},
		"device":         {0.031, 0.7, 4.4, 0.7, 5.4},
	}
	for class, tt := range tests {
		t.Run(class, func(t *testing.T) {
			var logs [3][]float64
			for _, c := range year() {
				if c.Class == class && sane(c) {
					for i, v := range shown(c.Report) {
						logs[i] = append(logs[i], math.Log(v))
					}
				}
			}
			n := float64(len(logs[0]))
			require.Greater(t, n, 45.0)
			near := func(name string, want, sigma float64, x []float64) {
				mean, got := stat.MeanStdDev(x, nil)
				// Four standard errors of a mean and of a standard deviation, and 3 % for fields that the detector ends.
				assert.InDelta(t, math.Log(want), mean, 4*sigma/math.Sqrt(n)+0.03, "median of %s", name)
				assert.InDelta(t, sigma, got, 4*sigma/math.Sqrt(2*n)+0.03, "spread of %s", name)
			}
			near("kerma", tt.kerma, tt.kermaSigma, logs[0])
			near("KAP", tt.kap, tt.kapSigma, logs[1])
			assert.InDelta(t, math.Log(tt.minutes), stat.Mean(logs[2], nil), 0.25, "minutes: the second plane counts as well")
			for _, pair := range [][2]int{{0, 1}, {0, 2}, {1, 2}} {
				// 0.77 was drawn; on some fifty cases the standard error is 0.06.
				r := stat.Correlation(logs[pair[0]], logs[pair[1]], nil)
				assert.InDelta(t, 0.77, r, 0.2, "correlation of %v", pair)
			}
		})
	}
}

// TestYear keeps the year's figures in a file, so that no change of the tables goes unseen.
func TestYear(t *testing.T) {
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n\n%-20s %6s %6s %6s %10s %11s %9s\n", demo.Notice, "class", "cases", "sent", "events", "Ka,r Gy", "KAP Gy cm2", "minutes")
	byClass := map[string][]demo.YearCase{}
	var classes []string
	for _, c := range year() {
		if byClass[c.Class] == nil {
			classes = append(classes, c.Class)
		}
		byClass[c.Class] = append(byClass[c.Class], c)
	}
	slices.Sort(classes)
	for _, class := range classes {
		sent, events := 0, 0
		var sum [3]float64
		for _, c := range byClass[class] {
			if !c.Sent {
				continue
			}
			sent++
			events += len(c.Report.Events)
			for i, v := range shown(c.Report) {
				sum[i] += v
			}
		}
		fmt.Fprintf(&b, "%-20s %6d %6d %6d %10s %11s %9s\n", class, len(byClass[class]), sent, events,
			quantity.Fixed(sum[0], 4), quantity.Fixed(sum[1], 2), quantity.Fixed(sum[2], 1))
	}
	golden.Check(t, "testdata/year.txt", b.Bytes())
}

func TestTheYearIsTheSameEachTime(t *testing.T) {
	one, two := year(), demo.Year()
	for i := range one {
		if i%50 == 0 {
			var a, b bytes.Buffer
			require.NoError(t, rdsr.Write(&a, &one[i].Report, rdsr.WriteOptions{}))
			require.NoError(t, rdsr.Write(&b, &two[i].Report, rdsr.WriteOptions{}))
			require.Equal(t, a.Bytes(), b.Bytes(), one[i].File)
		}
	}
	assert.Equal(t, demo.YearPerformed(one), demo.YearPerformed(two))
}

func TestTheYearIsOrderedAndSaysItIsSynthetic(t *testing.T) {
	cases := year()
	uids, letters := map[string]bool{}, map[string]int{}
	for i, c := range cases {
		r := c.Report
		require.False(t, uids[r.StudyUID] || i > 0 && c.Start.Before(cases[i-1].Start), c.File)
		uids[r.StudyUID] = true
		day := c.Start.Format(time.DateOnly)
		require.True(t, demo.YearFrom <= day && day <= demo.YearTo, day)
		require.NotContains(t, []time.Weekday{time.Saturday, time.Sunday}, c.Start.Weekday())
		require.True(t, strings.HasPrefix(r.Patient.Name, "Synthetic^"), c.File)
		require.Contains(t, r.Study.Description, "(synthetic)")
		require.Contains(t, r.Study.Institution, "(synthetic)")
		require.LessOrEqual(t, len(r.Events), 14, c.File)
		for _, e := range r.Events {
			for _, mA := range e.Technique.Currents {
				require.True(t, 5 < mA && mA < 1100, "%s: %v mA", c.File, float64(mA))
			}
		}
		for _, p := range r.Persons {
			require.True(t, strings.HasSuffix(p.Name, "^Synthetic"), p.Name)
			letters[p.ID]++
		}
	}
	assert.Greater(t, len(letters), 10, "several operators")
}

// TestTheYearHasWhatIsMissingInRealOnes holds the year to its purpose.
func TestTheYearHasWhatIsMissingInRealOnes(t *testing.T) {
	count := map[string]int{}
	patients := map[string]int{}
	for _, c := range year() {
		r := c.Report
		if !c.Sent {
			count["never sent"]++
			continue
		}
		if c.Class == "branched" {
			patients[r.Patient.ID]++
		}
		if age, _ := r.Patient.AgeYears.Get(); age < 16 {
			count["child"]++
		}
		if r.Patient.MayBePregnant() {
			count["pregnant"]++
		}
		if !r.Patient.Height.Present() {
			count["without size"]++
		}
		if !r.Planes[0].KAP.Present() {
			count["without KAP"]++
		}
		if len(r.Events) == 0 && c.Class != "device" {
			count["totals only"]++
		}
		if len(r.Persons) == 0 {
			count["without operator"]++
		}
		if len(r.Planes[0].Calibrations) == 0 {
			count["display never checked"]++
		}
	}
	for _, n := range patients {
		if n > 1 {
			count["staged repair"]++
		}
	}
	assert.Equal(t, 1, count["pregnant"])
	for _, what := range []string{"never sent", "child", "without size", "without KAP", "totals only", "without operator", "display never checked", "staged repair"} {
		assert.GreaterOrEqual(t, count[what], 4, what)
	}
}

// TestChangedProtocolShowsInOneRoom compares the coronary cases of the month of the change with those before.
func TestChangedProtocolShowsInOneRoom(t *testing.T) {
	var before, during []float64
	for _, c := range year() {
		if c.Class != "angiography" && c.Class != "coronary stent" || !c.Sent {
			continue
		}
		day := c.Start.Format(time.DateOnly)
		x := math.Log(shown(c.Report)[0])
		switch {
		case day < "2026-09-01":
			before = append(before, x)
		case day < "2026-10-01":
			during = append(during, x)
			for _, e := range c.Report.Events {
				if e.Type == procedure.Fluoroscopy {
					assert.InDelta(t, 15, float64(e.Technique.PulseRate.Or(0)), 1e-9)
				}
			}
		}
	}
	shift := stat.Mean(during, nil) - stat.Mean(before, nil)
	assert.InDelta(t, math.Log(1.8), shift, 0.4, "about three standard errors of a month of two classes")
}

func TestPerformedTableOfTheYearHoldsEveryCase(t *testing.T) {
	cases := year()
	rows, err := csv.NewReader(strings.NewReader(demo.YearPerformed(cases))).ReadAll()
	require.NoError(t, err)
	cancelled := 0
	accessions := map[string]bool{}
	for _, r := range rows[1:] {
		require.False(t, accessions[r[1]], r[1])
		require.LessOrEqual(t, len(r[1]), 16, "an accession number of DICOM")
		accessions[r[1]] = true
		if r[2] == "cancelled" {
			cancelled++
		}
	}
	assert.Len(t, rows, 1+len(cases)+cancelled)
	assert.Greater(t, cancelled, 4)
}

func TestRepliesComeInTimeLateOrNever(t *testing.T) {
	count := map[string]int{}
	for _, c := range year()[:300] {
		for _, a := range []ask.Ask{
			{Slot: "month", Kind: ask.MonthCheck, From: "2026-03-01", Due: "2026-03-07", State: ask.Open},
			{Slot: "review", Kind: ask.Review, Due: "2026-03-02", State: ask.Open},
		} {
			said, on, ok := c.Reply(a)
			switch {
			case !ok:
				count["never"]++
				continue
			case on > a.Due:
				count["late"]++
			default:
				count["in time"]++
			}
			require.NoError(t, said.Check(a, "2026-02-02", on), "what they say is whole")
			assert.True(t, said.Closes(a))
			again, day, _ := c.Reply(a)
			assert.Equal(t, said, again)
			assert.Equal(t, on, day)
		}
	}
	assert.Greater(t, count["in time"], count["late"])
	assert.Greater(t, count["late"], count["never"])
	assert.Positive(t, count["never"])
}
