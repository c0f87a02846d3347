package exposure_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// A map is one of known geometry only with the orientation, the distances and all three zeros of the table: without
// these the beams may lie elsewhere on the skin, and the maps of two sessions may overlap elsewhere.
func TestWhatMakesAGeometryAssumed(t *testing.T) {
	b := adult(t)
	unzeroed := func(axis func(*procedure.DeviceProfile) *procedure.TableAxis) procedure.DeviceProfile {
		p := explained()
		axis(&p).Zero = absent
		return p
	}
	tests := map[string]struct {
		profile procedure.DeviceProfile
		change  func(*procedure.Event)
		want    bool
		says    string
	}{
		"all known": {explained(), func(*procedure.Event) {}, false, "heart at the isocentre"},
		"no zero across": {
			unzeroed(func(p *procedure.DeviceProfile) *procedure.TableAxis { return &p.Lateral }), func(*procedure.Event) {},
			true, "only relative table motion known",
		},
		"no zero along": {
			unzeroed(func(p *procedure.DeviceProfile) *procedure.TableAxis { return &p.Longitudinal }), func(*procedure.Event) {},
			true, "only relative table motion known",
		},
		"no zero of the height": {
			unzeroed(func(p *procedure.DeviceProfile) *procedure.TableAxis { return &p.Height }), func(*procedure.Event) {},
			true, "table height not known",
		},
		"no zero of the height, but the distance source to table": {
			unzeroed(func(p *procedure.DeviceProfile) *procedure.TableAxis { return &p.Height }),
			func(e *procedure.Event) { e.Mechanics.SourceToTable = mm(620) }, false, "",
		},
		"no posture": {
			explained(), func(e *procedure.Event) { e.Posture = procedure.PostureUnknown }, true, "orientation is assumed",
		},
		"no direction": {
			explained(), func(e *procedure.Event) { e.Direction = procedure.DirectionUnknown }, true, "orientation is assumed",
		},
		"no reference point": {
			explained(), func(e *procedure.Event) { e.RefPoint = procedure.ReferencePoint{} }, true, "reference point missing",
		},
		"no secondary angle": {
			explained(), func(e *procedure.Event) { e.Mechanics.Secondary = quantity.None[quantity.Degree]() }, true, "secondary angle missing",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, tt.profile, b, plain(0, 0, table(0, 0, 130), tt.change))
			require.Len(t, c.Shots, 1)
			assert.Equal(t, tt.want, c.Assumed, "%v", c.Assumptions)
			if tt.says != "" {
				says(t, c.Assumptions, tt.says)
			}
		})
	}
}
