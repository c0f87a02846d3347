package exposure_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/body"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestKnowledge(t *testing.T) {
	best := explained()
	best.InherentAluminium = mm(2.5)
	best.Layers, best.LayersKnown = []procedure.TableLayer{{Material: "carbon_fibre", Mass: 0.4}}, procedure.TableMeasured
	typed := best
	typed.LayersKnown = procedure.TableTyped
	sized := procedure.Facts{Height: mm(1786), Weight: some(quantity.Kilogram(73))}
	measured := procedure.Facts{PatientThickness: mm(200)}
	bare := func(e *procedure.Event) { e.Technique.Voltages = nil }
	placed := table(0, 0, 130)
	lacking := func(change func(*procedure.Event)) func(*procedure.Event) {
		return func(e *procedure.Event) {
			placed(e)
			change(e)
		}
	}
	absurd := procedure.Facts{Height: mm(1786), Weight: some(quantity.Kilogram(400))}
	noThickness := procedure.Filter{Type: procedure.FilterFlat, Metal: procedure.Aluminium}
	tests := map[string]struct {
		profile procedure.DeviceProfile
		facts   procedure.Facts
		site    string
		change  func(*procedure.Event)
		want    [5]float64 // distance, table, backscatter, tissue, place in percent
	}{
		"all known":                 {best, measured, "heart", table(0, 0, 130), [5]float64{3, 3, 3, 1, 2}},
		"height and weight":         {typed, sized, "heart", table(0, 0, 130), [5]float64{8, 6, 3, 1, 2}},
		"size unknown":              {typed, procedure.Facts{}, "heart", table(0, 0, 130), [5]float64{16, 6, 3, 1, 2}},
		"size not believed":         {typed, absurd, "heart", placed, [5]float64{16, 6, 3, 1, 2}},
		"no distance to isocentre":  {typed, sized, "heart", lacking(func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = absent }), [5]float64{16, 6, 3, 1, 2}},
		"no reference point":        {typed, sized, "heart", lacking(func(e *procedure.Event) { e.RefPoint = procedure.ReferencePoint{} }), [5]float64{16, 6, 3, 1, 2}},
		"no distance to detector":   {typed, sized, "heart", lacking(func(e *procedure.Event) { e.Mechanics.SourceToDetector = absent }), [5]float64{8, 6, 4, 1, 2}},
		"a filter of any thickness": {typed, sized, "heart", lacking(func(e *procedure.Event) { e.Filters = append(e.Filters, noThickness) }), [5]float64{8, 6, 6, 1, 2}},
		"no place":                  {best, measured, "", table(0, 0, 130), [5]float64{3, 3, 3, 1, 15}},
		"no positions in the event": {best, measured, "heart", func(*procedure.Event) {}, [5]float64{16, 3, 3, 1, 15}},
		"head":                      {best, measured, "brain", table(0, 0, 130), [5]float64{3, 3, 6, 1, 2}},
		"no profile":                {procedure.DeviceProfile{}, measured, "heart", table(0, 0, 130), [5]float64{16, 12, 4, 1, 15}},
		"no voltage":                {procedure.DeviceProfile{}, measured, "heart", bare, [5]float64{16, 12, 6, 1, 15}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			b, err := body.New(body.Size{Height: tt.facts.Height, Weight: tt.facts.Weight}, 1)
			require.NoError(t, err)
			c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{plain(0, 0, tt.change)}}, tt.profile, tt.facts, b, tt.site, nil)
			require.NoError(t, err)
			k := c.Knowledge
			assert.Equal(t, tt.want, [5]float64{
				float64(k.Distance.Percent), float64(k.Table.Percent), float64(k.Backscatter.Percent), float64(k.Tissue.Percent), float64(k.Place.Percent),
			})
			assert.False(t, k.LittleKnown)
			for _, p := range []exposure.Part{k.Distance, k.Table, k.Backscatter, k.Tissue, k.Place} {
				assert.NotEmpty(t, p.Words)
			}
		})
	}
}

// One event without a zero takes the whole procedure's class down.
func TestKnowledgeIsThatOfTheWorstEvent(t *testing.T) {
	b := adult(t)
	known, unknown := plain(0, 0, table(0, 0, 130)), plain(0, 0)
	for _, events := range [][]procedure.Event{{known, unknown}, {unknown, known}} {
		c := traced(t, explained(), b, events...)
		assert.Equal(t, quantity.Percent(15), c.Knowledge.Place.Percent)
		assert.Equal(t, quantity.Percent(16), c.Knowledge.Distance.Percent)
	}
}

func TestSkinTooNearTheFocus(t *testing.T) {
	heavy, err := body.New(body.Size{Height: mm(1650), Weight: some(quantity.Kilogram(200))}, 1)
	require.NoError(t, err)
	tests := map[string]struct {
		mobile bool
		siso   float64 // half the trunk's width is 344 mm
		want   bool
	}{
		"406 mm, fixed":  {false, 750, false},
		"356 mm, fixed":  {false, 700, true},
		"356 mm, mobile": {true, 700, false},
		"256 mm, mobile": {true, 600, true},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			e := plain(90, 0, func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = mm(tt.siso) })
			c := traced(t, procedure.DeviceProfile{Mobile: tt.mobile}, heavy, e)
			assert.Equal(t, tt.want, c.Knowledge.LittleKnown)
			assert.Equal(t, tt.want, finds(c, "focus-skin-distance"))
			require.Len(t, c.Shots, 1)
		})
	}
}

func TestFocusInsideTheBodyIsLittleKnown(t *testing.T) {
	b := adult(t)
	c := traced(t, procedure.DeviceProfile{}, b, plain(90, 0, func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = mm(190) }))
	assert.True(t, c.Knowledge.LittleKnown)
	assert.True(t, finds(c, "focus-in-body"))
	assert.Empty(t, c.Shots)
}

func TestUnknownPlaceOfTheClass(t *testing.T) {
	b := adult(t)
	c, err := exposure.Trace(procedure.Procedure{Events: []procedure.Event{plain(0, 0)}}, procedure.DeviceProfile{}, procedure.Facts{}, b, "elbow", nil)
	require.NoError(t, err)
	assert.True(t, finds(c, "unknown-site"))
}
