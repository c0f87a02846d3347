package exposure_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// rotation is a run from start to end, primary and secondary.
func rotation(start, end [2]float64) procedure.Event {
	return plain(start[0], start[1], func(e *procedure.Event) {
		e.Type = procedure.Rotational
		e.Mechanics.PrimaryEnd, e.Mechanics.SecondaryEnd = some(quantity.Degree(end[0])), some(quantity.Degree(end[1]))
	})
}

// angle of a shot's detector about the body, LAO positive, in degrees.
func angle(s exposure.Shot) float64 { return math.Atan2(s.Toward.X, -s.Toward.Y) * 180 / math.Pi }

func TestArcFrom100To100PassesZero(t *testing.T) {
	b := adult(t)
	for _, run := range [][2]float64{{100, -100}, {-100, 100}} {
		c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, rotation([2]float64{run[0], 0}, [2]float64{run[1], 0}))
		require.Len(t, c.Shots, 200) // degrees, in steps of 1
		kerma, last := 0.0, run[0]
		for i, s := range c.Shots {
			want := run[0] + (run[1]-run[0])*(float64(i)+0.5)/200
			require.InDelta(t, want, angle(s), 1e-9)
			require.InDelta(t, 2*(float64(i)+0.5)/200-1, s.OnArc, 1e-12, "from -1 at the start to 1 at the end")
			require.LessOrEqual(t, math.Abs(angle(s)-last), 1+1e-9)
			require.Greater(t, s.Focus.Y, 750*math.Cos(100*math.Pi/180), "never over the front")
			kerma, last = kerma+float64(s.Kerma), angle(s)
		}
		assert.InDelta(t, 1, kerma, 1e-12)
		assert.InDelta(t, 1.0/200, float64(c.Shots[7].Kerma), 1e-15)
	}
}

func TestArcsTakeTheReportedWay(t *testing.T) {
	b := adult(t)
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, limit float64) [2]float64 {
			return [2]float64{
				rapid.Float64Range(-180, 180).Draw(t, name+" primary"), rapid.Float64Range(-limit, limit).Draw(t, name+" secondary"),
			}
		}
		start, end := draw("start", 40), draw("end", 40)
		c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{rotation(start, end)}},
			procedure.DeviceProfile{Angles: procedure.FramePatient}, procedure.Facts{}, b, "heart", nil)
		require.NoError(t, err)
		span := max(math.Abs(end[0]-start[0]), math.Abs(end[1]-start[1]))
		n := len(c.Shots)
		require.GreaterOrEqual(t, float64(n), span-1e-6)
		require.Less(t, float64(n-1), span+1e-6)
		for i, s := range c.Shots {
			f := (float64(i) + 0.5) / float64(n)
			a, h := (start[0]+f*(end[0]-start[0]))*math.Pi/180, (start[1]+f*(end[1]-start[1]))*math.Pi/180
			want := r3.Vec{X: math.Sin(a) * math.Cos(h), Y: -math.Cos(a) * math.Cos(h), Z: math.Sin(h)}
			require.InDelta(t, 0, r3.Norm(r3.Sub(want, s.Toward)), 1e-9)
		}
	})
}

func TestEndAnglesThatAreMissingOrOutOfPlace(t *testing.T) {
	b := adult(t)
	noEnd := plain(30, 0, func(e *procedure.Event) { e.Type = procedure.Rotational })
	static := rotation([2]float64{30, 0}, [2]float64{60, 0})
	static.Type = procedure.Stationary
	tests := map[string]struct {
		event   procedure.Event
		finding string
	}{
		"rotation without an end":         {noEnd, "rotation-without-end"},
		"rotation that ends at its start": {rotation([2]float64{30, 0}, [2]float64{30, 0}), "rotation-without-end"},
		"end angle of a stationary event": {static, "end-angle-without-rotation"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, tt.event)
			require.Len(t, c.Shots, 1)
			assert.InDelta(t, 30, angle(c.Shots[0]), 1e-9)
			assert.Equal(t, quantity.Gray(1), c.Shots[0].Kerma)
			assert.True(t, finds(c, tt.finding))
		})
	}
}

func TestSteppingRun(t *testing.T) {
	b := adult(t)
	run := plain(0, 0, table(0, 0, 130), func(e *procedure.Event) {
		e.Type = procedure.Stepping
		e.Mechanics.TableLongitudinalEnd = mm(100)
	})
	c := traced(t, explained(), b, run)
	require.Len(t, c.Shots, 50) // 100 mm in steps of 2
	for i, s := range c.Shots {
		// The middle of the run is at the heart; the table moves headward, the field footward.
		near(t, r3.Vec{Z: 510 + 50 - 1 - 2*float64(i)}, isocentre(s), "step")
		assert.InDelta(t, 0.02, float64(s.Kerma), 1e-15)
	}
	zeroed, moved := explained(), run
	zeroed.Longitudinal.Zero = mm(700)
	moved.Mechanics.TableLongitudinal, moved.Mechanics.TableLongitudinalEnd = mm(700), mm(800)
	assert.Len(t, traced(t, zeroed, b, moved).Shots, 50, "the zero moves both ends")
	c = traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, run)
	require.Len(t, c.Shots, 1)
	says(t, c.Assumptions, "stepping run without a known table motion")
	run.Mechanics.TableLongitudinalEnd = mm(9000)
	c = traced(t, explained(), b, run)
	require.Len(t, c.Shots, 1)
	assert.True(t, finds(c, "table-way"))
}

// Absurd numbers of moving events are cut coarser, never coarser than 5 degrees and 20 mm.
func TestManyMovingEventsAreCutCoarser(t *testing.T) {
	b := adult(t)
	run := plain(0, 0, table(0, 0, 130), func(e *procedure.Event) {
		e.Type = procedure.Stepping
		e.Mechanics.TableLongitudinalEnd = mm(1000)
	})
	events := make([]procedure.Event, 0, 200)
	for range 100 {
		events = append(events, rotation([2]float64{-100, 0}, [2]float64{100, 0}), run)
	}
	c := traced(t, explained(), b, events...)
	require.Len(t, c.Shots, 100*(200/5+1000/20))
	c = traced(t, explained(), b, events[:20]...) // 2,000 degrees and 5,000 fine steps of the table: 7,000 for 4,000
	require.Len(t, c.Shots, 10*(115+286))         // the ceiling of 200/1.75 and 1000/3.5
}

func TestShotsComeInTheOrderOfEvents(t *testing.T) {
	b := adult(t)
	c := traced(t, procedure.DeviceProfile{}, b, rotation([2]float64{-30, 0}, [2]float64{30, 0}), plain(0, 0), rotation([2]float64{0, 0}, [2]float64{0, 20}))
	var got []int
	for _, s := range c.Shots {
		got = append(got, s.Event)
	}
	assert.IsNonDecreasing(t, got)
	assert.Equal(t, 2, got[len(got)-1])
	again := traced(t, procedure.DeviceProfile{}, b, rotation([2]float64{-30, 0}, [2]float64{30, 0}), plain(0, 0), rotation([2]float64{0, 0}, [2]float64{0, 20}))
	assert.Equal(t, c, again)
}
