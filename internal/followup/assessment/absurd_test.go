package assessment_test

import (
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// absurd are numbers that no report should hold; a reader may let some of them through.
var absurd = []float64{
	math.NaN(), math.Inf(1), math.Inf(-1), 0, math.Copysign(0, -1), -1, 5e-324, 1e-300, 1e-9, 1, 359, 720, 1e6, 1e15, 1e300, math.MaxFloat64,
}

// spoil sets about one in so many numbers of a value to absurd ones, wherever they are nested.
func spoil(t *rapid.T, v reflect.Value, one int) {
	switch o := v.Addr().Interface().(type) {
	case *quantity.Opt[quantity.Gray]:
		spoilOptional(t, o, one)
	case *quantity.Opt[quantity.GraySquareMetre]:
		spoilOptional(t, o, one)
	case *quantity.Opt[quantity.Millimetre]:
		spoilOptional(t, o, one)
	case *quantity.Opt[quantity.SquareMetre]:
		spoilOptional(t, o, one)
	case *quantity.Opt[quantity.Degree]:
		spoilOptional(t, o, one)
	case *quantity.Opt[quantity.Second]:
		spoilOptional(t, o, one)
	case *quantity.Opt[quantity.Kilogram]:
		spoilOptional(t, o, one)
	case *quantity.Opt[float64]:
		spoilOptional(t, o, one)
	case *quantity.Opt[procedure.Factor]:
		if f, ok := o.Get(); ok {
			spoil(t, reflect.ValueOf(&f).Elem(), one)
			*o = quantity.Some(f)
		}
	default:
		spoilParts(t, v, one)
	}
}

func spoilParts(t *rapid.T, v reflect.Value, one int) {
	switch v.Kind() {
	case reflect.Float64:
		if rapid.IntRange(1, one).Draw(t, "spoil") == 1 {
			v.SetFloat(rapid.SampledFrom(absurd).Draw(t, "number"))
		}
	case reflect.Slice:
		for i := range v.Len() {
			spoil(t, v.Index(i), one)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				spoil(t, v.Field(i), one)
			}
		}
	default:
	}
}

func spoilOptional[T ~float64](t *rapid.T, o *quantity.Opt[T], one int) {
	if rapid.IntRange(1, one).Draw(t, "spoil") == 1 {
		*o = quantity.Some(T(rapid.SampledFrom(absurd).Draw(t, "number")))
	}
}

// Whatever the numbers are, an assessment ends soon and holds no number that is none; and what is no number never counts
// as below.
func TestAbsurdNumbers(t *testing.T) {
	profiles := demo.Profiles()
	cases := demo.Cases()
	rapid.Check(t, func(t *rapid.T) {
		p := procedure.Merge([]procedure.Report{cases[rapid.IntRange(0, len(cases)-1).Draw(t, "case")].Report})[0]
		p.Events = slices.Clone(p.Events[:min(len(p.Events), 12)])
		for i := range p.Events {
			e := &p.Events[i]
			e.Technique.Voltages, e.Filters = slices.Clone(e.Technique.Voltages), slices.Clone(e.Filters)
			e.Type = procedure.EventType(rapid.IntRange(0, 4).Draw(t, "type"))
			e.Posture = procedure.Posture(rapid.IntRange(0, 5).Draw(t, "posture"))
			e.Direction = procedure.Direction(rapid.IntRange(0, 3).Draw(t, "direction"))
		}
		p.Totals = slices.Clone(p.Totals)
		one := rapid.SampledFrom([]int{2, 8, 40}).Draw(t, "one in")
		spoil(t, reflect.ValueOf(&p.Events).Elem(), one)
		spoil(t, reflect.ValueOf(&p.Totals).Elem(), one)
		spoil(t, reflect.ValueOf(&p.Patient).Elem(), one)
		var facts procedure.Facts
		spoil(t, reflect.ValueOf(&facts).Elem(), one)
		m := assessment.Default()
		m.MaxPatch = 100
		m.Profiles = slices.Clone(profiles)
		for i := range m.Profiles {
			m.Profiles[i].Layers = slices.Clone(m.Profiles[i].Layers)
			spoil(t, reflect.ValueOf(&m.Profiles[i]).Elem(), one)
		}
		began := time.Now()
		a := m.Assess(p, facts)
		require.Less(t, time.Since(began), 20*time.Second, "12 events take a few ms; the rest is for a busy machine")
		isSound(t, a)
		window := m.Sum([]assessment.Delivered{a.Delivered(), a.Delivered()}, 60, a.Delivered().LocalDate)
		require.Equal(t, a.Levels.State == level.NoFlag, window.Levels.State == level.NoFlag)
		if a.Levels.State == level.Reached {
			require.Equal(t, level.Reached, window.Levels.State)
		}
	})
}

func isSound(t *rapid.T, a assessment.Assessment) {
	e := a.SkinDose
	low, okLow := e.Low.Get()
	value, ok := e.Value.Get()
	high, okHigh := e.High.Get()
	require.Equal(t, e.Method != skindose.MethodNone, ok)
	require.Equal(t, ok, okLow && okHigh)
	if ok {
		require.True(t, 0 <= low && low <= value && value <= high, "%v %v %v", low, value, high)
	}
	isNumber := func(v float64) { require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%v", v) }
	isNumber(float64(high))
	isNumber(float64(e.KermaWithoutGeometry.Or(0)))
	isNumber(float64(e.FieldAtSkin.Or(0)))
	isNumber(float64(e.HighForMissing))
	for _, p := range e.Parts {
		isNumber(float64(p.Percent))
	}
	if e.Map != nil {
		for _, d := range e.Map.Dose {
			isNumber(float64(d))
		}
	}
	f := a.Effective
	if v, ok := f.Value.Get(); ok {
		require.True(t, 0 <= f.Low.Or(0) && f.Low.Or(0) <= v && v <= f.High.Or(0), "%v %v %v", f.Low, v, f.High)
		isNumber(float64(f.High.Or(0)))
	}
	for _, r := range a.Levels.Results {
		if r.State == level.Below {
			isNumber(r.Value.Or(math.NaN()))
		}
	}
}
