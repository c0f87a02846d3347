package fhir_test

import (
	"encoding/json"
	"fmt"
	"math/big"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/export/fhir"
	"afterbeam/internal/golden"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
)

func TestTransactionOfTheDemonstration(t *testing.T) {
	b, err := fhir.Transaction(suitable(t))
	require.NoError(t, err)
	golden.Check(t, "testdata/transaction.json", []byte(text(t, b)))
}

func TestStatus(t *testing.T) {
	tests := map[string]struct {
		change            func(*fhir.Case)
		summary, estimate string
	}{
		"complete":    {func(*fhir.Case) {}, "final", "final"},
		"provisional": {func(c *fhir.Case) { c.Assessment.Procedure.State = procedure.Provisional }, "preliminary", "preliminary"},
		"amended":     {func(c *fhir.Case) { c.Assessment.Procedure.State = procedure.Amended }, "amended", "amended"},
		"told anew":   {func(c *fhir.Case) { c.Version, c.Reissued, c.Change = 2, true, "method" }, "final", "amended"},
		"replaced":    {func(c *fhir.Case) { c.Replaced = true }, "entered-in-error", "entered-in-error"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := suitable(t)
			c.Assessment.Procedure.State = procedure.Complete
			tt.change(&c)
			s, err := fhir.Summary(c)
			require.NoError(t, err)
			assert.Equal(t, tt.summary, s.Status)
			for _, e := range fhir.Estimates(c) {
				assert.Equal(t, tt.estimate, e.Status)
			}
			p := fhir.Change(c)
			if tt.estimate == "final" || tt.estimate == "preliminary" {
				assert.Nil(t, p)
				return
			}
			require.NotNil(t, p)
			assert.Equal(t, tt.summary != "final", strings.Contains(text(t, p.Target), ".summary"))
			assert.Contains(t, text(t, p.Target), ".peak-skin-dose")
		})
	}
}

func TestWhatTheProfileDemandsIsNeverInvented(t *testing.T) {
	role := procedure.Code{Value: "113850", Scheme: "DCM"}
	tests := map[string]struct {
		change func(*fhir.Case)
		want   string
	}{
		"nobody authorized": {func(c *fhir.Case) { c.Assessment.Procedure.Persons = nil }, "no person who authorized"},
		"somebody of another role": {func(c *fhir.Case) {
			c.Assessment.Procedure.Persons = []procedure.Person{{Name: "A", RoleInProcedure: procedure.Code{Value: "113851", Scheme: "DCM"}}}
		}, "no person who authorized"},
		"one without a name": {func(c *fhir.Case) { c.Assessment.Procedure.Persons = []procedure.Person{{RoleInProcedure: role}} }, "no person who authorized"},
		"two": {func(c *fhir.Case) {
			c.Assessment.Procedure.Persons = []procedure.Person{{ID: "1", RoleInProcedure: role}, {ID: "2", RoleInProcedure: role}}
		}, "names 2 persons"},
		"no number":     {func(c *fhir.Case) { c.Patient.Number = " " }, "no patient number"},
		"no study":      {func(c *fhir.Case) { c.Assessment.Procedure.StudyUID = "" }, "no study instance UID"},
		"no start":      {func(c *fhir.Case) { c.Assessment.Procedure.Start = procedure.Moment{} }, "no start"},
		"a test object": {func(c *fhir.Case) { c.Assessment.Procedure.Purpose = procedure.PurposeQualityControl }, "test object"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			c := suitable(t)
			tt.change(&c)
			_, err := fhir.Summary(c)
			require.ErrorIs(t, err, fhir.ErrUnmet)
			_, err = fhir.Report(c)
			require.ErrorIs(t, err, fhir.ErrUnmet)
			_, err = fhir.Transaction(c)
			require.ErrorIs(t, err, fhir.ErrUnmet)
			assert.Contains(t, text(t, fhir.Unmet(c, err)), tt.want)
			for _, e := range fhir.Observations(c) {
				assert.Empty(t, e.Meta.Profile)
				assert.NotContains(t, text(t, e.DerivedFrom), "Observation")
			}
		})
	}
	c := suitable(t)
	twice := c.Assessment.Procedure.Persons
	c.Assessment.Procedure.Persons = append(append([]procedure.Person{}, twice...), twice...)
	assert.Empty(t, c.Unmet(), "the same person named twice is one")
}

func TestNoEstimateHasItsReason(t *testing.T) {
	c := suitable(t)
	c.Assessment.SkinDose.Value, c.Assessment.SkinDose.Reason = quantity.None[quantity.Gray](), "no kerma"
	c.Assessment.Effective.Value, c.Assessment.Effective.Reason = quantity.None[quantity.Sievert](), "no region"
	c.Organs, c.OrgansReason = nil, "no beams"
	all := fhir.Estimates(c)
	require.Len(t, all, 3)
	for i, want := range []string{"no kerma", "no region", "no beams"} {
		assert.Nil(t, all[i].ValueQuantity)
		assert.Empty(t, all[i].Component)
		require.NotNil(t, all[i].DataAbsentReason)
		assert.Equal(t, want, all[i].DataAbsentReason.Text)
		assert.Contains(t, said(all[i].Note), "not a measurement")
	}
	c.OrgansReason = ""
	assert.Len(t, fhir.Estimates(c), 2, "organ doses that are not computed yet are not there")
}

func TestOrgansHaveTheirRangesAndCautions(t *testing.T) {
	all := fhir.Estimates(suitable(t))
	require.Len(t, all, 4)
	o, e := all[2], all[3]
	assert.Equal(t, fhir.Decimal("46"), component(o, "organ-dose-lungs").ValueQuantity.Value)
	assert.Equal(t, fhir.Decimal("30"), component(o, "range-of-organ-dose-lungs").ValueRange.Low.Value)
	assert.NotNil(t, component(o, "organ-dose-skin-mean-of-the-whole"))
	far := component(o, "organ-dose-uterus").ValueQuantity
	assert.Equal(t, "<", far.Comparator)
	assert.Equal(t, fhir.Decimal("0.020"), far.Value)
	assert.Nil(t, component(o, "range-of-organ-dose-uterus"))
	assert.Contains(t, said(o.Note), "not pregnant")
	assert.Equal(t, fhir.Decimal("12"), e.ValueQuantity.Value)
	assert.Contains(t, said(e.Note), "never added")
	assert.Contains(t, said(all[1].Note), "never added")
	assert.NotEqual(t, o.Meta.VersionID, all[0].Meta.VersionID, "organ doses come later than the estimate that they belong to")
}

// planes of a case whose totals a test sets.
func summaryOf(t testing.TB, totals ...procedure.PlaneTotal) *fhir.Observation {
	t.Helper()
	c := suitable(t)
	c.Assessment.Procedure.Totals = totals
	s, err := fhir.Summary(c)
	require.NoError(t, err)
	return s
}

func TestPlanes(t *testing.T) {
	kerma := func(p procedure.Plane, v float64) procedure.PlaneTotal {
		return procedure.PlaneTotal{Plane: p, RefKerma: quantity.Some(quantity.Gray(v))}
	}
	partial := kerma(procedure.PlaneB, 0.2)
	partial.Partial = procedure.SuspectKerma
	tests := map[string]struct {
		totals []procedure.PlaneTotal
		want   string // "" is not there, "?" is not known
	}{
		"one":                    {[]procedure.PlaneTotal{kerma(procedure.PlaneSingle, 1.25)}, "1250"},
		"two":                    {[]procedure.PlaneTotal{kerma(procedure.PlaneA, 0.1), kerma(procedure.PlaneB, 0.2)}, "300"},
		"one lacks it":           {[]procedure.PlaneTotal{kerma(procedure.PlaneA, 0.1), {Plane: procedure.PlaneB}}, "?"},
		"one is of a part":       {[]procedure.PlaneTotal{kerma(procedure.PlaneA, 0.1), partial}, "?"},
		"all planes stand first": {[]procedure.PlaneTotal{kerma(procedure.PlaneA, 0.1), {Plane: procedure.PlaneB}, kerma(procedure.PlaneAll, 0.4)}, "400"},
		"none":                   {[]procedure.PlaneTotal{{Plane: procedure.PlaneSingle}}, ""},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			s := summaryOf(t, tt.totals...)
			got := component(s, "113725")
			switch tt.want {
			case "":
				assert.Nil(t, got)
				assert.Equal(t, "No totals reported.", s.ValueString)
			case "?":
				assert.Nil(t, got.ValueQuantity)
				assert.Contains(t, got.DataAbsentReason.Text, "plane B")
			default:
				assert.Equal(t, fhir.Decimal(tt.want), got.ValueQuantity.Value)
			}
			assert.Equal(t, len(tt.totals) > 1, strings.Contains(said(s.Note), "not the dose at one place"))
		})
	}
}

// TestNumbersAreThoseOfTheReport writes a number of up to 12 digits as a report does, in any of the usual units, reads it the
// program's way and wants the very number, changed by a power of ten, in the resource.
func TestNumbersAreThoseOfTheReport(t *testing.T) {
	base := suitable(t)
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]struct {
			code  string
			power int // of ten, from the unit to that of the resource
			kap   bool
		}{{"Gy", 3, false}, {"mGy", 0, false}, {"uGy", -3, false}, {"Gy.m2", 7, true}, {"Gy.cm2", 3, true}, {"dGy.cm2", 2, true}, {"uGy.m2", 1, true}, {"mGy.cm2", 0, true}}).Draw(t, "unit")
		printed := fmt.Sprintf("%d.%0*d", rapid.Uint32Range(0, 999999).Draw(t, "whole"), 6, rapid.Uint32Range(1, 999999).Draw(t, "parts"))
		got, err := quantity.ParseUnit(unit.code)
		require.NoError(t, err)
		number := 0.0
		require.NoError(t, json.Unmarshal([]byte(printed), &number))
		total := procedure.PlaneTotal{Plane: procedure.PlaneSingle}
		code := "113725"
		if unit.kap {
			canonical, err := quantity.ParseUnit("Gy.m2")
			require.NoError(t, err)
			v, err := got.Convert(number, canonical)
			require.NoError(t, err)
			total.KAP, code = quantity.Some(quantity.GraySquareMetre(v)), "113722"
		} else {
			canonical, err := quantity.ParseUnit("Gy")
			require.NoError(t, err)
			v, err := got.Convert(number, canonical)
			require.NoError(t, err)
			total.RefKerma = quantity.Some(quantity.Gray(v))
		}
		c := base
		c.Assessment.Procedure.Totals = []procedure.PlaneTotal{total}
		s, err := fhir.Summary(c)
		require.NoError(t, err)
		want, ok := new(big.Rat).SetString(fmt.Sprintf("%se%d", printed, unit.power))
		require.True(t, ok)
		is, ok := new(big.Rat).SetString(string(component(s, code).ValueQuantity.Value))
		require.True(t, ok)
		require.Zero(t, want.Cmp(is), "%s %s is %s", printed, unit.code, component(s, code).ValueQuantity.Value)
	})
}

func TestStart(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	at := time.Date(2026, 9, 14, 8, 30, 5, 0, zone)
	for name, tt := range map[string]struct {
		give procedure.Moment
		want string
	}{
		"with its offset":     {procedure.Moment{Time: at, Offset: procedure.OffsetInValue}, "2026-09-14T08:30:05+02:00"},
		"offset of the site":  {procedure.Moment{Time: at, Offset: procedure.OffsetOfSite}, "2026-09-14T08:30:05+02:00"},
		"offset not known":    {procedure.Moment{Time: at}, "2026-09-14"},
		"no time of day told": {procedure.Moment{Time: at, Offset: procedure.OffsetInValue, DateOnly: true}, "2026-09-14"},
	} {
		t.Run(name, func(t *testing.T) {
			c := suitable(t)
			c.Assessment.Procedure.Start = tt.give
			s, err := fhir.Summary(c)
			require.NoError(t, err)
			assert.Equal(t, tt.want, s.EffectiveDateTime)
		})
	}
}

func TestHostileTextStaysText(t *testing.T) {
	c := suitable(t)
	const hostile = "</div><script>alert(1)</script>\x00\x1b[31m\n&"
	c.Assessment.SkinDose.Value, c.Assessment.SkinDose.Reason = quantity.None[quantity.Gray](), hostile
	c.Device.Name, c.Device.Serial, c.Patient.Name = hostile, hostile, hostile+"^"+hostile
	r, err := fhir.Report(c)
	require.NoError(t, err)
	for _, s := range r.Section {
		assert.NotContains(t, s.Text.Div, "<script>")
		assert.Equal(t, 1, strings.Count(s.Text.Div, "</div>"))
	}
	for _, one := range []any{r, fhir.DeviceOf(c.Device), fhir.PatientOf(c.Patient), fhir.Estimates(c)} {
		assert.NotContains(t, text(t, one), `\u0000`)
		assert.NotContains(t, text(t, one), `\u001b`)
	}
}

func TestPatient(t *testing.T) {
	p := fhir.PatientOf(fhir.Person{ID: "p", Number: "N-1", Issuer: "SALTMARSH", Name: "Doe^Jane Mary^^Dr", BirthDate: "1950-02-30", Sex: "F", Survivor: "q"})
	assert.Equal(t, "female", p.Gender)
	assert.Empty(t, p.BirthDate, "no day of the calendar")
	assert.Equal(t, []string{"Jane", "Mary"}, p.Name[0].Given)
	assert.Equal(t, "Jane Mary Doe", p.Name[0].Text)
	assert.Equal(t, "Patient/q", p.Link[0].Other.Reference)
	assert.Empty(t, fhir.PatientOf(fhir.Person{ID: "p", Survivor: "p", Name: "^^"}).Name)
}
