package listing_test

import (
	"bytes"
	"context"
	"errors"
	"iter"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/export/listing"
	"afterbeam/internal/export/table"
	"afterbeam/internal/procedure"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

// site gives fixed rows; identified tells what it was asked for.
type site struct {
	rows       []store.SummaryRow
	versions   []store.SummaryVersion
	identified bool
	err        error
}

func (s *site) SummaryList(_ context.Context, _ store.SummaryFilter, identified bool) iter.Seq2[store.SummaryRow, error] {
	s.identified = identified
	return func(yield func(store.SummaryRow, error) bool) {
		for _, row := range s.rows {
			if !yield(row, nil) {
				return
			}
		}
		if s.err != nil {
			yield(store.SummaryRow{}, s.err)
		}
	}
}

func (s *site) SummaryVersions(context.Context, store.SummaryFilter) iter.Seq2[store.SummaryVersion, error] {
	return func(yield func(store.SummaryVersion, error) bool) {
		for _, v := range s.versions {
			if !yield(v, nil) {
				return
			}
		}
	}
}

func ask() listing.Ask {
	return listing.Ask{Format: table.Machine, Made: time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)}
}

// What is not known is an empty cell with its reason, what is doubted says so, and units are those of the names.
func TestProcedures(t *testing.T) {
	whole := store.SummaryRow{
		ID: "a", Day: "2026-10-05", Start: time.Date(2026, 10, 5, 9, 0, 0, 0, time.FixedZone("", 7200)), Room: "Hybrid 1", Class: "evar", Description: `=SUM(A1), "staged"`,
		Gaps: store.GapKAP | store.SuspectKerma, Kerma: quantity.Some[quantity.Gray](5.25), KAP: quantity.Some[quantity.GraySquareMetre](0.0625),
		FluoroTime: quantity.Some[quantity.Second](5400), Effective: quantity.Some[quantity.Sievert](0.125), Operators: []string{"operator-a", "operator-b"},
		Traits: store.Traits{NoPeak: "no geometry", AgeYears: quantity.Some(71.0), Height: quantity.Some[quantity.Millimetre](1710)},
	}
	s := &site{rows: []store.SummaryRow{whole, {ID: "b"}}}
	var out bytes.Buffer
	digest, err := listing.Procedures(context.Background(), &out, s, ask())
	require.NoError(t, err)
	assert.Equal(t, 2, digest.Rows)
	assert.False(t, s.identified)
	rows := witness.Rows(t, out.Bytes())
	require.Len(t, rows, 2)
	for name, want := range map[string]string{
		"procedure_id": "a", "day": "2026-10-05", "start": "2026-10-05T09:00:00+02:00", "description": `=SUM(A1), "staged"`, "ka_r_gy": "5.250000", "ka_r_doubt": "suspect",
		"kap_gy_cm2": "625.0000", "kap_doubt": "part", "ft_s": "5400.0", "ft_doubt": "", "psd_gy": "", "psd_gy_absent": "no geometry", "e_msv": "125.0000",
		"age_years": "71.00", "height_cm": "171.0", "operators": "operator-a operator-b", "basis": "report", "images": "", "images_absent": "not reported",
	} {
		assert.Equal(t, want, rows[0][name], name)
	}
	for _, name := range []string{"day", "start", "ka_r_gy", "age_years", "psd_low_gy"} {
		assert.Empty(t, rows[1][name], "%s is not known, which is not 0", name)
	}
}

// A table without identifiers has no place for one.
func TestIdentifiers(t *testing.T) {
	identifying := []string{"patient_number", "patient_issuer", "patient_name", "birth_date", "accession_number", "study_uid", "event_uid", "report_uid"}
	for name, describe := range map[string]func(listing.Ask) table.Table{"procedures": listing.ProcedureTable, "events": listing.EventTable} {
		a := ask()
		for _, c := range describe(a).Columns {
			assert.NotContains(t, identifying, c.Name, name)
		}
		a.Identified = true
		found := 0
		for _, c := range describe(a).Columns {
			for _, one := range identifying {
				if c.Name == one {
					found++
				}
			}
			assert.NotEmpty(t, c.Meaning, "%s.%s", name, c.Name)
		}
		assert.Positive(t, found, name)
		require.NoError(t, describe(a).Validate())
		_, err := table.Schema(describe(a))
		require.NoError(t, err)
	}
	a := ask()
	a.Identified = true
	var out bytes.Buffer
	_, err := listing.Procedures(context.Background(), &out, &site{rows: []store.SummaryRow{{
		ID: "a", Identified: &store.Identified{Identity: store.Identity{Number: "0017", Name: "Demo^Person"}, StudyUID: "2.25.1"},
	}}}, a)
	require.NoError(t, err)
	row := witness.Rows(t, out.Bytes())[0]
	assert.Equal(t, []string{"0017", "Demo^Person", "2.25.1"}, []string{row["patient_number"], row["patient_name"], row["study_uid"]})
}

func TestEvents(t *testing.T) {
	s := &site{versions: []store.SummaryVersion{{CaseID: "a", Room: "Cath 2"}, {CaseID: "b", Room: "Cath 2"}}}
	mm := quantity.Some[quantity.Millimetre]
	events := []procedure.Event{
		{UID: "2.25.7", Filters: []procedure.Filter{
			{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: mm(0.1)},
			{Type: procedure.FilterFlat, Metal: procedure.Copper, Min: mm(0.2)},
			{Type: procedure.FilterWedge, Metal: procedure.Copper, Min: mm(5)},
		}, Technique: procedure.Technique{Voltages: []quantity.Kilovolt{70, 80}}, Mechanics: procedure.Mechanics{Secondary: quantity.Some(quantity.Degree(-30))}},
		{UID: "2.25.8", Suspicion: procedure.SuspectKerma},
	}
	var out bytes.Buffer
	digest, err := listing.Events(context.Background(), &out, s, func(store.Version) ([]procedure.Event, error) { return events, nil }, ask())
	require.NoError(t, err)
	assert.Equal(t, 4, digest.Rows)
	rows := witness.Rows(t, out.Bytes())
	for name, want := range map[string]string{"procedure_id": "a", "event": "1", "copper_mm": "0.300", "aluminium_mm": "", "kvp_mean_kv": "75.00", "secondary_deg": "-30.00", "suspect": ""} {
		assert.Equal(t, want, rows[0][name], name)
	}
	assert.Equal(t, []string{"a", "2", "yes"}, []string{rows[1]["procedure_id"], rows[1]["event"], rows[1]["suspect"]})
	assert.Equal(t, "b", rows[2]["procedure_id"])
	_, err = listing.Events(context.Background(), &out, s, func(store.Version) ([]procedure.Event, error) { return nil, errors.New("not to be read") }, ask())
	require.ErrorContains(t, err, "events of case a")
}

func TestATableThatEndsEarlySaysSo(t *testing.T) {
	var out bytes.Buffer
	digest, err := listing.Procedures(context.Background(), &out, &site{rows: []store.SummaryRow{{ID: "a"}}, err: errors.New("the disk is gone")}, ask())
	require.ErrorContains(t, err, "the disk is gone")
	assert.Equal(t, 1, digest.Rows)
	assert.Equal(t, 2, strings.Count(out.String(), "\n"), "header and row")
}
