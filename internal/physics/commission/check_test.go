package commission_test

import (
	"maps"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func check(t require.TestingT, report *procedure.Report, record commission.Record) *commission.Result {
	r, err := commission.Check(report, record, procedure.DeviceProfile{})
	require.NoError(t, err)
	return r
}

func frameOf(q equipment) procedure.AngleFrame {
	if q.patient {
		return procedure.FramePatient
	}
	return procedure.FrameGantry
}

// assertTrue holds everything that is shown against what the equipment really does; places names what is allowed to be unknown.
func assertTrue(t require.TestingT, q equipment, r *commission.Result, far float64) {
	for i, a := range []commission.Axis{r.Longitudinal, r.Lateral, r.Height} {
		if a.State == commission.Shown {
			require.Equal(t, procedure.TableAxis{Meaning: q.means[i].Meaning, Sign: q.means[i].Sign}, a.Means)
		} else {
			require.Zero(t, a.Means)
		}
	}
	if r.Angles.State == commission.Shown {
		require.Equal(t, frameOf(q), r.Angles.Frame)
	} else {
		require.Equal(t, procedure.FrameUnknown, r.Angles.Frame)
	}
	if zero, ok := r.HeightZero.Number.Get(); ok {
		for _, a := range q.means {
			if a.Meaning == procedure.AxisTableDown {
				want, _ := a.Zero.Get()
				require.InDelta(t, float64(want), float64(zero), far)
			}
		}
	}
}

// Every combination of meanings, signs and frame is found from a report that went through the file format.
func TestEveryCombinationIsFound(t *testing.T) {
	record := filled(t)
	for name, q := range everyEquipment() {
		t.Run(name, func(t *testing.T) {
			r := check(t, sent(t, q.reported(record.Exposures, still, still)), record)
			for _, c := range []commission.Conclusion{
				r.Longitudinal.Conclusion, r.Lateral.Conclusion, r.Height.Conclusion, r.Angles.Conclusion,
				r.HeightZero.Conclusion, r.LeftZero.Conclusion, r.HeadZero.Conclusion,
			} {
				assert.Equal(t, commission.Shown, c.State, "%s: %s", c.Question, c.Says)
			}
			assertTrue(t, q, r, 1.1) // mm: the two tapes of the record differ by 2
			assert.Len(t, r.Angles.Events, 11)
			assert.Empty(t, r.Notes)
			for i, a := range []procedure.TableAxis{r.Profile.Longitudinal, r.Profile.Lateral, r.Profile.Height} {
				want, _ := q.means[i].Zero.Get()
				switch sign := quantity.Millimetre(a.Sign); a.Meaning {
				case procedure.AxisTableLeft:
					want -= 4 * sign // the table started 4 mm left of the isocentre by the record
				case procedure.AxisTableHead:
					want += 12 * sign
				case procedure.AxisTableDown:
					want += sign // the mean of 120 and 118 mm
				case procedure.AxisUnknown:
				}
				got, ok := a.Zero.Get()
				require.True(t, ok)
				assert.InDelta(t, float64(want), float64(got), 1e-9)
			}
		})
	}
}

// What each exposure alone shows stays unknown without it, and nothing turns false.
func TestEachExposureLeftOut(t *testing.T) {
	record := filled(t)
	lost := map[int]struct {
		meaning procedure.AxisMeaning // of the position whose meaning is lost
		frame   bool
		height  bool // the zero of the height is lost
	}{
		1: {height: true}, // the tape was read there
		2: {meaning: procedure.AxisTableHead},
		3: {meaning: procedure.AxisTableLeft},
		4: {meaning: procedure.AxisTableDown, height: true},
		5: {frame: true},
		6: {frame: true}, 7: {frame: true}, 8: {frame: true}, 9: {frame: true}, 10: {frame: true}, 11: {frame: true},
	}
	for name, q := range everyEquipment() {
		report := q.reported(record.Exposures, still, still)
		for event, want := range lost {
			less := record
			less.Exposures = slices.DeleteFunc(slices.Clone(record.Exposures), func(x commission.Exposure) bool { return x.Event == event })
			r := check(t, report, less)
			assertTrue(t, q, r, 1.1)
			for i, a := range []commission.Axis{r.Longitudinal, r.Lateral, r.Height} {
				state := commission.Shown
				if q.means[i].Meaning == want.meaning {
					state = commission.Open
				}
				assert.Equal(t, state, a.State, "%s without event %d: %s", name, event, a.Says)
			}
			state := commission.Shown
			if want.frame {
				state = commission.Open
			}
			assert.Equal(t, state, r.Angles.State, "%s without event %d: %s", name, event, r.Angles.Says)
			assert.Equal(t, want.height, r.HeightZero.State == commission.Open, "%s without event %d: %s", name, event, r.HeightZero.Says)
		}
	}
}

// Within the stated limits noise changes no answer; whatever is left out, whatever noise there is, nothing false is shown.
func TestNoiseAndGaps(t *testing.T) {
	record := filled(t)
	all := everyEquipment()
	rapid.Check(t, func(t *rapid.T) {
		q := all[rapid.SampledFrom(slices.Sorted(maps.Keys(all))).Draw(t, "equipment")]
		within := rapid.Bool().Draw(t, "within the limits")
		table, angle := float64(commission.TableLimit)-0.2, 2.0 // two angles of 2 degrees turn a direction by at most 3; rounding to a tenth
		if !within {
			// A false meaning would have to bring a step of 100 mm within a span of twice the limit: more than 44 mm at both ends.
			table, angle = 43, 40
		}
		draw := func(far float64) noise {
			return func() float64 { return rapid.Float64Range(-far, far).Draw(t, "noise") }
		}
		report := q.reported(record.Exposures, draw(table), draw(angle))
		less := record
		if !within {
			less.Exposures = slices.DeleteFunc(slices.Clone(record.Exposures), func(commission.Exposure) bool { return rapid.IntRange(0, 3).Draw(t, "left out") == 0 })
		}
		if len(less.Exposures) == 0 {
			return
		}
		r := check(t, report, less)
		if within {
			for _, c := range []commission.Conclusion{r.Longitudinal.Conclusion, r.Lateral.Conclusion, r.Height.Conclusion, r.Angles.Conclusion} {
				require.Equal(t, commission.Shown, c.State, "%s: %s", c.Question, c.Says)
			}
			assertTrue(t, q, r, 7.1) // mm: noise and 1 mm between the tapes
			return
		}
		assertTrue(t, q, r, 44.2) // 43 mm, 1 mm between the tapes, rounding
	})
}
