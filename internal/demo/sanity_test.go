package demo_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// eachEvent runs check on all events of all cases.
func eachEvent(t *testing.T, check func(t *testing.T, place string, e procedure.Event)) {
	t.Helper()
	n := 0
	for _, c := range demo.Cases() {
		for i, e := range c.Report.Events {
			check(t, fmt.Sprintf("%s event %d", c.File, i+1), e)
			n++
		}
	}
	require.Greater(t, n, 800)
}

func got[T ~float64](t *testing.T, place string, o quantity.Opt[T]) float64 {
	t.Helper()
	v, ok := o.Get()
	require.True(t, ok, place)
	return float64(v)
}

func TestKAPIsKermaTimesTheFieldAtTheReferencePoint(t *testing.T) {
	eachEvent(t, func(t *testing.T, place string, e procedure.Event) {
		iso, ref := got(t, place, e.Mechanics.SourceToIsocentre), got(t, place, e.Mechanics.SourceToReference)
		sid := got(t, place, e.Mechanics.SourceToDetector)
		require.InDelta(t, iso-150, ref, 1e-9, place) // code 113860: exact
		field := got(t, place, e.Field.Height) * got(t, place, e.Field.Width) * 1e-6
		require.InDelta(t, field, got(t, place, e.Field.Area), 1e-9, place)
		kerma, kap := got(t, place, e.RefKerma), got(t, place, e.KAP)
		// 1e-3: kerma is written to 10 nGy of at least 20 uGy, KAP to 1 uGy cm2 of at least 1 mGy cm2.
		require.InEpsilon(t, kerma*field*(ref/sid)*(ref/sid), kap, 1e-3, place)
		require.True(t, e.RefPoint.Code.Is("113860", "DCM"), place)
	})
}

func TestPulsesTimesAndCurrentsAgree(t *testing.T) {
	eachEvent(t, func(t *testing.T, place string, e procedure.Event) {
		k := e.Technique
		pulses := got(t, place, k.Pulses)
		require.Equal(t, math.Trunc(pulses), pulses, place)
		require.Positive(t, pulses, place)
		require.Len(t, k.PulseWidths, 1, place)
		require.Len(t, k.Currents, 1, place)
		require.Len(t, k.Exposures, 1, place)
		beamOn := got(t, place, k.ExposureTime)
		require.InEpsilon(t, pulses*float64(k.PulseWidths[0]), beamOn, 1e-9, place) // both exact to 0.1 ms
		require.Less(t, beamOn, got(t, place, k.Duration), place)
		if e.Type == procedure.Fluoroscopy {
			require.True(t, k.PulsedKnown && k.Pulsed, place)
			require.InEpsilon(t, pulses, got(t, place, k.PulseRate)*got(t, place, k.Duration), 1e-9, place)
		} else {
			require.False(t, k.PulseRate.Present() || k.PulsedKnown, place)
		}
		require.InEpsilon(t, float64(k.Currents[0])*beamOn, pulses*float64(k.Exposures[0]), 1e-6, place)
		most := 900.0 // mA; fluoroscopy runs the tube far lower
		if e.Type == procedure.Fluoroscopy {
			most = 400
		}
		require.Greater(t, float64(k.Currents[0]), 10.0, place)
		require.Less(t, float64(k.Currents[0]), most, place)
	})
}

func TestGeometryIsPossible(t *testing.T) {
	eachEvent(t, func(t *testing.T, place string, e procedure.Event) {
		iso, sid := got(t, place, e.Mechanics.SourceToIsocentre), got(t, place, e.Mechanics.SourceToDetector)
		require.True(t, 500 <= iso && iso <= 900 && iso < sid && 700 <= sid && sid <= 1300, place)
		require.LessOrEqual(t, math.Abs(got(t, place, e.Mechanics.Primary)), 120.0, place)
		require.LessOrEqual(t, math.Abs(got(t, place, e.Mechanics.Secondary)), 45.0, place)
		require.Len(t, e.Technique.Voltages, 1, place)
		kv := float64(e.Technique.Voltages[0])
		require.True(t, 55 <= kv && kv <= 125, "%s: %v kV", place, kv)
	})
}

func TestFiltersAreThickerInFluoroscopy(t *testing.T) {
	eachEvent(t, func(t *testing.T, place string, e procedure.Event) {
		copper := 0.0
		for _, f := range e.Filters {
			require.Equal(t, procedure.FilterFlat, f.Type, place)
			if f.Metal == procedure.Copper {
				copper = got(t, place, f.Max)
			}
		}
		switch e.Type {
		case procedure.Fluoroscopy:
			require.True(t, 0.3 <= copper && copper <= 0.9, "%s: %v", place, copper)
		case procedure.Rotational:
			require.True(t, 0.1 <= copper && copper <= 0.3, "%s: %v", place, copper)
		default:
			require.LessOrEqual(t, copper, 0.1, place)
		}
	})
}

func TestThickerMeansMoreVoltsAndSteeperMeansThicker(t *testing.T) {
	type sum struct{ kv, water, n float64 }
	var steep, straight sum
	eachEvent(t, func(t *testing.T, place string, e procedure.Event) {
		if e.Protocol != "Fluoroscopy standard" || e.Mechanics.TableHeight.Or(0) < 135 || e.Mechanics.SourceToIsocentre.Or(0) != 785 {
			return
		}
		a := math.Abs(got(t, place, e.Mechanics.Primary))
		s := &steep
		switch {
		case a < 5:
			s = &straight
		case a < 50:
			return
		}
		s.kv += float64(e.Technique.Voltages[0])
		s.water += got(t, place, e.Technique.WaterEquiv)
		s.n++
	})
	require.Greater(t, steep.n, 50.0)
	require.Greater(t, straight.n, 20.0)
	assert.Greater(t, steep.kv/steep.n, straight.kv/straight.n+8)
	assert.Greater(t, steep.water/steep.n, straight.water/straight.n+60)
}

func TestKermaRatesAreOfTheTrade(t *testing.T) {
	eachEvent(t, func(t *testing.T, place string, e procedure.Event) {
		perMinute := got(t, place, e.RefKerma) * 6e4 / got(t, place, e.Technique.Duration)
		if e.Type == procedure.Fluoroscopy {
			// Normal and high mode of 21 CFR 1020.32, known from memory.
			most := 88.0
			if e.Protocol == "Fluoroscopy high detail" {
				most = 176
			}
			require.True(t, 1 < perMinute && perMinute < most, "%s: %v mGy/min", place, perMinute)
			return
		}
		require.True(t, 50 < perMinute && perMinute < 3000, "%s: %v mGy/min", place, perMinute)
	})
}

func TestTotalsAreTheSums(t *testing.T) {
	for _, c := range demo.Cases() {
		planes := map[procedure.Plane]bool{}
		for _, p := range c.Report.Planes {
			require.False(t, planes[p.Plane], c.File)
			planes[p.Plane] = true
			fluoroKerma, fluoroKAP := got(t, c.File, p.FluoroKerma), got(t, c.File, p.FluoroKAP)
			kerma, kap := got(t, c.File, p.AcquisitionKerma), got(t, c.File, p.AcquisitionKAP)
			// 1e-9 relative: all are rounded to the same decimals.
			assert.InEpsilon(t, fluoroKerma+kerma, got(t, c.File, p.RefKerma), 1e-9, c.File)
			assert.InEpsilon(t, fluoroKAP+kap, got(t, c.File, p.KAP), 1e-9, c.File)
			if len(c.Report.Events) == 0 {
				continue
			}
			var sums, want [7]float64
			for _, e := range c.Report.Events {
				if e.Plane != p.Plane {
					continue
				}
				at := 3
				if e.Type == procedure.Fluoroscopy {
					at = 0
				} else {
					sums[6] += got(t, c.File, e.Technique.Pulses)
				}
				sums[at] += got(t, c.File, e.RefKerma)
				sums[at+1] += got(t, c.File, e.KAP)
				sums[at+2] += got(t, c.File, e.Technique.Duration)
			}
			want = [7]float64{
				fluoroKerma, fluoroKAP, got(t, c.File, p.FluoroTime), kerma, kap, got(t, c.File, p.AcquisitionTime),
				got(t, c.File, p.Frames),
			}
			for i := range want {
				// 1e-4: times are totalled to 1 ms.
				assert.InEpsilon(t, want[i], sums[i], 1e-4, "%s sum %d", c.File, i)
			}
		}
		for _, e := range c.Report.Events {
			require.True(t, planes[e.Plane], "%s: each plane of an event has a total", c.File)
		}
	}
}

func TestTheTableMovesALittle(t *testing.T) {
	for _, c := range demo.Cases() {
		places := map[[3]float64]bool{}
		for i, e := range c.Report.Events {
			place := fmt.Sprintf("%s event %d", c.File, i+1)
			at := [3]float64{
				got(t, place, e.Mechanics.TableLongitudinal), got(t, place, e.Mechanics.TableLateral),
				got(t, place, e.Mechanics.TableHeight),
			}
			if i > 0 && e.Target == c.Report.Events[i-1].Target {
				last := float64(c.Report.Events[i-1].Mechanics.TableHeight.Or(0))
				require.LessOrEqual(t, math.Abs(at[2]-last), 30.0, place)
			}
			places[at] = true
		}
		if len(c.Report.Events) > 40 {
			assert.Greater(t, len(places), 5, c.File)
		}
	}
}
