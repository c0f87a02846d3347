package demo_test

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/procedure"
)

func TestCasesAreTheSameEachTime(t *testing.T) {
	require.True(t, reflect.DeepEqual(demo.Cases(), demo.Cases()))
	require.True(t, reflect.DeepEqual(demo.Profiles(), demo.Profiles()))
}

func TestIdentifiersAreUniqueAndUnderTheUUIDRoot(t *testing.T) {
	seen := map[string]string{}
	once := func(uid, what string) {
		require.Regexp(t, `^2\.25\.[1-9][0-9]{30,38}$`, uid, what)
		require.LessOrEqual(t, len(uid), 64, what)
		require.Empty(t, seen[uid], "%s repeats the identifier of %s", what, seen[uid])
		seen[uid] = what
	}
	files := map[string]bool{}
	for _, c := range demo.Cases() {
		require.False(t, files[c.File], c.File)
		files[c.File] = true
		require.Equal(t, ".dcm", filepath.Ext(c.File))
		once(c.Report.SOPInstanceUID, c.File)
		once(c.Report.SeriesUID, c.File+" series")
		once(c.Report.StudyUID, c.File+" study")
		for i, e := range c.Report.Events {
			once(e.UID, fmt.Sprintf("%s event %d", c.File, i+1))
		}
	}
}

func TestEverythingSaysSynthetic(t *testing.T) {
	for _, c := range demo.Cases() {
		r := c.Report
		texts := map[string]string{
			"title": c.Title, "patient": r.Patient.Name, "institution": r.Study.Institution, "comment": r.Comment,
			"study": r.Study.Description, "performed": r.Study.Performed, "maker": r.Device.Manufacturer,
			"software": r.Device.Software, "issuer": r.Patient.Issuer,
		}
		for i, p := range r.Persons {
			texts[fmt.Sprint("person ", i)] = p.Name
			texts[fmt.Sprint("organization ", i)] = p.Organization
		}
		for what, text := range texts {
			assert.Contains(t, strings.ToLower(text), "synthetic", "%s: %s", c.File, what)
		}
		assert.NotEmpty(t, r.Persons, c.File)
	}
	assert.Contains(t, demo.Notice, "synthetic")
}

// PS3.5 table 6.2-1: LO holds 64 characters, SH 16, a component group of PN 64.
func TestTextsFitTheirValueRepresentation(t *testing.T) {
	for _, c := range demo.Cases() {
		r := c.Report
		for text, most := range map[string]int{
			r.Study.Description: 64, r.Study.Institution: 64, r.Patient.ID: 64, r.Patient.Issuer: 64, r.Patient.Name: 64,
			r.Device.Manufacturer: 64, r.Device.Model: 64, r.Device.Serial: 64, r.Device.Software: 64,
			r.Study.AccessionNumber: 16, r.Device.Station: 16,
		} {
			assert.LessOrEqual(t, utf8.RuneCountInString(text), most, text)
			assert.NotEmpty(t, text, c.File)
		}
	}
}

func TestTimesRunForwardInAutumn2026(t *testing.T) {
	day := ""
	for _, c := range demo.Cases() {
		r := c.Report
		require.Less(t, day, r.Study.Date.LocalDate(), "cases stand in order of date: %s", c.File)
		day = r.Study.Date.LocalDate()
		require.GreaterOrEqual(t, day, "2026-09-14")
		require.LessOrEqual(t, day, "2026-11-30")
		wantOffset := 0
		if day < "2026-10-25" {
			wantOffset = 3600 // clocks go back on the last Sunday of October
		}
		ends := map[procedure.Plane]time.Time{}
		for i, e := range r.Events {
			_, offset := e.Start.Time.Zone()
			require.Equal(t, wantOffset, offset, "%s event %d", c.File, i+1)
			require.Equal(t, day, e.Start.LocalDate())
			require.False(t, e.Start.Time.Before(ends[e.Plane]), "%s event %d begins before the last one ended", c.File, i+1)
			ends[e.Plane] = e.Start.Time.Add(time.Duration(float64(e.Technique.Duration.Or(0)) * 1e9))
		}
		for _, end := range ends {
			require.True(t, r.Content.Time.After(end), "%s is written after its last event", c.File)
		}
	}
}

// report gives the case of a file.
func report(t *testing.T, file string) procedure.Report {
	t.Helper()
	for _, c := range demo.Cases() {
		if c.File == file {
			return c.Report
		}
	}
	require.Fail(t, "no such case", file)
	return procedure.Report{}
}

const (
	stageOne = "hybrid1-branched-repair-stage1.dcm"
	stageTwo = "hybrid1-branched-repair-stage2.dcm"
)

func TestTheStagedRepairIsOnePatientInsideSixtyDays(t *testing.T) {
	one, two := report(t, stageOne), report(t, stageTwo)
	assert.Equal(t, one.Patient.ID, two.Patient.ID)
	assert.Equal(t, one.Device.Key(), two.Device.Key())
	assert.InDelta(t, 36, two.Study.Date.Time.Sub(one.Study.Date.Time).Hours()/24, 1)
	first, second := float64(one.Planes[0].RefKerma.Or(0)), float64(two.Planes[0].RefKerma.Or(0))
	assert.InDelta(t, 4.2, first, 0.1)
	assert.InDelta(t, 5.6, second, 0.1)
	assert.Greater(t, float64(one.Planes[0].FluoroTime.Or(0)), 3600.0)
}

func TestOneSteepViewCarriesMuchOfBothStages(t *testing.T) {
	for _, file := range []string{stageOne, stageTwo} {
		r := report(t, file)
		steep := 0.0
		for _, e := range r.Events {
			if math.Abs(float64(e.Mechanics.Primary.Or(0))-55) < 3 && math.Abs(float64(e.Mechanics.Secondary.Or(0))-15) < 3 {
				steep += float64(e.RefKerma.Or(0))
			}
		}
		assert.Greater(t, steep/float64(r.Planes[0].RefKerma.Or(0)), 0.35, file)
	}
}

func TestRepairsHoldARotationWithEndAngles(t *testing.T) {
	for _, file := range []string{stageOne, stageTwo, "hybrid1-arch-repair.dcm"} {
		turns := 0
		for _, e := range report(t, file).Events {
			assert.Equal(t, e.Type == procedure.Rotational, e.Mechanics.PrimaryEnd.Present())
			if e.Type == procedure.Rotational {
				turns++
				assert.InDelta(t, 200, float64(e.Mechanics.PrimaryEnd.Or(0)-e.Mechanics.Primary.Or(0)), 1e-9)
			}
		}
		assert.Positive(t, turns, file)
	}
}

func TestTheBiplaneRoomTellsBothPlanes(t *testing.T) {
	r := report(t, "rhythm3-ablation.dcm")
	require.Len(t, r.Planes, 2)
	count := map[procedure.Plane]int{}
	for _, e := range r.Events {
		count[e.Plane]++
	}
	assert.Greater(t, count[procedure.PlaneA], count[procedure.PlaneB])
	assert.Greater(t, count[procedure.PlaneB], 20)
	assert.Len(t, count, 2)
}

func TestSmallCases(t *testing.T) {
	t.Run("low dose angiography", func(t *testing.T) {
		assert.Less(t, float64(report(t, "cath2-coronary-angiography.dcm").Planes[0].RefKerma.Or(1)), 0.3)
	})
	t.Run("totals alone", func(t *testing.T) {
		r := report(t, "mobile-rhythm-device.dcm")
		assert.Empty(t, r.Events)
		assert.Len(t, r.Planes, 1)
	})
	t.Run("quality control", func(t *testing.T) {
		r := report(t, "neuro4-quality-control.dcm")
		assert.True(t, r.Intent.Is("113680", "DCM"))
		assert.Equal(t, procedure.PurposeQualityControl, r.Purpose)
	})
	for _, c := range demo.Cases() {
		if len(c.Report.Events) > 0 && c.Report.Purpose == procedure.PurposePatient {
			assert.GreaterOrEqual(t, len(c.Report.Events), 40, c.File)
			assert.LessOrEqual(t, len(c.Report.Events), 300, c.File)
		}
	}
}

func TestWriteAll(t *testing.T) {
	name := func(w io.Writer, r *procedure.Report) error {
		_, err := io.WriteString(w, r.SOPInstanceUID)
		return err
	}
	t.Run("one file a case", func(t *testing.T) {
		dir := filepath.Join(t.TempDir(), "new")
		paths, err := demo.WriteAll(dir, name)
		require.NoError(t, err)
		require.Len(t, paths, len(demo.Cases()))
		for i, c := range demo.Cases() {
			require.Equal(t, filepath.Join(dir, c.File), paths[i])
			content, err := os.ReadFile(paths[i])
			require.NoError(t, err)
			assert.Equal(t, c.Report.SOPInstanceUID, string(content))
		}
	})
	t.Run("an encoder's error names the file", func(t *testing.T) {
		broken := errors.New("broken")
		paths, err := demo.WriteAll(t.TempDir(), func(_ io.Writer, r *procedure.Report) error {
			if r.Purpose == procedure.PurposeQualityControl {
				return broken
			}
			return nil
		})
		require.ErrorIs(t, err, broken)
		assert.ErrorContains(t, err, "neuro4-quality-control.dcm")
		assert.Len(t, paths, len(demo.Cases())-1)
	})
	t.Run("a folder that cannot be", func(t *testing.T) {
		file := filepath.Join(t.TempDir(), "file")
		require.NoError(t, os.WriteFile(file, nil, 0o600))
		_, err := demo.WriteAll(filepath.Join(file, "below"), name)
		require.Error(t, err)
	})
}

func TestProfilesBelongToTheRooms(t *testing.T) {
	rooms := map[string]string{}
	for _, c := range demo.Cases() {
		rooms[c.Report.Device.Key()] = c.Report.Device.Room
	}
	signed, unsigned, factors := 0, 0, 0
	for _, p := range demo.Profiles() {
		assert.Contains(t, rooms, p.Device)
		assert.Contains(t, p.Name, rooms[p.Device])
		if p.SignedBy == "" {
			unsigned++
			assert.Equal(t, procedure.DeviceProfile{Device: p.Device, Name: p.Name, Version: p.Version, From: p.From}, p)
			continue
		}
		signed++
		e := firstEvent(t, p.Device)
		assert.Equal(t, e.SourceToIsocentre, p.SourceToIsocentre)
		assert.Equal(t, e.SourceToReference, p.RefPoint)
		if p.KermaFactor.Present() {
			factors++
			assert.True(t, p.Height.Zero.Present() && p.Longitudinal.Zero.Present() && p.Lateral.Zero.Present())
		}
	}
	assert.Equal(t, []int{3, 1, 1}, []int{signed, unsigned, factors})
}

// firstEvent gives where the first event of a device stood.
func firstEvent(t *testing.T, device string) procedure.Mechanics {
	t.Helper()
	for _, c := range demo.Cases() {
		if c.Report.Device.Key() == device {
			return c.Report.Events[0].Mechanics
		}
	}
	require.Fail(t, "no case on the device", device)
	return procedure.Mechanics{}
}
