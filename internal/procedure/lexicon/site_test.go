package lexicon_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
)

func over(t testing.TB, rows ...lexicon.Row) *lexicon.Lexicon {
	t.Helper()
	l, err := lexicon.Default().Over(rows)
	require.NoError(t, err)
	return l
}

// TestASitesRowsStandOverTheTable is the order of what decides: codes, descriptions, protocol names; at each of them the site
// first, and whole names before words.
func TestASitesRowsStandOverTheTable(t *testing.T) {
	l := over(t,
		lexicon.Row{Kind: lexicon.KindText, Match: "room three", Class: "visceral", Complexity: "simple"},
		lexicon.Row{Kind: lexicon.KindDescription, Match: "TAVI, room three", Class: "percutaneous_pump"},
		lexicon.Row{Kind: lexicon.KindProtocol, Match: "Abd. DSA", Class: "pelvis"},
		lexicon.Row{Kind: lexicon.KindCode, Match: "36969009|SCT", Class: "neuro"},
		lexicon.Row{Kind: lexicon.KindCode, Match: "9|99SITE", Class: "carotid"},
	)
	tests := map[string]struct {
		names       lexicon.Names
		class, from string
	}{
		"a whole description":               {lexicon.Names{Description: "tavi  ROOM three"}, "percutaneous_pump", `description is "TAVI, room three" in the site's lexicon`},
		"that of the performed step":        {lexicon.Names{Description: "x", Performed: "TAVI room three"}, "percutaneous_pump", ""},
		"words":                             {lexicon.Names{Description: "Three stents in one room"}, "visceral", `description matches "room three" in the site's lexicon`},
		"words before the table's":          {lexicon.Names{Description: "TAVI in room three again"}, "visceral", ""},
		"what the site does not name":       {lexicon.Names{Description: "TAVI"}, "structural_valve", `description matches "tavi"`},
		"a description before a protocol":   {lexicon.Names{Description: "TAVI", Protocols: []string{"ABD DSA"}}, "structural_valve", ""},
		"a protocol where nothing else is":  {lexicon.Names{Description: "unheard of", Protocols: []string{"other", "abd dsa"}}, "pelvis", `a protocol name is "Abd. DSA" in the site's lexicon`},
		"a longer protocol is another name": {lexicon.Names{Protocols: []string{"Abd DSA low dose"}}, "unclassified", ""},
		"a code before descriptions":        {lexicon.Names{Description: "TAVI, room three", Codes: []procedure.Code{{Value: "9", Scheme: "99SITE"}}}, "carotid", ""},
		"the site's code before the same":   {lexicon.Names{Codes: []procedure.Code{{Value: "36969009", Scheme: "SCT"}}}, "neuro", ""},
		"the table's code before a site's description": {
			lexicon.Names{Description: "TAVI, room three", Codes: []procedure.Code{{Value: "307280005", Scheme: "SCT"}}}, "rhythm_device", "",
		},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			m := l.Of(tt.names)
			assert.Equal(t, tt.class, m.Class.ID)
			if tt.from != "" {
				assert.Equal(t, strings.ToLower(tt.from), strings.ToLower(m.From))
			}
		})
	}
}

// TestNoRowsOfASiteChangeNothing classes any names by the table and by a site that has no rows of its own, and by rows that are
// about something else.
func TestNoRowsOfASiteChangeNothing(t *testing.T) {
	table := lexicon.Default()
	require.Same(t, table, over(t))
	elsewhere := over(t, lexicon.Row{Kind: lexicon.KindDescription, Match: "qqq", Class: "neuro"}, lexicon.Row{Kind: lexicon.KindCode, Match: "q|99Q", Class: "neuro"})
	var vocabulary []string
	for _, r := range table.Rows() {
		vocabulary = append(vocabulary, strings.Fields(r.Match)...)
	}
	text := rapid.Custom(func(t *rapid.T) string {
		return strings.Join(rapid.SliceOfN(rapid.OneOf(rapid.SampledFrom(vocabulary), rapid.StringN(0, 8, 20)), 0, 5).Draw(t, "words"), " ")
	})
	rapid.Check(t, func(t *rapid.T) {
		p := procedure.Procedure{Study: procedure.Study{Description: text.Draw(t, "description"), Performed: text.Draw(t, "performed")}}
		for range rapid.IntRange(0, 3).Draw(t, "events") {
			p.Events = append(p.Events, procedure.Event{Protocol: text.Draw(t, "protocol")})
		}
		if rapid.Bool().Draw(t, "coded") {
			row := rapid.SampledFrom(table.Rows()).Draw(t, "code")
			value, scheme, _ := strings.Cut(row.Match, "|")
			p.Study.ProcedureCodes = []procedure.Code{{Value: value, Scheme: scheme}}
		}
		want := table.Classify(p)
		assert.Equal(t, want, table.Of(lexicon.NamesOf(p)), "names are all that is asked")
		assert.Equal(t, want, elsewhere.Classify(p))
		slices.Reverse(p.Events)
		assert.Equal(t, want, table.Classify(p), "the order of events does not matter")
	})
}

// TestShippedRowsClassThemselves has what the shipped table says of its own rows: each names its class, as it did before there were sites' rows.
func TestShippedRowsClassThemselves(t *testing.T) {
	for _, r := range lexicon.Default().Rows() {
		n := lexicon.Names{Description: r.Match}
		if value, scheme, ok := strings.Cut(r.Match, "|"); ok && r.Kind == lexicon.KindCode {
			n = lexicon.Names{Codes: []procedure.Code{{Value: value, Scheme: scheme}}}
		}
		m := lexicon.Default().Of(n)
		assert.Equal(t, []string{r.Class, r.Complexity}, []string{m.Class.ID, m.Complexity}, r.Match)
	}
}

func TestRowsReadBack(t *testing.T) {
	rows := []lexicon.Row{
		{Kind: lexicon.KindDescription, Match: "Größe \"L\", lang\n#1", Class: "neuro", Complexity: "complex"},
		{Kind: lexicon.KindProtocol, Match: "冠動脈造影", Class: "coronary_diagnostic"},
	}
	var text bytes.Buffer
	require.NoError(t, lexicon.WriteRows(&text, rows))
	got, err := lexicon.ReadRows(&text)
	require.NoError(t, err)
	assert.Equal(t, rows, got)
	assert.Equal(t, rows, over(t, rows...).Rows())
	text.Reset()
	require.NoError(t, lexicon.WriteRows(&text, nil))
	got, err = lexicon.ReadRows(&text)
	require.NoError(t, err)
	assert.Empty(t, got)
}

func TestWhatMoves(t *testing.T) {
	names := map[string]lexicon.Names{"a": {Description: "TAVI"}, "b": {Description: "EVAR"}, "c": {Description: "big one"}}
	moves := lexicon.Moves(lexicon.Default(), over(t,
		lexicon.Row{Kind: lexicon.KindDescription, Match: "tavi", Class: "structural_valve", Complexity: "complex"},
		lexicon.Row{Kind: lexicon.KindDescription, Match: "evar", Class: "aortic_endovascular", Complexity: "standard"},
		lexicon.Row{Kind: lexicon.KindDescription, Match: "big one", Class: "neuro"},
	), names)
	assert.Len(t, moves, 2, "one that stays what it was does not move")
	assert.Equal(t, "complex", moves["a"].To.Complexity, "another complexity is a move")
	assert.Equal(t, "unclassified", moves["c"].From.Class.ID)
}

// TestTheDigestIsTheTables names the table below, whatever a site has over it.
func TestTheDigestIsTheTables(t *testing.T) {
	a := lexicon.Default().Digest()
	assert.Len(t, a, 12)
	assert.Equal(t, a, over(t, lexicon.Row{Kind: lexicon.KindText, Match: "x", Class: "neuro"}).Digest())
	for _, text := range []string{"text,coronary,neuro,\n", "description,coronary,neuro,\n", "protocol,coronary,neuro,\n"} {
		l, err := lexicon.Parse(strings.NewReader("kind,match,class,complexity\n" + text))
		require.NoError(t, err)
		assert.NotEqual(t, a, l.Digest())
		a = l.Digest()
	}
}
