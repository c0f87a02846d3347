package rdsr_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
)

func TestQuirksOfGeometry(t *testing.T) {
	mechanics := func(change func(*procedure.Event)) func() *procedure.Report {
		return func() *procedure.Report {
			r := singlePlane()
			change(&r.Events[0])
			return r
		}
	}
	wantAngle := func(primary, secondary float64) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			assert.InDelta(t, primary, float64(r.Events[0].Mechanics.Primary.Or(-999)), 1e-9)
			assert.InDelta(t, secondary, float64(r.Events[0].Mechanics.Secondary.Or(-999)), 1e-9)
			assert.Zero(t, r.Events[0].Suspicion)
		}
	}
	setAngles := func(primary, secondary string) func(*dicomio.DataSet) {
		return func(set *dicomio.DataSet) {
			for i, value := range []string{primary, secondary} {
				put(&element(first(set, event, []string{"112011", "112012"}[i]), tagMeasured).Items[0], text(tagNumber, "DS", value))
			}
		}
	}
	suspects := func(bit procedure.Suspicion) func(*testing.T, *procedure.Report) {
		return func(t *testing.T, r *procedure.Report) {
			t.Helper()
			assert.True(t, r.Events[0].Suspicion.Has(bit))
		}
	}
	run(t, map[string]quirk{
		// Zero, sign and meaning of table positions are the device profile's matter: the numbers stay as they came.
		"zero and sign of the table positions": {check: func(t *testing.T, r *procedure.Report) {
			m := r.Events[0].Mechanics
			assert.Equal(t, some(quantity.Millimetre(-812.5)), m.TableLongitudinal)
			assert.Equal(t, some(quantity.Millimetre(14)), m.TableLateral)
			assert.Equal(t, some(quantity.Millimetre(-96)), m.TableHeight)
		}},
		"table X, Y, Z to isocentre": {
			report: mechanics(func(e *procedure.Event) {
				e.Mechanics.TableX, e.Mechanics.TableY, e.Mechanics.TableZ = some(quantity.Millimetre(3)), some(quantity.Millimetre(150)), some(quantity.Millimetre(-700))
				e.Mechanics.TableZEnd = some(quantity.Millimetre(-650))
			}),
			check: func(t *testing.T, r *procedure.Report) {
				m := r.Events[0].Mechanics
				assert.Equal(t, some(quantity.Millimetre(150)), m.TableY)
				assert.Equal(t, some(quantity.Millimetre(-650)), m.TableZEnd)
			},
		},
		"only the distance to the table plane as height": {
			change: func(set *dicomio.DataSet) {
				without(set, event, "113753")
				add(set, numItem("113792", "655", "mm"), event)
			},
			findings: []string{"reduced missing"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, some(quantity.Millimetre(655)), r.Events[0].Mechanics.SourceToTable)
			},
		},
		"angles 0 to 360":         {change: setAngles("347.5", "352"), findings: []string{"repaired angle-full-circle"}, check: wantAngle(-12.5, -8)},
		"lateral plane at 270":    {change: setAngles("270", "0"), findings: []string{"repaired angle-full-circle"}, check: wantAngle(-90, 0)},
		"lateral plane at +90":    {change: setAngles("90", "0"), check: wantAngle(90, 0)},
		"180 is in the standard":  {change: setAngles("180", "0"), check: wantAngle(180, 0)},
		"angle beyond any circle": {change: setAngles("400", "0"), findings: []string{"suspect angle-range"}, check: suspects(procedure.SuspectAngle)},
		"secondary beyond 90":     {change: setAngles("0", "120"), findings: []string{"suspect angle-range"}, check: suspects(procedure.SuspectAngle)},
		"end angles also on static events": {
			change:   func(set *dicomio.DataSet) { add(set, numItem("113739", "-12.5", "deg"), event) },
			findings: []string{"note end-angle-static"},
		},
		"end angles of zero on static events": {
			report: mechanics(func(e *procedure.Event) {
				e.Mechanics.PrimaryEnd, e.Mechanics.SecondaryEnd = some(quantity.Degree(0)), some(quantity.Degree(0))
			}),
			findings: []string{"repaired zero-end-angle"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Events[0].Mechanics.PrimaryEnd.Present())
				assert.True(t, r.Events[2].Mechanics.PrimaryEnd.Present(), "the rotational run keeps its own")
			},
		},
		"rotational run without end angles": {
			change: func(set *dicomio.DataSet) {
				without(set, event, "113739")
				without(set, event, "113740")
			},
			findings: []string{"reduced end-angle-missing"},
		},
		"rotational run with start and end only": {check: func(t *testing.T, r *procedure.Report) {
			m := r.Events[2].Mechanics
			assert.Equal(t, some(quantity.Degree(-100)), m.Primary)
			assert.Equal(t, some(quantity.Degree(100)), m.PrimaryEnd)
		}},
		"angles of the gantry with the patient feet first": {
			report:   mechanics(func(e *procedure.Event) { e.Direction = procedure.FeetFirst }),
			findings: []string{"note angle-frame"},
			check:    wantAngle(-12.5, 8),
		},
		"table moves during a stepping run": {
			report: mechanics(func(e *procedure.Event) {
				e.Type, e.Mechanics.TableLongitudinalEnd = procedure.Stepping, some(quantity.Millimetre(-400))
			}),
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, some(quantity.Millimetre(-400)), r.Events[0].Mechanics.TableLongitudinalEnd)
			},
		},
		"end positions of zero": {
			report: mechanics(func(e *procedure.Event) {
				zero := some(quantity.Millimetre(0))
				e.Mechanics.TableLongitudinalEnd, e.Mechanics.TableLateralEnd, e.Mechanics.TableHeightEnd = zero, zero, zero
			}),
			findings: []string{"reduced zero-table-position"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Events[0].Mechanics.TableLongitudinalEnd.Present())
				assert.True(t, r.Events[0].Mechanics.TableLongitudinal.Present())
			},
		},
		"field area meant at another plane": {
			change:   func(set *dicomio.DataSet) { number(set, "0.0144", "", event, "113790") },
			findings: []string{"suspect field-area"},
			check:    suspects(procedure.SuspectField),
		},
		"field area a third off": {
			change:   func(set *dicomio.DataSet) { number(set, "0.053", "", event, "113790") },
			findings: []string{"reduced field-area"},
			check:    func(t *testing.T, r *procedure.Report) { assert.Zero(t, r.Events[0].Suspicion) },
		},
		"no distance to the reference point, its code instead": {
			change: func(set *dicomio.DataSet) { without(set, event, "113737") },
			check: func(t *testing.T, r *procedure.Report) {
				assert.False(t, r.Events[0].Mechanics.SourceToReference.Present())
				assert.True(t, r.Events[0].RefPoint.Code.Is("113860", "DCM"))
				assert.Empty(t, r.Findings)
			},
		},
		"neither distance nor code of the reference point": {
			change: func(set *dicomio.DataSet) {
				without(set, event, "113737")
				without(set, event, "113780")
			},
			findings: []string{"reduced missing"},
		},
		"wedge filter beside copper": {report: interim, findings: []string{"note filter-shading"}, check: func(t *testing.T, r *procedure.Report) {
			assert.Equal(t, procedure.FilterFlat, r.Events[0].Filters[0].Type)
			assert.Equal(t, procedure.FilterWedge, r.Events[0].Filters[1].Type)
		}},
		"filter thickness minimum above maximum": {
			change: func(set *dicomio.DataSet) {
				number(set, "0.9", "", event, "113771", "113758")
			},
			findings: []string{"repaired filter-thickness-swapped"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, some(quantity.Millimetre(0.3)), r.Events[0].Filters[0].Min)
				assert.Equal(t, some(quantity.Millimetre(0.9)), r.Events[0].Filters[0].Max)
			},
		},
		"filter thickness maximum zero": {
			change:   func(set *dicomio.DataSet) { number(set, "0", "", event, "113771", "113773") },
			findings: []string{"repaired filter-thickness-swapped"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, some(quantity.Millimetre(0.3)), r.Events[0].Filters[0].Max)
			},
		},
		"filter of thickness zero is none": {
			change: func(set *dicomio.DataSet) {
				number(set, "0", "", event, "113771", "113758")
				number(set, "0", "", event, "113771", "113773")
			},
			findings: []string{"note filter-zero"},
			check: func(t *testing.T, r *procedure.Report) {
				assert.Equal(t, some(quantity.Millimetre(0)), r.Events[0].Filters[0].Max)
			},
		},
		"reference point behind the isocentre": {
			change:   func(set *dicomio.DataSet) { number(set, "800", "", event, "113737") },
			findings: []string{"suspect distance-order"},
			check:    suspects(procedure.SuspectDistance),
		},
		"isocentre behind the detector": {
			change:   func(set *dicomio.DataSet) { number(set, "1050", "", event, "113748") },
			findings: []string{"suspect distance-order"},
			check:    suspects(procedure.SuspectDistance),
		},
		"detector at an unusual distance": {
			change:   func(set *dicomio.DataSet) { number(set, "1450", "", event, "113750") },
			findings: []string{"reduced distance-range"},
		},
		"centimetres written as millimetres": {
			change:   func(set *dicomio.DataSet) { number(set, "100", "", event, "113750") },
			findings: []string{"suspect distance-range"},
			check:    suspects(procedure.SuspectDistance),
		},
		"reference point not at 15 cm": {
			change:   func(set *dicomio.DataSet) { number(set, "540", "", event, "113737") },
			findings: []string{"reduced reference-distance"},
		},
	})
}
