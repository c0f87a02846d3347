package assessment_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/demo"
	"afterbeam/internal/followup/assessment"
	"afterbeam/internal/followup/level"
	"afterbeam/internal/physics/skindose"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

// path leads to a field of a struct by the indices of nested structs.
type path struct {
	name  string
	index []int
}

// fieldsOf lists the fields of a struct that can be removed one by one; of values that may be absent, the whole.
func fieldsOf(t reflect.Type) []path {
	var out []path
	for i := range t.NumField() {
		f := t.Field(i)
		optional := f.Type.Kind() == reflect.Struct && f.Type.NumField() > 0 && !f.Type.Field(0).IsExported()
		if f.Type.Kind() != reflect.Struct || optional || f.Type == reflect.TypeFor[procedure.Code]() {
			out = append(out, path{f.Name, []int{i}})
			continue
		}
		for _, inner := range fieldsOf(f.Type) {
			out = append(out, path{f.Name + "." + inner.name, append([]int{i}, inner.index...)})
		}
	}
	return out
}

// without sets a field of a struct to what it is when nobody said anything.
func without(of any, at path) { reflect.ValueOf(of).Elem().FieldByIndex(at.index).SetZero() }

// removal is a procedure, its facts and its method with one field gone.
type removal struct {
	name   string
	change func(p *procedure.Procedure, m *assessment.Method)
	// quantities names what the field itself is, for flags that rest on it.
	quantities []level.Quantity
	// totals tells that the field is one of a total: what the total knew beyond the events goes with it.
	totals bool
}

// identity are fields without which there is another irradiation and not less known of the same: they say which events
// and totals belong together, or that something happened at all.
func identity(name string) bool {
	return slices.Contains([]string{"Suspicion", "Partial", "Type", "Plane"}, name)
}

func removals() []removal {
	var all []removal
	quantities := map[string][]level.Quantity{"RefKerma": {level.Kerma, level.PSD}, "KAP": {level.KAP, level.PSD}}
	for _, at := range fieldsOf(reflect.TypeFor[procedure.Event]()) {
		if identity(at.name) {
			continue
		}
		all = append(all, removal{name: "every event's " + at.name, quantities: quantities[at.name], change: func(p *procedure.Procedure, _ *assessment.Method) {
			for i := range p.Events {
				without(&p.Events[i], at)
			}
		}}, removal{name: "the largest event's " + at.name, quantities: quantities[at.name], change: func(p *procedure.Procedure, _ *assessment.Method) {
			if i := largest(p.Events); i >= 0 {
				without(&p.Events[i], at)
			}
		}})
	}
	for _, at := range fieldsOf(reflect.TypeFor[procedure.PlaneTotal]()) {
		if identity(at.name) {
			continue
		}
		all = append(all, removal{name: "the totals' " + at.name, quantities: quantities[at.name], totals: true, change: func(p *procedure.Procedure, _ *assessment.Method) {
			for i := range p.Totals {
				without(&p.Totals[i], at)
			}
		}})
	}
	for _, at := range fieldsOf(reflect.TypeFor[procedure.Patient]()) {
		all = append(all, removal{name: "the patient's " + at.name, change: func(p *procedure.Procedure, _ *assessment.Method) { without(&p.Patient, at) }})
	}
	for _, at := range fieldsOf(reflect.TypeFor[procedure.Study]()) {
		all = append(all, removal{name: "the study's " + at.name, change: func(p *procedure.Procedure, _ *assessment.Method) { without(&p.Study, at) }})
	}
	for _, at := range fieldsOf(reflect.TypeFor[procedure.DeviceProfile]()) {
		all = append(all, removal{name: "the profile's " + at.name, change: func(_ *procedure.Procedure, m *assessment.Method) {
			for i := range m.Profiles {
				device := m.Profiles[i].Device
				without(&m.Profiles[i], at)
				m.Profiles[i].Device = device
			}
		}})
	}
	return append(all,
		removal{name: "start", change: func(p *procedure.Procedure, _ *assessment.Method) { p.Start = procedure.Moment{} }},
		removal{name: "totals", quantities: []level.Quantity{level.Kerma, level.KAP, level.PSD}, totals: true, change: func(p *procedure.Procedure, _ *assessment.Method) { p.Totals = nil }},
		removal{name: "profiles", change: func(_ *procedure.Procedure, m *assessment.Method) { m.Profiles = nil }},
	)
}

func largest(events []procedure.Event) int {
	best := -1
	for i := range events {
		if best < 0 || events[i].RefKerma.Or(0) > events[best].RefKerma.Or(0) {
			best = i
		}
	}
	return best
}

// cases are those of the scenario at a dose just above the level of Ka,r of 5 Gy and just below that of 3 Gy.
func cases() map[string]procedure.Procedure {
	all := map[string]procedure.Procedure{}
	for _, c := range demo.Cases() {
		p := procedure.Merge([]procedure.Report{c.Report})[0]
		kerma, ok := p.CaseDose().LeastKerma.Get()
		if !ok || kerma <= 0 {
			all[c.File] = p
			continue
		}
		all[c.File+" at 5.01 Gy"] = times(p, 5.01/float64(kerma))
		all[c.File+" at 2.99 Gy"] = times(p, 2.99/float64(kerma))
	}
	return all
}

// times scales all that a procedure delivered.
func times(p procedure.Procedure, factor float64) procedure.Procedure {
	p.Events, p.Totals = slices.Clone(p.Events), slices.Clone(p.Totals)
	scale := func(kerma *quantity.Opt[quantity.Gray], kap *quantity.Opt[quantity.GraySquareMetre]) {
		if k, ok := kerma.Get(); ok {
			*kerma = quantity.Some(k * quantity.Gray(factor))
		}
		if k, ok := kap.Get(); ok {
			*kap = quantity.Some(k * quantity.GraySquareMetre(factor))
		}
	}
	for i := range p.Events {
		scale(&p.Events[i].RefKerma, &p.Events[i].KAP)
	}
	for i := range p.Totals {
		t := &p.Totals[i]
		scale(&t.RefKerma, &t.KAP)
	}
	return p
}

// Unknown is not zero: whatever a report, a profile or a person no longer says, a flag never turns into silence, a range
// never narrows, and what changed is explained.
func TestNothingRemovedMakesACaseBetterKnown(t *testing.T) {
	for name, p := range cases() {
		t.Run(name, func(t *testing.T) {
			method := coarse()
			before := method.Assess(p, procedure.Facts{})
			for _, r := range removals() {
				less, m := p, coarse()
				less.Events, less.Totals = slices.Clone(p.Events), slices.Clone(p.Totals)
				r.change(&less, &m)
				if reflect.DeepEqual(less, p) && reflect.DeepEqual(m.Profiles, method.Profiles) {
					continue // was not there
				}
				after := m.Assess(less, procedure.Facts{})
				keepsFlags(t, r, before, after)
				keepsRange(t, r, before, after)
				explains(t, r, before, after)
			}
		})
	}
}

// coarse is the method of the scenario on large patches of 100 cm2 and with few samples, for many assessments.
func coarse() assessment.Method {
	m := assessment.Default()
	m.Profiles = demo.Profiles()
	m.MaxPatch, m.RangePoints = 100, 8
	return m
}

func keepsFlags(t *testing.T, r removal, before, after assessment.Assessment) {
	t.Helper()
	if before.Levels.State == level.Reached {
		assert.NotEqual(t, level.Below, after.Levels.State, "without %s a case that reached a level is below", r.name)
	}
	was := map[string]level.Result{}
	for _, x := range before.Levels.Results {
		was[x.Row.Scheme+x.Row.ID] = x
	}
	for _, x := range after.Levels.Results {
		old, ok := was[x.Row.Scheme+x.Row.ID]
		// Without the field at the skin the plain level of the kerma-area product holds, which may be the higher one.
		if !ok || old.State != level.Reached || x.State != level.Below || x.Level > old.Level {
			continue
		}
		if x.Row.Quantity == level.PSD && r.quantities == nil {
			high := float64(after.SkinDose.High.Or(0))
			assert.Less(t, high, x.Level, "without %s", r.name)
			assert.Less(t, float64(before.SkinDose.Low.Or(0)), high, "without %s the ranges do not meet", r.name)
			continue
		}
		assert.Failf(t, "a level fell silent", "without %s, %s: %s; before %s", r.name, x.Row.ID, x.Text, old.Text)
	}
}

func keepsRange(t *testing.T, r removal, before, after assessment.Assessment) {
	t.Helper()
	const rounding = 1e-9
	// A range is sampled on the map of its own geometry, and an assumption changes the map: what never shrinks is what
	// it is sampled from, and the range of assumed geometry holds at least that of its parts.
	of := func(a assessment.Assessment) (sampled, parts float64) {
		e := a.SkinDose
		low, high := e.Parts.Range(1)
		return float64((e.High.Or(0) - e.HighForMissing) / e.Low.Or(0)), float64(high / low)
	}
	if before.SkinDose.Value.Or(0) > 0 && after.SkinDose.Value.Or(0) > 0 {
		is, parts := of(after)
		_, was := of(before)
		if after.SkinDose.Map == nil {
			parts = is
		}
		assert.GreaterOrEqual(t, parts*(1+rounding), was, "without %s the parts of the range of the skin dose shrink", r.name)
		if after.SkinDose.Method == skindose.MethodMapAssumed {
			assert.GreaterOrEqual(t, is*(1+rounding), parts, "without %s the range is narrower than its parts", r.name)
		}
	}
	// The spread of a coefficient is that of its region: another region, by class instead of by target, may have less.
	region := strings.HasSuffix(r.name, "Target") || !slices.Equal(regions(before), regions(after))
	if before.Effective.Value.Or(0) > 0 && after.Effective.Value.Or(0) > 0 && !region {
		was, is := float64(before.Effective.High.Or(0)/before.Effective.Low.Or(0)), float64(after.Effective.High.Or(0)/after.Effective.Low.Or(0))
		assert.GreaterOrEqual(t, is*(1+rounding), was, "without %s the range of the effective dose narrows", r.name)
	}
}

// regions are the regions whose coefficients an effective dose rests on, each once.
func regions(a assessment.Assessment) []string {
	var out []string
	for _, p := range a.Effective.Parts {
		if !slices.Contains(out, p.Region) {
			out = append(out, p.Region)
		}
	}
	slices.Sort(out)
	return out
}

func explains(t *testing.T, r removal, before, after assessment.Assessment) {
	t.Helper()
	a, b := after.SkinDose, before.SkinDose
	if a.Method != skindose.MethodMap {
		assert.NotEmpty(t, a.Reason, "without %s", r.name)
	}
	if changed(a.Value, b.Value) || changed(a.High, b.High) || a.Method != b.Method {
		assert.NotEqual(t, said(b), said(a), "without %s the skin dose changes and nothing tells why", r.name)
	}
	for _, v := range []quantity.Opt[quantity.Gray]{a.Value, a.Low, a.High} {
		x, ok := v.Get()
		assert.Equal(t, a.Method != skindose.MethodNone, ok)
		assert.False(t, math.IsNaN(float64(x)) || math.IsInf(float64(x), 0) || x < 0, "without %s", r.name)
	}
	e := after.Effective
	if !e.Value.Present() {
		assert.NotEmpty(t, e.Reason, "without %s", r.name)
	}
	if after.Levels.State == level.Unknown {
		assert.NotEmpty(t, after.Levels.Reasons, "without %s", r.name)
	}
}

func changed(a, b quantity.Opt[quantity.Gray]) bool {
	x, okX := a.Get()
	y, okY := b.Get()
	return okX != okY || math.Abs(float64(x-y)) > 1e-9*float64(y)
}

func said(e skindose.Estimate) string {
	body := ""
	if e.Map != nil {
		body = e.Map.Body.Name
	}
	varied := ""
	if e.Sampling != nil {
		for _, f := range e.Sampling.Influences {
			varied += f.Name + f.Varied
		}
	}
	return fmt.Sprint(e.Method, e.Reason, e.Assumptions, e.Findings, e.Parts, e.InputsUsed, body, varied)
}

// The list of removals is what the test is worth: it reaches into the nested parts of an event.
func TestRemovalsReachEveryPart(t *testing.T) {
	var names []string
	for _, r := range removals() {
		names = append(names, r.name)
	}
	for _, name := range []string{
		"every event's RefKerma", "the largest event's Mechanics.SourceToIsocentre", "every event's Technique.Voltages", "every event's Field.Area",
		"every event's RefPoint.Code", "the totals' KAP", "the patient's Weight", "the profile's Height.Zero", "the profile's KermaFactor",
	} {
		require.Contains(t, names, name)
	}
	assert.Greater(t, len(names), 150)
}
