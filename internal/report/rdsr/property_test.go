package rdsr_test

import (
	"bytes"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/report/rdsr"
)

// maybe draws an absent value or one of the range, above zero when low is.
func maybe[T ~float64](t *rapid.T, name string, low, high float64) quantity.Opt[T] {
	if rapid.Bool().Draw(t, name+" absent") {
		return quantity.None[T]()
	}
	return quantity.Some(T(rapid.Float64Range(low, high).Draw(t, name)))
}

func series[T ~float64](t *rapid.T, name string, low, high float64) []T {
	var out []T
	for range rapid.IntRange(0, 3).Draw(t, name+" number") {
		out = append(out, T(rapid.Float64Range(low, high).Draw(t, name)))
	}
	return out
}

// grid rounds values that are written in another unit to 1/4096, so that a thousand of them is a number of few bits; any
// other value may lose its last bit on the way.
func grid[T ~float64](values []T) []T {
	for i, v := range values {
		values[i] = T(math.Ceil(float64(v)*4096) / 4096)
	}
	return values
}

func gridOne[T ~float64](o quantity.Opt[T]) quantity.Opt[T] {
	v, ok := o.Get()
	if !ok {
		return o
	}
	return quantity.Some(grid([]T{v})[0])
}

func oneOf(t *rapid.T, name string, codes ...procedure.Code) procedure.Code {
	return rapid.SampledFrom(append([]procedure.Code{{}}, codes...)).Draw(t, name)
}

func phrase(t *rapid.T, name string) string {
	return rapid.StringMatching(`([A-Za-zÄé手][A-Za-z0-9 ,Äé手]{0,20}[a-z])?`).Draw(t, name)
}

func drawTechnique(t *rapid.T) procedure.Technique {
	k := procedure.Technique{
		PulseRate: maybe[quantity.PerSecond](t, "rate", 0.5, 60), Pulses: maybe[float64](t, "pulses", 1, 1e5),
		PulseWidths: grid(series[quantity.Second](t, "width", 1e-3, 0.1)), Duration: maybe[quantity.Second](t, "duration", 0.01, 900),
		Voltages: series[quantity.Kilovolt](t, "kv", 41, 149), Currents: series[quantity.Milliampere](t, "current", 1, 900),
		MeanCurrent: maybe[quantity.Milliampere](t, "mean current", 1, 900), ExposureTime: gridOne(maybe[quantity.Second](t, "time", 1e-3, 600)),
		Exposures: grid(series[quantity.MilliampereSecond](t, "exposure", 0.01, 50)), FocalSpot: maybe[quantity.Millimetre](t, "spot", 0.1, 2),
		HalfValue: maybe[quantity.Millimetre](t, "hvl", 1, 12), WaterEquiv: maybe[quantity.Millimetre](t, "water", 50, 400),
		Anode: oneOf(t, "anode", sct("26194003", "Tungsten")), Deviation: maybe[float64](t, "deviation", -5, 5),
		ExposureIndex: maybe[float64](t, "index", 1, 3000), TargetIndex: maybe[float64](t, "target", 1, 3000),
	}
	k.PulsedKnown = rapid.Bool().Draw(t, "mode known")
	k.Pulsed = k.PulsedKnown && rapid.Bool().Draw(t, "pulsed")
	k.PulsesGuessed = k.Pulses.Present() && rapid.Bool().Draw(t, "guessed")
	return k
}

func drawMechanics(t *rapid.T, saidAbsent bool) procedure.Mechanics {
	angle := func(name string, most float64) quantity.Opt[quantity.Degree] {
		return maybe[quantity.Degree](t, name, -most, most)
	}
	place := func(name string) quantity.Opt[quantity.Millimetre] {
		return maybe[quantity.Millimetre](t, name, 1, 2000) // 0 on every event would be read as absent
	}
	return procedure.Mechanics{
		Primary: angle("primary", 180), Secondary: angle("secondary", 90), Column: angle("column", 45), DetectorRotation: angle("detector", 180),
		SourceToIsocentre: maybe[quantity.Millimetre](t, "siso", 500, 900), SourceToReference: maybe[quantity.Millimetre](t, "srp", 350, 900),
		SourceToDetector: maybe[quantity.Millimetre](t, "sid", 700, 1300), SourceToTable: maybe[quantity.Millimetre](t, "stp", 300, 1200),
		TableLongitudinal: place("long"), TableLateral: place("lat"), TableHeight: place("height"),
		TableLongitudinalEnd: place("long end"), TableX: place("x"), TableYEnd: place("y end"), TableZ: place("z"),
		TableHeadTilt: angle("tilt", 20), TableRotation: angle("rotation", 180), TableCradleTilt: angle("cradle", 20),
		Compression: maybe[quantity.Millimetre](t, "compression", 1, 100), MechanicalDataSaidAbsent: saidAbsent,
	}
}

func drawEvent(t *rapid.T, r *procedure.Report, n int) procedure.Event {
	// Only KAP and kerma that make a possible field, else the reading has a suspicion that the report had not.
	var kerma quantity.Opt[quantity.Gray]
	var kap quantity.Opt[quantity.GraySquareMetre]
	switch rapid.IntRange(0, 2).Draw(t, "doses") {
	case 0:
		kerma = quantity.Some(quantity.Gray(rapid.Float64Range(1e-6, 0.1).Draw(t, "kerma")))
	case 1:
		kap = quantity.Some(quantity.GraySquareMetre(rapid.Float64Range(1e-9, 0.01).Draw(t, "kap")))
	}
	e := procedure.Event{
		UID: fmt.Sprintf("1.2.%d", n), Plane: rapid.SampledFrom([]procedure.Plane{procedure.PlaneA, procedure.PlaneB}).Draw(t, "plane"),
		Start:    procedure.Moment{Time: time.Unix(1741000000+rapid.Int64Range(0, 1e6).Draw(t, "start"), 0).In(zone), Offset: procedure.OffsetInValue},
		Type:     rapid.SampledFrom([]procedure.EventType{procedure.Fluoroscopy, procedure.Stationary, procedure.Stepping, procedure.Rotational}).Draw(t, "type"),
		Protocol: phrase(t, "protocol"), Comment: phrase(t, "comment"), Target: oneOf(t, "target", abdomen, heart),
		Attitude: recumbent, Posture: rapid.SampledFrom([]procedure.Posture{procedure.PostureUnknown, procedure.Prone, procedure.DecubitusLeft}).Draw(t, "posture"),
		Direction: rapid.SampledFrom([]procedure.Direction{procedure.DirectionUnknown, procedure.HeadFirst, procedure.FeetFirst}).Draw(t, "direction"),
		KAP:       kap, RefKerma: kerma, RefPoint: procedure.ReferencePoint{Text: phrase(t, "point")},
		Technique: drawTechnique(t), Mechanics: drawMechanics(t, r.MechanicalData == procedure.AvailabilityNo),
		ReportUID: r.SOPInstanceUID, Place: fmt.Sprintf("irradiation event %d", n+1),
	}
	if e.Anatomy = oneOf(t, "anatomy", abdomen); !e.Anatomy.IsZero() {
		e.Side = oneOf(t, "side", sct("7771000", "Left"))
	}
	for range rapid.IntRange(0, 2).Draw(t, "filters") {
		low := rapid.Float64Range(0, 1).Draw(t, "thickness")
		e.Filters = append(e.Filters, procedure.Filter{
			Type: procedure.FilterFlat, Metal: procedure.Copper, Material: copper,
			Min: some(quantity.Millimetre(low)), Max: some(quantity.Millimetre(low + 0.1)),
		})
	}
	e.Field.Area = maybe[quantity.SquareMetre](t, "area", 1e-4, 0.16)
	return e
}

func drawReport(t *rapid.T) *procedure.Report {
	r := header(7)
	r.MechanicalData = rapid.SampledFrom([]procedure.Availability{procedure.AvailabilityUnsaid, procedure.AvailabilityYes, procedure.AvailabilityNo}).Draw(t, "mechanical")
	r.Comment = phrase(t, "comment")
	// The header has decimal strings alone, 16 characters of them.
	r.Patient.Weight = some(quantity.Kilogram(rapid.IntRange(400, 2000).Draw(t, "weight")) / 10)
	for n := range rapid.IntRange(1, 4).Draw(t, "events") {
		r.Events = append(r.Events, drawEvent(t, r, n))
	}
	for _, plane := range []procedure.Plane{procedure.PlaneA, procedure.PlaneB} {
		r.Planes = append(r.Planes, procedure.PlaneTotal{
			Plane: plane, Frames: maybe[float64](t, "frames", 1, 1e4), FluoroTime: maybe[quantity.Second](t, "fluoro time", 1, 1e4),
			SourceToReference: maybe[quantity.Millimetre](t, "total srp", 400, 700),
		})
	}
	return r
}

// unsuspected leaves the suspicions out: they are the reader's opinion, not part of what is written.
func unsuspected(r *procedure.Report) *procedure.Report {
	c := carried(r)
	for i := range c.Events {
		c.Events[i].Suspicion = 0
	}
	return c
}

func TestReadOfWrittenIsTheSame(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawReport(t)
		opt := rdsr.WriteOptions{
			CodeGeneration: rapid.SampledFrom([]rdsr.CodeGeneration{rdsr.CodesCurrent, rdsr.Codes2017, rdsr.CodesSRT}).Draw(t, "codes"),
			TransferSyntax: rapid.SampledFrom([]string{dicomio.ExplicitLittleEndian, dicomio.ImplicitLittleEndian, dicomio.DeflatedExplicit}).Draw(t, "syntax"),
		}
		var out bytes.Buffer
		require.NoError(t, rdsr.Write(&out, want, opt))
		got, err := rdsr.Read(out.Bytes(), rdsr.Options{})
		require.NoError(t, err)
		assert.Equal(t, unsuspected(want), unsuspected(got))
	})
}

// The order of content items means nothing: a report turned upside down reads the same, apart from the order of its events.
func TestOrderOfRowsMeansNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := drawReport(t)
		want.Events = want.Events[:1]
		set := rdsr.DataSet(want, rdsr.WriteOptions{})
		container := first(&set, event)
		rows := element(container, tagContent)
		// Rows that may repeat keep their order among themselves, since their values are a list.
		rows.Items = rapid.Permutation(rows.Items).Draw(t, "rows")
		var out bytes.Buffer
		require.NoError(t, dicomio.Write(&out, set, dicomio.ExplicitLittleEndian))
		got, err := rdsr.Read(out.Bytes(), rdsr.Options{})
		require.NoError(t, err)
		assert.Equal(t, withoutLists(unsuspected(want)), withoutLists(unsuspected(got)))
	})
}

func withoutLists(r *procedure.Report) *procedure.Report {
	for i := range r.Events {
		k := &r.Events[i].Technique
		k.PulseWidths, k.Voltages, k.Currents, k.Exposures = nil, nil, nil, nil
		r.Events[i].Filters = nil
	}
	return r
}

// What is marked suspect stays in sight: whatever positive dose an event has is read, believed or not.
func TestSuspicionTakesNothingAway(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := singlePlane()
		dose := math.Pow(10, rapid.Float64Range(-6, 6).Draw(t, "decades"))
		r.Events[0].RefKerma = some(quantity.Gray(dose))
		var out bytes.Buffer
		require.NoError(t, rdsr.Write(&out, r, rdsr.WriteOptions{}))
		got, err := rdsr.Read(out.Bytes(), rdsr.Options{})
		require.NoError(t, err)
		assert.InEpsilon(t, dose, float64(got.Events[0].RefKerma.Or(0)), 1e-15)
	})
}
