package exposure_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/physics/beam"
	"afterbeam/internal/physics/exposure"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

var absent = quantity.None[quantity.Millimetre]()

func reference(code string, change ...func(*procedure.Event)) procedure.Event {
	e := plain(0, 0, change...)
	e.RefPoint.Code = coded(code)
	return e
}

func TestReferencePoints(t *testing.T) {
	b := adult(t)
	toTable := func(v float64) func(*procedure.Event) {
		return func(e *procedure.Event) { e.Mechanics.SourceToTable = mm(v) }
	}
	tests := map[string]struct {
		event   procedure.Event
		profile procedure.DeviceProfile
		want    float64
		says    string
	}{
		"15 cm from the isocentre":                        {reference("113860"), procedure.DeviceProfile{}, 600, ""},
		"30 cm before the input surface":                  {reference("113861"), procedure.DeviceProfile{}, 700, ""},
		"1 cm above the table top, tube under":            {reference("113862", toTable(620)), procedure.DeviceProfile{}, 630, ""},
		"1 cm above the table top, whose distance lacks":  {reference("113862"), procedure.DeviceProfile{}, 600, "distance source to table"},
		"30 cm above the table top, whose distance lacks": {over(plain(180, 0)), procedure.DeviceProfile{}, 600, "distance source to table"},
		"30 cm before a surface whose distance lacks":     {reference("113861", func(e *procedure.Event) { e.Mechanics.SourceToDetector = absent }), procedure.DeviceProfile{}, 600, "distance source to detector"},
		"15 cm from the table centreline":                 {reference("113864"), procedure.DeviceProfile{}, 600, "centreline"},
		"in the detector plane":                           {reference("113941"), procedure.DeviceProfile{}, 1000, ""},
		"at the skin on the central ray":                  {reference("113964"), procedure.DeviceProfile{}, 650, ""},
		"100 cm from the source":                          {reference("113965"), procedure.DeviceProfile{}, 1000, ""},
		"no code":                                         {reference(""), procedure.DeviceProfile{}, 600, "reference point missing"},
		"a code of another scheme":                        {plain(0, 0, func(e *procedure.Event) { e.RefPoint.Code.Scheme = "99X" }), procedure.DeviceProfile{}, 600, "reference point missing"},
		"the reported distance goes before the code":      {reference("113965", func(e *procedure.Event) { e.Mechanics.SourceToReference = mm(585) }), procedure.DeviceProfile{}, 585, ""},
		"the profile's distance goes before the code":     {reference("113965"), procedure.DeviceProfile{RefPoint: mm(640)}, 640, ""},
		"30 cm above the table top, tube over it":         {over(plain(180, 0, toTable(1000))), procedure.DeviceProfile{}, 700, ""},
		"isocentre of the profile where the report lacks": {plain(0, 0, func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = absent }), procedure.DeviceProfile{SourceToIsocentre: mm(800)}, 650, ""},
		"isocentre unknown":                               {plain(0, 0, func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = absent }), procedure.DeviceProfile{}, 600, "750 mm"},
		"detector unknown":                                {reference("113941", func(e *procedure.Event) { e.Mechanics.SourceToDetector = absent }), procedure.DeviceProfile{}, 1125, "1.5 times"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, tt.profile, b, tt.event)
			require.Len(t, c.Shots, 1, "%v", c.Unplaced)
			assert.InDelta(t, tt.want, float64(c.Shots[0].RefDistance), 1e-6) // mm, rounding
			if tt.says != "" {
				says(t, c.Assumptions, tt.says)
			}
		})
	}
}

func over(e procedure.Event) procedure.Event {
	e.RefPoint.Code = coded("113863")
	return e
}

func TestTubeOverTheTableEntersTheFront(t *testing.T) {
	b := adult(t)
	column := func(degrees float64) func(*procedure.Event) {
		return func(e *procedure.Event) {
			e.Mechanics.Primary, e.Mechanics.Secondary = quantity.None[quantity.Degree](), quantity.None[quantity.Degree]()
			e.Mechanics.Column = some(quantity.Degree(degrees))
		}
	}
	tests := map[string]struct {
		event   procedure.Event
		want    float64 // y of the entrance
		z       float64
		finding string
	}{
		"angle 180":                                {over(plain(180, 0)), -100, 510, ""},
		"angle 0 contradicts, read as turned":      {over(plain(0, 0)), -100, 510, "tube-side"},
		"column upright over the table":            {over(plain(0, 0, column(0))), -100, 510, ""},
		"column over, tilted by 45":                {over(plain(0, 0, column(45))), -100, 410, ""},
		"column upright under the table":           {reference("113862", column(0)), 100, 510, ""},
		"tube under by reference, over by angle":   {reference("113862", func(e *procedure.Event) { e.Mechanics.Primary = some(quantity.Degree(180)) }), -100, 510, "tube-side"},
		"prone on a table with the tube over it":   {over(plain(0, 0, column(0), lying(procedure.HeadFirst, procedure.Prone))), 100, 510, ""},
		"prone over, angles of the patient are 0 ": {over(plain(0, 0, lying(procedure.HeadFirst, procedure.Prone))), 100, 510, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, procedure.DeviceProfile{Angles: procedure.FramePatient}, b, tt.event)
			require.Len(t, c.Shots, 1, "%v", c.Unplaced)
			got, _ := entry(t, b, c.Shots[0])
			assert.InDelta(t, tt.want, got.Y, 1e-6)
			assert.InDelta(t, tt.z, got.Z, 1e-6)
			assert.Equal(t, tt.finding != "", finds(c, tt.finding))
		})
	}
}

func finds(c exposure.Course, rule string) bool {
	for _, f := range c.Findings {
		if f.Rule == rule {
			return true
		}
	}
	return false
}

func TestFields(t *testing.T) {
	b := adult(t)
	field := func(width, height, area float64) func(*procedure.Event) {
		return func(e *procedure.Event) {
			e.Field = procedure.Field{}
			if width > 0 {
				e.Field.Width = mm(width)
			}
			if height > 0 {
				e.Field.Height = mm(height)
			}
			if area > 0 {
				e.Field.Area = some(quantity.SquareMetre(area))
			}
		}
	}
	kap := func(gycm2 float64) func(*procedure.Event) {
		return func(e *procedure.Event) { e.KAP = some(quantity.GraySquareMetre(gycm2 * 1e-4)) }
	}
	suspect := func(s procedure.Suspicion) func(*procedure.Event) {
		return func(e *procedure.Event) { e.Suspicion |= s }
	}
	tests := map[string]struct {
		change        []func(*procedure.Event)
		plane         procedure.FieldPlane
		width, height float64 // tangents of the half sides; 0 no shot
		says          string
	}{
		"rectangle at the detector":              {ev(field(200, 160, 0)), procedure.FieldAtDetector, 0.1, 0.08, ""},
		"rectangle at the reference point":       {ev(field(120, 60, 0)), procedure.FieldAtReference, 0.1, 0.05, ""},
		"rectangle at the isocentre":             {ev(field(150, 75, 0)), procedure.FieldAtIsocentre, 0.1, 0.05, ""},
		"area alone is a square":                 {ev(field(0, 0, 0.04)), procedure.FieldAtDetector, 0.1, 0.1, "square of that area"},
		"width and area":                         {ev(field(100, 0, 0.04)), procedure.FieldAtDetector, 0.05, 0.2, ""},
		"height and area":                        {ev(field(0, 100, 0.04)), procedure.FieldAtDetector, 0.2, 0.05, ""},
		"one side alone":                         {ev(field(0, 100, 0)), procedure.FieldAtDetector, 0.05, 0.05, "only one side"},
		"144 Gy cm2 a gray at 600 mm: 12 cm":     {ev(field(0, 0, 0), kap(144)), procedure.FieldAtDetector, 0.1, 0.1, "field size missing"},
		"a suspect field falls back on the same": {ev(kap(144), suspect(procedure.SuspectField)), procedure.FieldAtDetector, 0.1, 0.1, "field size missing"},
		"a suspect product does not help":        {ev(field(0, 0, 0), kap(144), suspect(procedure.SuspectKAP)), procedure.FieldAtDetector, 0, 0, ""},
		"a ratio of 2000 cm2 does not":           {ev(field(0, 0, 0), kap(2000)), procedure.FieldAtDetector, 0, 0, ""},
		"nothing":                                {ev(field(0, 0, 0)), procedure.FieldAtDetector, 0, 0, ""},
		"a field of 3 m is not built":            {ev(field(3000, 3000, 0)), procedure.FieldAtDetector, 0, 0, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, procedure.DeviceProfile{FieldPlane: tt.plane}, b, plain(0, 0, tt.change...))
			if tt.width == 0 {
				require.Empty(t, c.Shots)
				require.Len(t, c.Unplaced, 1)
				assert.Contains(t, c.Unplaced[0].Reason, "field size")
				return
			}
			require.Len(t, c.Shots, 1)
			assert.InDelta(t, tt.width, c.Shots[0].HalfWidth, 1e-12)
			assert.InDelta(t, tt.height, c.Shots[0].HalfHeight, 1e-12)
			if tt.says != "" {
				says(t, c.Assumptions, tt.says)
			}
		})
	}
}

func TestKermaFromKermaAreaProduct(t *testing.T) {
	b := adult(t)
	e := plain(0, 0, func(e *procedure.Event) {
		e.RefKerma = quantity.None[quantity.Gray]()
		e.KAP = some(quantity.GraySquareMetre(115.2e-4)) // over 12 x 9.6 cm at 600 mm of 20 x 16 cm at 1000 mm
	})
	c := traced(t, explained(), b, e)
	require.Len(t, c.Shots, 1)
	assert.InDelta(t, 1, float64(c.Shots[0].Kerma), 1e-12)
	assert.True(t, c.Assumed)
	says(t, c.Assumptions, "air kerma missing")
}

func TestUnplaced(t *testing.T) {
	b := adult(t)
	none := quantity.None[quantity.Degree]()
	kerma := some(quantity.Gray(1))
	tests := map[string]struct {
		change func(*procedure.Event)
		kerma  quantity.Opt[quantity.Gray]
		reason string
	}{
		"no angles":               {func(e *procedure.Event) { e.Mechanics.Primary, e.Mechanics.Secondary = none, none }, kerma, "no angles"},
		"no mechanical data":      {func(e *procedure.Event) { e.Mechanics = procedure.Mechanics{MechanicalDataSaidAbsent: true} }, kerma, "no mechanical data"},
		"angle that is no number": {func(e *procedure.Event) { e.Mechanics.Primary = some(quantity.Degree(math.NaN())) }, kerma, "360"},
		"angle of 1000 degrees":   {func(e *procedure.Event) { e.Mechanics.Secondary = some(quantity.Degree(1000)) }, kerma, "360"},
		"column without a side": {func(e *procedure.Event) {
			e.Mechanics.Primary, e.Mechanics.Column = none, some(quantity.Degree(0))
		}, kerma, "which side"},
		"suspect kerma":     {func(e *procedure.Event) { e.Suspicion = procedure.SuspectKerma }, quantity.None[quantity.Gray](), "kerma is not believed"},
		"suspect distances": {func(e *procedure.Event) { e.Suspicion = procedure.SuspectDistance }, kerma, "distances"},
		"suspect angles":    {func(e *procedure.Event) { e.Suspicion = procedure.SuspectAngle }, kerma, "angles"},
		"neither kerma nor product": {
			func(e *procedure.Event) { e.RefKerma = quantity.None[quantity.Gray]() },
			quantity.None[quantity.Gray](), "neither",
		},
		"reference point behind the focus": {func(e *procedure.Event) { e.Mechanics.SourceToIsocentre = mm(140) }, kerma, "reference point"},
		"focus in the body": {func(e *procedure.Event) {
			e.Mechanics.SourceToIsocentre, e.Mechanics.SourceToReference = mm(90), mm(60)
		}, kerma, "inside the body"},
		"reference point at a skin the ray misses": {func(e *procedure.Event) {
			e.RefPoint.Code = coded("113964")
			e.Mechanics.TableX, e.Mechanics.TableY, e.Mechanics.TableZ = mm(900), mm(130), mm(0)
		}, kerma, "misses"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, procedure.DeviceProfile{}, b, plain(0, 0), plain(0, 0, tt.change))
			require.Len(t, c.Shots, 1)
			require.Len(t, c.Unplaced, 1)
			assert.Equal(t, 1, c.Unplaced[0].Event)
			assert.Equal(t, tt.kerma, c.Unplaced[0].Kerma)
			assert.Contains(t, c.Unplaced[0].Reason, tt.reason)
		})
	}
}

func TestAnEventOfZeroKermaAddsNothing(t *testing.T) {
	b := adult(t)
	c := traced(t, procedure.DeviceProfile{}, b, plain(0, 0, func(e *procedure.Event) { e.RefKerma = some(quantity.Gray(0)) }))
	assert.Empty(t, c.Shots)
	assert.Empty(t, c.Unplaced)
	assert.True(t, finds(c, "zero-kerma"))
}

func quality(kv quantity.Kilovolt, aluminium, copper quantity.Millimetre) beam.Quality {
	return beam.Quality{Voltage: kv, Aluminium: aluminium, Copper: copper}
}

func TestQuality(t *testing.T) {
	b := adult(t)
	flat := func(m procedure.Metal, least, most float64) procedure.Filter {
		return procedure.Filter{Type: procedure.FilterFlat, Metal: m, Min: mm(least), Max: mm(most)}
	}
	with := func(kv []quantity.Kilovolt, filters ...procedure.Filter) func(*procedure.Event) {
		return func(e *procedure.Event) { e.Technique.Voltages, e.Filters = kv, filters }
	}
	kv := func(v ...quantity.Kilovolt) []quantity.Kilovolt { return v }
	inherent := procedure.DeviceProfile{InherentAluminium: mm(2.8)}
	shaped := flat(procedure.Copper, 1, 1)
	shaped.Type = procedure.FilterWedge
	unshaped := flat(procedure.Copper, 0.2, 0.2)
	unshaped.Type = procedure.FilterUnknown
	oneEnd := procedure.Filter{Type: procedure.FilterFlat, Metal: procedure.Copper, Max: mm(0.4)}
	tests := map[string]struct {
		profile procedure.DeviceProfile
		change  func(*procedure.Event)
		want    beam.Quality
		finding string
		says    string
	}{
		"copper reported":              {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Copper, 0.3, 0.3)), quality(75, 3, 0.3), "", "3.0 mm Al beside"},
		"copper and aluminium":         {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Copper, 0.1, 0.1), flat(procedure.Aluminium, 1, 1)), quality(75, 3.5, 0.1), "", "2.5 mm Al"},
		"inherent of the profile":      {inherent, with(kv(75), flat(procedure.Copper, 0.1, 0.1), flat(procedure.Aluminium, 1, 1)), quality(75, 3.8, 0.1), "", ""},
		"inherent, no filter reported": {inherent, with(kv(75)), quality(75, 2.8, 0), "", "no added filter"},
		"said to have none":            {procedure.DeviceProfile{}, with(kv(75), procedure.Filter{Type: procedure.FilterNone}), quality(75, 3, 0), "", "3.0 mm Al"},
		"nothing reported":             {procedure.DeviceProfile{}, with(nil), quality(80, 3, 0), "", "80 kV"},
		"several voltages: the mean":   {procedure.DeviceProfile{}, with(kv(70, 80, 90, 0), flat(procedure.Copper, 0, 0)), quality(80, 3, 0), "", "their mean"},
		"over 140 kV":                  {procedure.DeviceProfile{}, with(kv(150), flat(procedure.Copper, 0, 0)), quality(140, 3, 0), "voltage-range", ""},
		"under 30 kV":                  {procedure.DeviceProfile{}, with(kv(25), flat(procedure.Copper, 0, 0)), quality(30, 3, 0), "voltage-range", ""},
		"thinnest and thickest differ": {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Copper, 0.1, 0.3)), quality(75, 3, 0.2), "", ""},
		"in the wrong order":           {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Copper, 0.3, 0.1)), quality(75, 3, 0.2), "filter-thickness-order", ""},
		"only the thickest":            {procedure.DeviceProfile{}, with(kv(75), oneEnd), quality(75, 3, 0.4), "", ""},
		"wedge is left out":            {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Copper, 0.1, 0.1), shaped), quality(75, 3, 0.1), "", "wedge"},
		"unknown shape counts":         {procedure.DeviceProfile{}, with(kv(75), unshaped), quality(75, 3, 0.2), "", ""},
		"tantalum is left out":         {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Tantalum, 0.1, 0.1)), quality(75, 3, 0), "filter-metal", "other metals"},
		"300 mm of copper":             {procedure.DeviceProfile{}, with(kv(75), flat(procedure.Copper, 300, 300)), quality(75, 3, 0), "filter-thickness", ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := traced(t, tt.profile, b, plain(0, 0, tt.change))
			require.Len(t, c.Shots, 1)
			got := c.Shots[0].Quality
			assert.InDelta(t, float64(tt.want.Voltage), float64(got.Voltage), 1e-9)
			assert.InDelta(t, float64(tt.want.Aluminium), float64(got.Aluminium), 1e-9)
			assert.InDelta(t, float64(tt.want.Copper), float64(got.Copper), 1e-9)
			assert.Equal(t, tt.finding != "", finds(c, tt.finding))
			if tt.says != "" {
				says(t, c.Assumptions, tt.says)
			}
		})
	}
	suspect := traced(t, procedure.DeviceProfile{}, b, plain(0, 0, func(e *procedure.Event) { e.Suspicion = procedure.SuspectVoltage }))
	assert.Equal(t, quantity.Kilovolt(80), suspect.Shots[0].Quality.Voltage)
}
