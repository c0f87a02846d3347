package exposure_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func some[T any](v T) quantity.Opt[T] { return quantity.Some(v) }

// coded is a code of the DICOM scheme.
func coded(value string) procedure.Code { return procedure.Code{Value: value, Scheme: "DCM"} }

// plain is an event of an ordinary C-arm: reference point 15 cm from an isocentre at 750 mm, 200 x 160 mm at 1000 mm.
func plain(primary, secondary float64, change ...func(*procedure.Event)) procedure.Event {
	e := procedure.Event{
		Type: procedure.Fluoroscopy, Place: "irradiation event 1", Plane: procedure.PlaneSingle,
		Direction: procedure.HeadFirst, Posture: procedure.Supine,
		RefKerma: some(quantity.Gray(1)), RefPoint: procedure.ReferencePoint{Code: coded("113860")},
		Technique: procedure.Technique{Voltages: []quantity.Kilovolt{80}},
		Filters:   []procedure.Filter{{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: some(quantity.Millimetre(0.3)), Max: some(quantity.Millimetre(0.3))}},
		Field:     procedure.Field{Width: some(quantity.Millimetre(200)), Height: some(quantity.Millimetre(160))},
		Mechanics: procedure.Mechanics{
			Primary: some(quantity.Degree(primary)), Secondary: some(quantity.Degree(secondary)),
			SourceToIsocentre: some(quantity.Millimetre(750)), SourceToDetector: some(quantity.Millimetre(1000)),
		},
	}
	for _, c := range change {
		c(&e)
	}
	return e
}

func adult(t testing.TB) *body.Body {
	t.Helper()
	b, err := body.New(body.Size{}, 1)
	require.NoError(t, err)
	return b
}

// explained is a profile that knows its table axes with their zeros and follows the standard's angles.
func explained() procedure.DeviceProfile {
	axis := func(m procedure.AxisMeaning) procedure.TableAxis {
		return procedure.TableAxis{Meaning: m, Sign: 1, Zero: some(quantity.Millimetre(0))}
	}
	return procedure.DeviceProfile{
		Angles: procedure.FramePatient, Longitudinal: axis(procedure.AxisTableHead),
		Lateral: axis(procedure.AxisTableLeft), Height: axis(procedure.AxisTableDown),
		MattressThickness: some(quantity.Millimetre(30)),
	}
}

func traced(t testing.TB, profile procedure.DeviceProfile, b *body.Body, events ...procedure.Event) exposure.Course {
	t.Helper()
	c, err := exposure.Trace(procedure.Procedure{Events: events}, profile, procedure.Facts{}, b, "heart", nil)
	require.NoError(t, err)
	return c
}

// entry is where the central ray of a shot meets the body, and its distance from the focus.
func entry(t testing.TB, b *body.Body, s exposure.Shot) (r3.Vec, float64) {
	t.Helper()
	d, hit := b.Enter(s.Focus, s.Toward)
	require.True(t, hit)
	return r3.Add(s.Focus, r3.Scale(d, s.Toward)), d
}

func TestWhereBeamsEnter(t *testing.T) {
	b := adult(t)
	tests := map[string]struct {
		primary, secondary float64
		want               r3.Vec // of the trunk of 40 x 20 cm, heart at 51 cm
	}{
		"0/0 the back":                                       {0, 0, r3.Vec{Y: 100, Z: 510}},
		"LAO 90 the right flank":                             {90, 0, r3.Vec{X: -200, Z: 510}},
		"RAO 90 the left flank":                              {-90, 0, r3.Vec{X: 200, Z: 510}},
		"180/0 the front":                                    {180, 0, r3.Vec{Y: -100, Z: 510}},
		"270, said as 0 to 360, the left flank":              {270, 0, r3.Vec{X: 200, Z: 510}},
		"cranial 45 footward: 10 cm deep, 10 cm lower":       {0, 45, r3.Vec{Y: 100, Z: 410}},
		"caudal 45 headward":                                 {0, -45, r3.Vec{Y: 100, Z: 610}},
		"LAO 45: (x/20)^2+(y/10)^2=1 at x=-y, 8.944 cm each": {45, 0, r3.Vec{X: -89.4427191, Y: 89.4427191, Z: 510}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, plain(tt.primary, tt.secondary))
			require.Len(t, c.Shots, 1)
			got, _ := entry(t, b, c.Shots[0])
			for _, pair := range [][2]float64{{tt.want.X, got.X}, {tt.want.Y, got.Y}, {tt.want.Z, got.Z}} {
				assert.InDelta(t, pair[0], pair[1], 1e-6) // mm, rounding
			}
		})
	}
}
