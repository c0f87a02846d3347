package main

import (
	"bytes"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/export/casejson"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/rdsr"
)

// ran runs the program in this process and wants everything estimated.
func ran(t *testing.T, args ...string) []byte {
	t.Helper()
	var out, messages bytes.Buffer
	require.Equal(t, exitDone, run(args, console{out: &out, err: &messages}), messages.String())
	return out.Bytes()
}

// scenarioFolder writes the scenario, the first of its odd reports and the device profiles.
func scenarioFolder(t *testing.T) (reports []string, profiles string) {
	t.Helper()
	dir := t.TempDir()
	for _, c := range scenario()[:len(demo.Cases())+1] {
		var b bytes.Buffer
		require.NoError(t, rdsr.Write(&b, &c.Report, rdsr.WriteOptions{}))
		reports = append(reports, filepath.Join(dir, c.File))
		require.NoError(t, os.WriteFile(reports[len(reports)-1], b.Bytes(), 0o600))
	}
	profiles = filepath.Join(dir, "devices.toml")
	require.NoError(t, os.WriteFile(profiles, []byte(demo.ProfileFile()), 0o600))
	return reports, profiles
}

// TestScenario prints the whole scenario with coarse patches in every way.
func TestScenario(t *testing.T) {
	reports, profiles := scenarioFolder(t)
	estimate := func(flags ...string) []byte {
		return ran(t, append(append([]string{"estimate", "--patch", "10", "--profile", profiles}, flags...), reports...)...)
	}
	text := estimate("--why", "--sources")
	encoded := estimate("--json")
	t.Run("text and JSON agree", func(t *testing.T) {
		var doc casejson.Document
		require.NoError(t, json.Unmarshal(encoded, &doc))
		require.Len(t, doc.Cases, len(reports))
		agreeAll(t, strings.Split(string(text), "\n\n"), doc)
	})
	t.Run("nobody is named", func(t *testing.T) {
		everything := append(slices.Clone(text), encoded...)
		for _, name := range reports {
			everything = append(everything, ran(t, "inspect", name)...)
		}
		for _, secret := range secrets() {
			assert.False(t, bytes.Contains(everything, []byte(secret)), "%q is printed", secret)
		}
	})
	t.Run("the order of files changes nothing", func(t *testing.T) {
		chance := rand.New(rand.NewPCG(1, 2))
		chance.Shuffle(len(reports), func(i, j int) { reports[i], reports[j] = reports[j], reports[i] })
		assert.Equal(t, string(text), string(estimate("--why", "--sources")))
	})
}

// secrets are the names and numbers of the people of the scenario, but for who signs device profiles: that is shown.
func secrets() []string {
	var all []string
	for _, c := range scenario() {
		r := c.Report
		all = append(all, r.Patient.Name, r.Patient.ID, r.Patient.BirthDate, r.Patient.Issuer, r.Study.AccessionNumber)
		for _, person := range r.Persons {
			all = append(all, person.Name, person.ID, person.Login)
		}
	}
	slices.Sort(all)
	return slices.DeleteFunc(slices.Compact(all), func(s string) bool { return strings.Contains(demo.ProfileFile(), s) })
}

// agreeAll holds each number of the text against the JSON of the same run, to the printed digit.
func agreeAll(t *testing.T, blocks []string, doc casejson.Document) {
	t.Helper()
	const skin = `peak skin dose  estimated(?:, at least)? (\S+) (m?Gy), range (\S+) to (\S+) `
	for i, c := range doc.Cases {
		block := blocks[i]
		require.Contains(t, block, c.Files[0])
		if c.Procedure.Purpose == "patient" {
			require.Contains(t, block, c.Patient)
			agree(t, block, skin, c.SkinDose.ValueGy, c.SkinDose.LowGy, c.SkinDose.HighGy)
			agree(t, block, `effective dose  estimated (\S+) (mSv), range (\S+) to (\S+) `, c.Effective.ValueMSv, c.Effective.LowMSv, c.Effective.HighMSv)
			require.Contains(t, block, "levels          "+strings.ToUpper(c.Levels.State))
		}
		agree(t, block, `Ka,r (?:at least )?(\S+) (Gy)`, c.Dose.KermaLeastGy)
		agree(t, block, `KAP (?:at least )?(\S+) (Gy cm2)`, c.Dose.KAPLeastGycm2)
		agree(t, block, `fluoroscopy (?:at least )?(\S+) (min)`, c.Dose.FluoroscopyLeastMin)
	}
	require.NotEmpty(t, doc.Sums)
	for i, s := range doc.Sums {
		block := blocks[len(doc.Cases)+i]
		require.Contains(t, block, "of "+s.Patient+" in the 60 days up to "+s.To)
		agree(t, block, skin, s.PeakSkinGy, s.PeakSkinLowGy, s.PeakSkinHighGy)
		agree(t, block, `Ka,r (?:at least )?(\S+) (Gy)`, s.KermaGy)
		agree(t, block, `KAP (?:at least )?(\S+) (Gy cm2)`, s.KAPGycm2)
	}
}

// agree finds numbers in a block of text, the unit second among them, and holds them against values in Gy, Gy cm2, mSv or
// min: within half of the last printed digit, or cut to it where rounding up would print a level. An absent value has no
// number but a dash with a reason.
func agree(t *testing.T, block, pattern string, values ...quantity.Opt[float64]) {
	t.Helper()
	found := regexp.MustCompile(pattern).FindStringSubmatch(block)
	if !values[0].Present() {
		require.Nil(t, found, "%s in %s", pattern, block)
		require.Regexp(t, pattern[:strings.Index(pattern, " ")]+`.* - \(`, block)
		return
	}
	require.NotNil(t, found, "%s in %s", pattern, block)
	size := map[string]float64{"mGy": 1e-3}[found[2]]
	for i, number := range append([]string{found[1]}, found[3:]...) {
		value, ok := values[i].Get()
		require.True(t, ok, pattern)
		if size != 0 {
			value /= size
		}
		printed, err := strconv.ParseFloat(number, 64)
		require.NoError(t, err)
		_, fraction, _ := strings.Cut(number, ".")
		digit := math.Pow(10, -float64(len(fraction)))
		if value >= 100 && pattern[0] != 'K' && pattern[0] != 'f' {
			digit = 10 // two significant figures of an estimate
		}
		rounded := math.Abs(printed-value) <= digit/2*(1+1e-9) // a half in binary fractions
		cut := printed < value && value-printed < digit
		assert.True(t, rounded || cut, "%s prints %s for %v", pattern, number, value)
	}
}
