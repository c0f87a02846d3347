package naming_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/level"
	"afterbeam/internal/ingest/naming"
	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

// book is a store that knows what it was told.
type book struct {
	cases []store.Called
	names map[string]lexicon.Names
	rows  []lexicon.Row
	doses []store.Case
}

func (b book) Called(context.Context) ([]store.Called, map[string]lexicon.Names, error) {
	return b.cases, b.names, nil
}
func (b book) LexiconInForce(context.Context) (int, []lexicon.Row, error) { return 3, b.rows, nil }
func (b book) Cases(context.Context, store.Filter) ([]store.Case, error)  { return b.doses, nil }
func (b book) Survivors(context.Context) (map[string]string, error) {
	return map[string]string{"other record": "patient"}, nil
}
func (b book) Today() string { return "2026-11-25" }

func TestUnmapped(t *testing.T) {
	code := procedure.Code{Value: "7", Scheme: "99SITE", Meaning: "big one"}
	b := book{
		names: map[string]lexicon.Names{
			"a": {Description: "Big one", Protocols: []string{"Abdomen"}, Codes: []procedure.Code{code}},
			"b": {Description: "BIG ONE!"},
			"c": {Description: "TAVI"},
			"d": {Description: "---"},
			"e": {Description: "ours"},
		},
		rows: []lexicon.Row{{Kind: lexicon.KindDescription, Match: "ours", Class: "neuro"}},
		cases: []store.Called{
			{CaseID: "1", Day: "2026-11-01", Names: "a"},
			{CaseID: "2", Day: "2024-01-01", Names: "b", Given: true},
			{CaseID: "3", Day: "2026-11-02", Names: "c"},
			{CaseID: "4", Day: "2025-11-25", Names: "d"},
			{CaseID: "5", Day: "2025-11-24", Names: "a"},
			{CaseID: "6", Day: "2026-11-02", Names: "e"},
			{CaseID: "7", Day: "2026-11-02"},
			{CaseID: "8", Day: "2026-11-02", Names: "a", Quality: true},
		},
	}
	l, err := naming.Unmapped(t.Context(), b, lexicon.Default())
	require.NoError(t, err)
	assert.Equal(t, naming.List{
		From: "2025-11-25", To: "2026-11-25", Procedures: 4, Recent: 2, Given: 1, Nameless: 1, Unread: 1,
		Names: []naming.Name{
			{Kind: lexicon.KindDescription, Match: "Big one", Procedures: 3, Recent: 1, LastDay: "2026-11-01"},
			{Kind: lexicon.KindProtocol, Match: "Abdomen", Procedures: 2, Recent: 1, LastDay: "2026-11-01"},
			{Kind: lexicon.KindCode, Match: "7|99SITE", Title: "big one", Procedures: 2, Recent: 1, LastDay: "2026-11-01"},
		},
	}, l)
}

// TestLook moves one of a patient's two cases out of the class that a level is for: its own flag goes; what a person classed
// stays, and what is not read yet is counted.
func TestLook(t *testing.T) {
	b := book{
		names: map[string]lexicon.Names{"a": {Description: "TAVI"}, "b": {Description: "EVAR"}},
		cases: []store.Called{
			{CaseID: "1", Day: "2026-11-01", Names: "a"},
			{CaseID: "2", Day: "2025-01-01", Names: "a"},
			{CaseID: "3", Names: "a", Given: true},
			{CaseID: "4", Names: "b"},
			{CaseID: "5"},
		},
	}
	for id, patient := range map[string]string{"1": "patient", "4": "other record"} {
		class := map[string]string{"1": "structural_valve", "4": "aortic_endovascular"}[id]
		b.doses = append(b.doses, store.Case{ID: id, PatientID: patient, LocalDate: "2026-11-01", Class: class, Complete: true, Kerma: quantity.Some[quantity.Gray](6)})
	}
	levels := level.Set{Rows: []level.Row{{
		Scheme: "site", Title: "Site", ID: "kar", Meaning: "follow-up", Quantity: level.Kerma, Value: 5, On: true, Source: "committee", Known: "judgement",
		Rule: level.Rule{Classes: "structural_valve"},
	}}}
	rows := []lexicon.Row{{Kind: lexicon.KindDescription, Match: "tavi", Class: "percutaneous_pump"}}
	l, err := naming.Look(t.Context(), b, lexicon.Default(), levels, rows)
	require.NoError(t, err)
	from, to := naming.Kind{Class: "structural_valve", Complexity: "standard"}, naming.Kind{Class: "percutaneous_pump"}
	assert.Equal(t, []naming.Moves{{From: from, To: to, Procedures: 2, Recent: 1}}, l.Moves)
	assert.Equal(t, []naming.Moved{{ID: "1", Day: "2026-11-01", From: from, To: to}, {ID: "2", Day: "2025-01-01", From: from, To: to}}, l.Moved)
	assert.Equal(t, []int{5, 1, 1}, []int{l.Procedures, l.Given, l.Unread})
	assert.True(t, l.ByClass)
	require.Len(t, l.Flags, 1)
	assert.Equal(t, "1", l.Flags[0].ID)
	assert.Equal(t, []string{"site/kar"}, l.Flags[0].Lost)

	l, err = naming.Look(t.Context(), b, lexicon.Default(), level.Default(), nil)
	require.NoError(t, err)
	assert.Empty(t, l.Moved, "no rows are the table alone")
	assert.False(t, l.ByClass)
	_, err = naming.Look(t.Context(), b, lexicon.Default(), levels, []lexicon.Row{{Kind: "word", Match: "x", Class: "neuro"}})
	require.ErrorIs(t, err, lexicon.ErrInvalid)
}
