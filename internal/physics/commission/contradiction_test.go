package commission_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/commission"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// plainEquipment reports as the standard's words suggest.
func plainEquipment() equipment {
	return equipment{patient: true, factor: 0.93, top: 120, means: [3]procedure.TableAxis{
		{Meaning: procedure.AxisTableHead, Sign: 1, Zero: mm(0)},
		{Meaning: procedure.AxisTableLeft, Sign: 1, Zero: mm(0)},
		{Meaning: procedure.AxisTableDown, Sign: 1, Zero: mm(0)},
	}}
}

// What no profile can say, and what speaks against itself, is named and nothing is taken from it.
func TestContradictions(t *testing.T) {
	axes := func(r *commission.Result) commission.Conclusion { return r.Longitudinal.Conclusion }
	frame := func(r *commission.Result) commission.Conclusion { return r.Angles.Conclusion }
	height := func(r *commission.Result) commission.Conclusion { return r.HeightZero.Conclusion }
	each := func(change func(e *procedure.Event)) func(*procedure.Report, *commission.Record) {
		return func(r *procedure.Report, _ *commission.Record) {
			for i := range r.Events {
				change(&r.Events[i])
			}
		}
	}
	tests := map[string]struct {
		change func(*procedure.Report, *commission.Record)
		of     func(*commission.Result) commission.Conclusion
		state  commission.State
		events []int
		says   string
	}{
		"a number that stands still": {
			each(func(e *procedure.Event) { e.Mechanics.TableLongitudinal = mm(500) }), axes, commission.Contradicted,
			[]int{1, 2, 3, 4, 5, 6, 7, 8, 9},
			"follows no direction",
		},
		"a number in centimetres": {
			each(func(e *procedure.Event) {
				v, _ := e.Mechanics.TableLongitudinal.Get()
				e.Mechanics.TableLongitudinal = mm(float64(v) / 10)
			}), axes, commission.Contradicted, []int{1, 2, 3, 4, 5, 6, 7, 8, 9}, "event 2: table moved 100 head, 0 left, 0 down, the number by 10",
		},
		"a position never reported": {
			each(func(e *procedure.Event) { e.Mechanics.TableLongitudinal = quantity.None[quantity.Millimetre]() }), axes, commission.Open, nil, "fewer than two",
		},
		"two positions of one meaning": {
			each(func(e *procedure.Event) { e.Mechanics.TableLateral = e.Mechanics.TableLongitudinal }), axes, commission.Contradicted,
			[]int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11},
			"so does another position",
		},
		"a position that turns with the registration": {
			each(func(e *procedure.Event) {
				if v, _ := e.Mechanics.TableLongitudinal.Get(); e.Direction == procedure.FeetFirst {
					e.Mechanics.TableLongitudinal = mm(-float64(v))
				}
			}), axes, commission.Contradicted, []int{10}, "registered otherwise it does not follow",
		},
		"steps too small": {
			func(r *procedure.Report, record *commission.Record) {
				for i := range record.Exposures {
					record.Exposures[i].Moved.Head /= 5
					r.Events[i].Mechanics.TableLongitudinal = mm(float64(record.Exposures[i].Moved.Head))
				}
			}, axes, commission.Open, nil, "40 mm and more",
		},
		"left and right exchanged": {
			each(func(e *procedure.Event) { e.Mechanics.Primary = turned(e.Mechanics.Primary, -1) }), frame, commission.Contradicted,
			[]int{5, 6, 7, 8, 10, 11},
			"primary angle counted toward the right",
		},
		"cranial and caudal exchanged": {
			each(func(e *procedure.Event) { e.Mechanics.Secondary = turned(e.Mechanics.Secondary, -1) }), frame, commission.Contradicted,
			[]int{9, 10, 11},
			"secondary angle counted toward the feet",
		},
		"the direction is heeded, the posture not": {
			each(func(e *procedure.Event) {
				if e.Posture == procedure.Prone {
					e.Mechanics.Primary, e.Mechanics.Secondary = quantity.Some[quantity.Degree](30), quantity.Some[quantity.Degree](20)
				}
			}), frame, commission.Contradicted, []int{11}, "turned by the registered direction, not by the posture",
		},
		"one exposure mislabelled": {
			func(_ *procedure.Report, record *commission.Record) { record.Exposures[4].Left = -30 }, frame, commission.Contradicted,
			[]int{5},
			"event 5 is off by 60 degrees from the patient's frame and 60 from the gantry's",
		},
		"another registration in the report": {
			each(func(e *procedure.Event) { e.Direction = procedure.HeadFirst }), frame, commission.Contradicted, []int{10}, "another registration than the record",
		},
		"no frontal exposure": {
			func(_ *procedure.Report, record *commission.Record) { record.Exposures = record.Exposures[4:] }, frame, commission.Open, nil, "missing or without angles: frontal",
		},
		"no angles": {
			each(func(e *procedure.Event) { e.Mechanics.Secondary = quantity.None[quantity.Degree]() }), frame, commission.Open, nil, "in none of the exposures",
		},
		"angles that are not believed": {
			each(func(e *procedure.Event) { e.Suspicion = procedure.SuspectAngle }), frame, commission.Open, nil, "in none of the exposures",
		},
		"angles of 0 to 360 degrees": {
			each(func(e *procedure.Event) {
				if v, _ := e.Mechanics.Primary.Get(); v < 0 {
					e.Mechanics.Primary = quantity.Some(v + 360)
				}
			}), frame, commission.Shown, []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}, "relative to the patient",
		},
		"a tilted table": {
			each(func(e *procedure.Event) { e.Mechanics.TableHeadTilt = quantity.Some[quantity.Degree](5) }), frame, commission.Open, nil, "in none",
		},
		"two tapes disagree": {
			func(_ *procedure.Report, record *commission.Record) { record.Heights.SourceToTable = mm(640) }, height, commission.Contradicted,
			[]int{1},
			"120 mm below the isocentre by the heights, 145 mm by the distance",
		},
		"one tape only": {
			func(_ *procedure.Report, record *commission.Record) {
				record.Heights.SourceToTable = quantity.None[quantity.Millimetre]()
			}, height, commission.Open, nil, "which check each other",
		},
		"the tape was read at another angle": {
			func(_ *procedure.Report, record *commission.Record) { record.Heights.Event = 5 }, height, commission.Open, nil, "no frontal exposure",
		},
		"no distance to the isocentre": {
			each(func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = quantity.None[quantity.Millimetre]() }), height, commission.Open, nil, "no profile does",
		},
		"no tape": {
			func(_ *procedure.Report, record *commission.Record) { record.Heights = commission.Heights{} }, height, commission.Open, nil, "nothing was measured",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			record := filled(t)
			report := plainEquipment().reported(record.Exposures, still, still)
			tt.change(report, &record)
			r := check(t, report, record)
			c := tt.of(r)
			assert.Equal(t, tt.state, c.State, c.Says)
			assert.Contains(t, c.Says, tt.says)
			assert.Equal(t, tt.events, c.Events)
			assert.Equal(t, tt.state == commission.Contradicted, r.Contradicted())
		})
	}
}

func turned(a quantity.Opt[quantity.Degree], by quantity.Degree) quantity.Opt[quantity.Degree] {
	v, ok := a.Get()
	if !ok {
		return a
	}
	return quantity.Some(v * by)
}

// Rows of the isocentre system are used before any profile, so that one that does not follow the table is named.
func TestRowsOfTheIsocentreSystem(t *testing.T) {
	record := filled(t)
	report := plainEquipment().reported(record.Exposures, still, still)
	for i, x := range record.Exposures {
		m := &report.Events[i].Mechanics
		m.TableX, m.TableY, m.TableZ = mm(float64(x.Moved.Left)), mm(-float64(x.Moved.Down)), mm(float64(x.Moved.Head))
	}
	r := check(t, report, record)
	require.Len(t, r.Isocentric, 3)
	assert.Equal(t, []commission.State{commission.Shown, commission.Contradicted, commission.Shown},
		[]commission.State{r.Isocentric[0].State, r.Isocentric[1].State, r.Isocentric[2].State})
	assert.Contains(t, r.Isocentric[1].Says, "the estimates use it all the same")
	assert.True(t, r.Contradicted())
	assert.Len(t, r.Conclusions(), 12)
}

func TestAnotherReportIsRefused(t *testing.T) {
	for name, change := range map[string]func(*procedure.Report, *commission.Record){
		"another device":      func(_ *procedure.Report, record *commission.Record) { record.Device = "2.25.1" },
		"an event it lacks":   func(_ *procedure.Report, record *commission.Record) { record.Exposures[3].Event = 12 },
		"another plane":       func(_ *procedure.Report, record *commission.Record) { record.Plane = procedure.PlaneB },
		"heights at no event": func(_ *procedure.Report, record *commission.Record) { record.Heights.Event = 40 },
		"a reading of no event": func(_ *procedure.Report, record *commission.Record) {
			record.Readings = []commission.Reading{{Event: 44}}
		},
		"a report of no event":   func(r *procedure.Report, _ *commission.Record) { r.Events = nil },
		"a reading of no plane":  func(r *procedure.Report, _ *commission.Record) { r.Events[0].Plane = procedure.PlaneA },
		"events of another tube": func(r *procedure.Report, _ *commission.Record) { r.Events[10].Plane = procedure.PlaneB },
	} {
		record := filled(t)
		report := plainEquipment().reported(record.Exposures, still, still)
		change(report, &record)
		_, err := commission.Check(report, record, procedure.DeviceProfile{})
		assert.ErrorIs(t, err, commission.ErrReport, name)
	}
}

// The draft takes what is shown, keeps what stays open and takes out what speaks against itself.
func TestDraft(t *testing.T) {
	record := filled(t)
	record.Heights.Midline = quantity.None[quantity.Millimetre]()
	record.Exposures = record.Exposures[:10] // without the prone one: the frame stays open
	report := plainEquipment().reported(record.Exposures, still, still)
	for i := range report.Events {
		report.Events[i].Mechanics.TableHeight = mm(0) // stands still
	}
	base := procedure.DeviceProfile{
		Device: "2.25.774", Name: "Hybrid 1", Version: "3", From: "2026-01-01", SignedBy: "P", ApprovedBy: "Q", Angles: procedure.FrameGantry,
		Longitudinal: procedure.TableAxis{Meaning: procedure.AxisTableLeft, Sign: -1, Zero: mm(77)},
		Lateral:      procedure.TableAxis{Meaning: procedure.AxisTableLeft, Sign: 1, Zero: mm(33)},
		Height:       procedure.TableAxis{Meaning: procedure.AxisTableDown, Sign: 1, Zero: mm(11)},
		KAPFactor:    quantity.Some(procedure.Factor{Value: 1.1, Uncertainty: 3}),
		Layers:       []procedure.TableLayer{{Material: "foam", Mass: 0.2}}, LayersKnown: procedure.TableMeasured,
	}
	r, err := commission.Check(report, record, base)
	require.NoError(t, err)
	want := base
	want.Version, want.From, want.SignedBy, want.ApprovedBy = "", "2026-11-20", "", ""
	want.Longitudinal = procedure.TableAxis{Meaning: procedure.AxisTableHead, Sign: 1, Zero: mm(12)}
	want.Height = procedure.TableAxis{}
	assert.Equal(t, want, r.Profile)
	assert.Equal(t, []string{
		"table_axes.longitudinal: as shown by this check",
		"table_axes.lateral: as shown by this check",
		"table_axes.height: taken out, because this check contradicts itself there",
		"table_axes.lateral.at_isocentre_mm: kept from the profile before, not shown by this check",
		"table_axes.longitudinal.at_isocentre_mm: as shown by this check",
		"angle_frame: kept from the profile before, not shown by this check",
		"kerma_factor: none",
		"kap_factor: kept from the profile before, not shown by this check",
	}, r.Changes)

	// A kept meaning that another position is shown to have does not stay.
	record.Exposures = append(record.Exposures[:2:2], record.Exposures[4:]...)
	base.Lateral = procedure.TableAxis{Meaning: procedure.AxisTableHead, Sign: 1}
	r, err = commission.Check(report, record, base)
	require.NoError(t, err)
	assert.Equal(t, procedure.AxisTableHead, r.Profile.Longitudinal.Meaning)
	assert.Zero(t, r.Profile.Lateral)
	assert.Contains(t, r.Changes, "table_axes.lateral: taken out, because table_axes.longitudinal is shown to mean the same")
}

// Each exposure is set beside what the answers expect.
func TestCompared(t *testing.T) {
	record := filled(t)
	report := plainEquipment().reported(record.Exposures, still, still)
	report.Events[2].Mechanics.TableLateral = mm(104)
	report.Events[4].Mechanics.Primary = quantity.Some[quantity.Degree](33)
	r := check(t, report, record)
	require.Len(t, r.Compared, 11)
	off, ok := r.Compared[2].Off[1].Get()
	require.True(t, ok)
	assert.InDelta(t, 2, float64(off), 1e-9, "half of 4 mm is the start's")
	angle, ok := r.Compared[4].Turned.Get()
	require.True(t, ok)
	assert.InDelta(t, 3, float64(angle), 1e-9)
	assert.Equal(t, []float64{2, 3}, []float64{math.Round(r.Lateral.Residual.Or(0)), math.Round(r.Angles.Residual.Or(0))})
}
