package commission_test

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/rdsr"
)

// equipment is a device as it truly is: the other way round from what a check finds out.
type equipment struct {
	means   [3]procedure.TableAxis // longitudinal, lateral, height, with the number at the isocentre
	patient bool                   // angles follow the registered patient
	factor  float64                // true air kerma over displayed
	top     float64                // depth of the table top under the isocentre at the start, mm
}

// everyEquipment has each order of the three meanings, each sign and both frames.
func everyEquipment() map[string]equipment {
	out := map[string]equipment{}
	orders := [][3]procedure.AxisMeaning{
		{1, 2, 3}, {1, 3, 2}, {2, 1, 3}, {2, 3, 1}, {3, 1, 2}, {3, 2, 1},
	}
	for _, order := range orders {
		for signs := range 8 {
			for _, patient := range []bool{true, false} {
				e := equipment{patient: patient, factor: 0.93, top: 120}
				for i := range 3 {
					sign := 1 - 2*(signs>>i&1)
					e.means[i] = procedure.TableAxis{Meaning: order[i], Sign: sign, Zero: quantity.Some(quantity.Millimetre(1000*i) + 137)}
				}
				out[fmt.Sprintf("%v signs %03b patient %v", order, signs, patient)] = e
			}
		}
	}
	return out
}

// direction is where the detector stands: it starts straight above, the arm swings it about the table's length, and then
// it tips out of the plane of the swing. X is left, Y down, Z toward the head.
func direction(left, head float64) r3.Vec {
	swing := r3.NewRotation(left*math.Pi/180, r3.Vec{Z: 1})
	above, length := swing.Rotate(r3.Vec{Y: -1}), r3.Vec{Z: 1}
	tip := r3.NewRotation(head*math.Pi/180, r3.Cross(above, length))
	return tip.Rotate(above)
}

// lain turns the axes of a patient who lies head first on the back: about the body's length when prone, about the vertical
// when feet first.
func lain(x commission.Exposure) (l, p, h r3.Vec) {
	l, p, h = r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	turn := func(axis r3.Vec) {
		by := r3.NewRotation(math.Pi, axis)
		l, p, h = by.Rotate(l), by.Rotate(p), by.Rotate(h)
	}
	if x.Posture == procedure.Prone {
		turn(h)
	}
	if x.Direction == procedure.FeetFirst {
		turn(r3.Vec{Y: 1})
	}
	return l, p, h
}

// positioner gives primary and secondary angle of a direction in axes that point to the left, to the back and to the head:
// LAO and cranial are positive.
func positioner(v, l, p, h r3.Vec) (primary, secondary float64) {
	return math.Atan2(r3.Dot(v, l), -r3.Dot(v, p)) * 180 / math.Pi, math.Asin(max(-1, min(1, r3.Dot(v, h)))) * 180 / math.Pi
}

// noise is what is added to every position (mm) and angle (degrees), in the order in which they are made.
type noise func() float64

func still() float64 { return 0 }

// expose makes the irradiation event of an exposure.
func (q equipment) expose(x commission.Exposure, table, angle noise) procedure.Event {
	e := procedure.Event{
		UID: fmt.Sprintf("2.25.77%d", x.Event), Plane: procedure.PlaneSingle, Type: procedure.Stationary,
		Direction: x.Direction, Posture: x.Posture, Start: moment(x.Event),
		RefKerma: quantity.Some(quantity.Gray(0.002)), KAP: quantity.Some(quantity.GraySquareMetre(2e-5)),
		RefPoint: procedure.ReferencePoint{Code: procedure.Code{Value: "113860", Scheme: "DCM", Meaning: "15cm from Isocenter toward Source"}},
		Field:    procedure.Field{Area: quantity.Some(quantity.SquareMetre(0.03))},
	}
	e.Technique.Voltages = []quantity.Kilovolt{80}
	v := direction(float64(x.Left), float64(x.Head))
	l, p, h := r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}
	if q.patient {
		l, p, h = lain(x)
	}
	primary, secondary := positioner(v, l, p, h)
	m := &e.Mechanics
	m.Primary = quantity.Some(quantity.Degree(round(primary + angle())))
	m.Secondary = quantity.Some(quantity.Degree(max(-90, min(90, round(secondary+angle())))))
	m.SourceToIsocentre = quantity.Some[quantity.Millimetre](785)
	m.SourceToReference = quantity.Some[quantity.Millimetre](635)
	m.SourceToDetector = quantity.Some[quantity.Millimetre](1150)
	stands := map[procedure.AxisMeaning]float64{
		procedure.AxisTableHead: float64(x.Moved.Head), procedure.AxisTableLeft: float64(x.Moved.Left), procedure.AxisTableDown: q.top + float64(x.Moved.Down),
	}
	for i, to := range []*quantity.Opt[quantity.Millimetre]{&m.TableLongitudinal, &m.TableLateral, &m.TableHeight} {
		a := q.means[i]
		zero, _ := a.Zero.Get()
		*to = quantity.Some(zero + quantity.Millimetre(round(float64(a.Sign)*stands[a.Meaning]+table())))
	}
	return e
}

// round is to a tenth, as equipment reports.
func round(v float64) float64 { return math.Round(v*10) / 10 }

func moment(n int) procedure.Moment {
	return procedure.Moment{Time: time.Date(2026, 11, 20, 18, n, 0, 0, time.UTC), Offset: procedure.OffsetOfDataSet}
}

// reported is the report of exposures.
func (q equipment) reported(x []commission.Exposure, table, angle noise) *procedure.Report {
	r := &procedure.Report{
		SOPClassUID: "1.2.840.10008.5.1.4.1.1.88.67", SOPInstanceUID: "2.25.771", StudyUID: "2.25.772", SeriesUID: "2.25.773",
		Device:  procedure.Device{UID: "2.25.774", Manufacturer: "Saltmarsh Imaging Works (synthetic)", Model: "Model H", Serial: "SYN-H"},
		Purpose: procedure.PurposeQualityControl, Content: moment(59), Scope: procedure.ScopeStudy, Complete: true,
		Intent: procedure.Code{Value: "113680", Scheme: "DCM", Meaning: "Quality Control Intent"},
	}
	for _, one := range x {
		r.Events = append(r.Events, q.expose(one, table, angle))
	}
	return r
}

// sent is the report after a way through the file format.
func sent(t testing.TB, r *procedure.Report) *procedure.Report {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, rdsr.Write(&b, r, rdsr.WriteOptions{}))
	got, err := rdsr.Read(b.Bytes(), rdsr.Options{})
	require.NoError(t, err)
	require.Len(t, got.Events, len(r.Events))
	return got
}

// form is that of the protocol with day and name written in.
func form() string {
	return strings.NewReplacer(`day = ""`, `day = "2026-11-20"`, `by = ""`, `by = "Physicist^P^Synthetic"`).Replace(commission.Protocol())
}

// filled is the record of the form, with what was measured by tape.
func filled(t testing.TB) commission.Record {
	t.Helper()
	r, err := commission.Read(strings.NewReader(form()))
	require.NoError(t, err)
	r.Heights = commission.Heights{
		Event: 1, Isocentre: mm(1070), TableTop: mm(950), SourceToTable: mm(785 - 118), Midline: mm(4), Reference: mm(-12),
	}
	return r
}

func mm(v float64) quantity.Opt[quantity.Millimetre] { return quantity.Some(quantity.Millimetre(v)) }
