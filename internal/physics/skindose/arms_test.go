package skindose_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// fromTheSide is an event with the tube at the patient's right for 90 degrees, and at the left for -90, with a field that an arm
// covers.
func fromTheSide(kerma quantity.Gray, primary quantity.Degree) procedure.Event {
	e := frontal(kerma)
	e.Mechanics.Primary = some(primary)
	e.Field = procedure.Field{Width: some[quantity.Millimetre](60), Height: some[quantity.Millimetre](60)}
	return e
}

func withArms(where procedure.Arms, p procedure.Procedure) skindose.Input {
	in := input(p, known())
	in.Facts.Arms = where
	return in
}

// dosed tells which parts of a map's body have dose.
func dosed(m *skindose.Map) map[body.Part]bool {
	parts := map[body.Part]bool{}
	for i, d := range m.Dose {
		if d > 0 {
			parts[m.Body.Patches[i].Part] = true
		}
	}
	return parts
}

func TestArmsAlongsideTakeTheLateralBeam(t *testing.T) {
	for name, tt := range map[string]struct {
		primary quantity.Degree
		side    string
	}{"tube at the right": {90, "right"}, "tube at the left": {-90, "left"}} {
		t.Run(name, func(t *testing.T) {
			p := single(2, 2, fromTheSide(2, tt.primary))
			raised := skindose.Evaluate(withArms(procedure.ArmsRaised, p))
			beside := skindose.Evaluate(withArms(procedure.ArmsAlongside, p))
			said(t, raised, "arms raised: given by a person")
			said(t, beside, "arms alongside: given by a person")
			said(t, beside, "straight and 1 cm beside the trunk")
			assert.Contains(t, raised.Peak.Region, tt.side+" flank")
			// Aimed 35 cm above the trunk base: the elbow is 1 cm below.
			assert.Regexp(t, "^"+tt.side+" (upper arm|forearm), outer side$", beside.Peak.Region)
			assert.Contains(t, beside.Peak.Side, "arm's back along the skin")
			// Inverse square: trunk at 785 - 200, arm at 785 - 296 mm. The field is a sixth smaller on the arm, which lowers B by 3 %.
			assert.InEpsilon(t, 585.0*585/(489*489), value(t, beside.Value)/value(t, raised.Value), 0.03)
			flank := -1
			for i, part := range raised.Map.Body.Patches {
				if i == raised.Map.Peak {
					flank = i
					assert.Equal(t, body.Trunk, part.Part)
				}
			}
			require.GreaterOrEqual(t, flank, 0)
			assert.Zero(t, beside.Map.Dose[flank], "the arm shades the trunk")
		})
	}
}

func TestArmsAlongsideLeaveTheFrontalBeamAlone(t *testing.T) {
	p := single(2, 2, frontal(2))
	raised, beside := skindose.Evaluate(withArms(procedure.ArmsRaised, p)), skindose.Evaluate(withArms(procedure.ArmsAlongside, p))
	assert.Equal(t, raised.Value, beside.Value)
	assert.Equal(t, raised.Map.Dose, beside.Map.Dose[:len(raised.Map.Dose)])
	assert.Equal(t, map[body.Part]bool{body.Trunk: true}, dosed(beside.Map))
	none := skindose.Evaluate(withArms(procedure.ArmsUnknown, p))
	said(t, none, "position of the arms not told: raised")
	assert.NotContains(t, strings.Join(none.Assumptions, "\n"), "would meet an arm", "a frontal field reaches no arm")
	assert.Equal(t, raised.Value, none.Value)
}

// What an arm nobody told of would have is the peak of the map with arms alongside.
func TestUntoldArmsAreSaidWithTheirConsequence(t *testing.T) {
	p := single(4, 4, fromTheSide(2, 90), frontal(2))
	e := skindose.Evaluate(withArms(procedure.ArmsUnknown, p))
	beside := skindose.Evaluate(withArms(procedure.ArmsAlongside, p))
	said(t, e, "position of the arms not told: raised out of the beams is taken (common practice, no source)")
	said(t, e, "beams of 1 events, from the side or steeply oblique, would meet an arm that lies alongside: its skin would then have up to "+
		quantity.Significant(value(t, beside.Value), 2)+" Gy (right")
}

func TestArmsUnderAPatientOnASideAreNotModelled(t *testing.T) {
	e := frontal(2)
	e.Posture = procedure.DecubitusLeft
	got := skindose.Evaluate(withArms(procedure.ArmsAlongside, single(2, 2, e)))
	said(t, got, "not modelled for a patient who lies on a side")
	assert.NotContains(t, got.Map.Body.Name, "arms")
	in := withArms(procedure.ArmsAlongside, single(2, 2, e))
	in.Facts.Posture = procedure.Supine
	assert.Contains(t, skindose.Evaluate(in).Map.Body.Name, "arms alongside", "what a person said of the posture holds")
}

func TestMapsWithAndWithoutArmsAdd(t *testing.T) {
	p := single(2, 2, fromTheSide(2, 90))
	raised, beside := skindose.Evaluate(withArms(procedure.ArmsRaised, p)), skindose.Evaluate(withArms(procedure.ArmsAlongside, p))
	n := len(raised.Map.Dose)
	for _, order := range [][]*skindose.Map{{raised.Map, beside.Map}, {beside.Map, raised.Map}} {
		sum, err := skindose.Accumulate(order...)
		require.NoError(t, err)
		for i, d := range sum.Dose {
			if i < n {
				require.Equal(t, raised.Map.Dose[i]+beside.Map.Dose[i], d, "trunk adds to trunk")
			} else {
				require.Equal(t, beside.Map.Dose[i], d, "raised arms have none")
			}
		}
	}
	together := skindose.Together(raised, beside)
	require.NotNil(t, together.Map)
	assert.Equal(t, beside.Peak, together.Peak)
	assert.InDelta(t, value(t, beside.Value), value(t, together.Value), 1e-12)

	either, err := skindose.EitherArms(raised.Map, beside.Map)
	require.NoError(t, err)
	for i, d := range either.Dose {
		want := beside.Map.Dose[i]
		if i < n {
			want = max(want, raised.Map.Dose[i])
		}
		require.Equal(t, want, d)
	}
	assert.Equal(t, raised.Contributions, either.Contributions)
	_, err = skindose.EitherArms(beside.Map, raised.Map)
	require.ErrorIs(t, err, skindose.ErrBodies)
}

func TestAPlanWithTheArmsElsewhere(t *testing.T) {
	p := single(2, 2, fromTheSide(2, 90))
	raised, beside := skindose.Evaluate(withArms(procedure.ArmsRaised, p)), skindose.Evaluate(withArms(procedure.ArmsAlongside, p))
	plan, _ := staged(t)
	plan.Pattern = fromTheSide(1, 0)
	for name, tt := range map[string]struct {
		now, earlier *skindose.Map
		before       float64
	}{
		"arms now alongside":     {beside.Map, raised.Map, 0},
		"arms alongside before":  {raised.Map, beside.Map, 0},
		"both times alongside":   {beside.Map, beside.Map, value(t, beside.Value)},
		"both times out of them": {raised.Map, raised.Map, value(t, raised.Value)},
	} {
		plan.Body, plan.Already = tt.now.Body, tt.earlier
		o, err := plan.Look(planned(90, 0, 1))
		require.NoError(t, err, name)
		assert.InDelta(t, tt.before, float64(o.Before), 1e-12, name)
		assert.GreaterOrEqual(t, o.Peak, tt.earlier.PeakDose(), name)
		all, err := plan.Follow([]skindose.Planned{planned(90, 0, 1), planned(90, 0, 1)})
		require.NoError(t, err, name)
		assert.InDelta(t, 2*float64(all[0].Adds)+tt.before, float64(all[1].After), 1e-9, name)
	}
}

// With many events the optics are shared, so that one more event takes no memory of its own.
func TestMoreEventsTakeNoMoreMemory(t *testing.T) {
	adult, err := body.New(body.Size{ArmsAlongside: true}, 10)
	require.NoError(t, err)
	taken := func(n int) float64 {
		list := longCase(100, n)
		return testing.AllocsPerRun(1, func() {
			_, err := skindose.Irradiate(list, adult, beam.SoftTissue)
			assert.NoError(t, err)
		})
	}
	// Between 1,000 and 5,000 events some beams come that none had before: 40 allocations each.
	assert.Less(t, (taken(5000)-taken(1000))/4000, 0.15, "allocations per event")
}

func BenchmarkMapWithArms(b *testing.B) {
	adult, err := body.New(body.Size{ArmsAlongside: true}, 1)
	require.NoError(b, err)
	list := longCase(100, 1000)
	b.ReportAllocs()
	before := processor(b)
	for b.Loop() {
		_, err := skindose.Irradiate(list, adult, beam.SoftTissue)
		require.NoError(b, err)
	}
	b.ReportMetric(1e3*(processor(b)-before).Seconds()/float64(b.N), "cpu-ms")
}
