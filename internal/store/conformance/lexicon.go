package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/procedure"
	"afterbeam/internal/procedure/lexicon"
	"afterbeam/internal/store"
)

func lexiconTests() []test {
	return []test{
		{"a lexicon is drafted and published, and nothing is erased", lexiconPublished},
		{"a draft that began with another version is refused", lexiconOvertaken},
		{"rows that cannot be used are refused", lexiconRefused},
		{"what is classed otherwise is estimated anew, and nothing else", lexiconRecompute},
		{"names are kept of cases that had none", lexiconNames},
	}
}

func siteRow(match, class string) []lexicon.Row {
	return []lexicon.Row{{Kind: lexicon.KindDescription, Match: match, Class: class, Complexity: "complex"}}
}

func (s *site) draftWords(t *testing.T, base int, rows []lexicon.Row) store.LexiconVersion {
	t.Helper()
	l, err := s.db.DraftLexicon(ctx(), person, base, rows, "as we call it")
	require.NoError(t, err)
	return l
}

func lexiconPublished(t *testing.T, s *site) {
	version, rows, err := s.db.LexiconInForce(ctx())
	require.NoError(t, err)
	assert.Zero(t, version, "the table of the settings")
	assert.Empty(t, rows)
	want := []lexicon.Row{
		{Kind: lexicon.KindDescription, Match: "Große, \"lange\"\nAorta, Saal 3", Class: "aortic_complex", Complexity: "complex"},
		{Kind: lexicon.KindCode, Match: "12|99SITE", Class: "neuro"},
	}
	first := s.draftWords(t, 0, want)
	assert.Equal(t, "lexicon.draft", s.last(t).Action)
	version, _, err = s.db.LexiconInForce(ctx())
	require.NoError(t, err)
	assert.Zero(t, version, "a draft is not in force")
	published, _, err := s.db.PublishLexicon(ctx(), colleague, first.ID, "read", lexicon.Default())
	require.NoError(t, err)
	assert.Equal(t, store.LexiconInForce, published.State)
	assert.Equal(t, colleague.Account, published.DecidedBy)
	assert.Equal(t, "lexicon.publish", s.last(t).Action)
	version, rows, err = s.db.LexiconInForce(ctx())
	require.NoError(t, err)
	assert.Equal(t, 1, version)
	assert.Equal(t, want, rows, "to the letter")
	slip, none := s.draftWords(t, 1, siteRow("slip", "neuro")), s.draftWords(t, 1, nil)
	withdrawn, err := s.db.WithdrawLexicon(ctx(), person, slip.ID, "a slip")
	require.NoError(t, err)
	assert.Equal(t, store.LexiconWithdrawn, withdrawn.State)
	_, _, err = s.db.PublishLexicon(ctx(), person, slip.ID, "late", lexicon.Default())
	require.ErrorIs(t, err, store.ErrConflict)
	_, _, err = s.db.PublishLexicon(ctx(), person, none.ID, "none of our own any more", lexicon.Default())
	require.NoError(t, err)
	all, err := s.db.LexiconVersions(ctx())
	require.NoError(t, err)
	require.Len(t, all, 3)
	assert.Equal(t, []store.LexiconState{store.LexiconInForce, store.LexiconWithdrawn, store.LexiconReplaced},
		[]store.LexiconState{all[0].State, all[1].State, all[2].State})
	assert.Equal(t, want, all[2].Rows, "what was replaced stays as it was")
}

func lexiconOvertaken(t *testing.T, s *site) {
	mine, theirs := s.draftWords(t, 0, siteRow("mine", "neuro")), s.draftWords(t, 0, siteRow("theirs", "neuro"))
	_, _, err := s.db.PublishLexicon(ctx(), colleague, theirs.ID, "first", lexicon.Default())
	require.NoError(t, err)
	_, _, err = s.db.PublishLexicon(ctx(), person, mine.ID, "second", lexicon.Default())
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.DraftLexicon(ctx(), person, 0, nil, "late")
	require.ErrorIs(t, err, store.ErrConflict)
	kept, err := s.db.LexiconVersion(ctx(), mine.ID)
	require.NoError(t, err)
	assert.Equal(t, store.LexiconDraft, kept.State)
}

func lexiconRefused(t *testing.T, s *site) {
	for name, rows := range map[string][]lexicon.Row{"class": siteRow("x", "cardiac"), "word": siteRow("-", "neuro"), "twice": append(siteRow("x", "neuro"), siteRow("X", "visceral")...)} {
		_, err := s.db.DraftLexicon(ctx(), person, 0, rows, "a try")
		require.ErrorIs(t, err, store.ErrInvalid, name)
	}
	_, err := s.db.DraftLexicon(ctx(), person, 0, nil, "")
	require.ErrorIs(t, err, store.ErrInvalid)
	_, err = s.db.LexiconVersion(ctx(), "nobody")
	require.ErrorIs(t, err, store.ErrNotFound)
}

func lexiconRecompute(t *testing.T, s *site) {
	called := func(study string, names *lexicon.Names) string {
		v := versionOf(caseOf(s.patientOf(t, study), study), study)
		v.Names = names
		return s.assess(t, v)[0]
	}
	called("2.25.1", &lexicon.Names{Description: "Big one"})
	called("2.25.2", &lexicon.Names{Description: "TAVI", Codes: []procedure.Code{{Value: "1", Scheme: "99SITE", Meaning: "valve"}}})
	given := called("2.25.3", &lexicon.Names{Description: "big ONE"})
	called("2.25.4", nil)
	tag, err := s.db.Tag(ctx(), given)
	require.NoError(t, err)
	require.NoError(t, s.db.AddFacts(ctx(), person, given, tag, []store.Fact{{Name: "class", Value: "neuro", Source: "person", Reason: "seen"}}))
	s.drain(t)
	cases, names, err := s.db.Called(ctx())
	require.NoError(t, err)
	require.Len(t, cases, 4)
	known := 0
	for _, c := range cases {
		assert.Equal(t, c.CaseID == given, c.Given)
		if c.Names != "" {
			known++
			assert.NotEmpty(t, names[c.Names].Description)
		}
	}
	assert.Equal(t, 3, known)
	draft := s.draftWords(t, 0, siteRow("big one", "aortic_complex"))
	published, asked, err := s.db.PublishLexicon(ctx(), colleague, draft.ID, "read", lexicon.Default())
	require.NoError(t, err)
	assert.Equal(t, published.Recomputation, asked.ID)
	assert.Equal(t, "lexicon version 1", asked.Reason)
	assert.ElementsMatch(t, []string{"2.25.1", "2.25.4"}, subjects(s.drain(t)), "what moves, and what is not known; not what a person classed")
}

func lexiconNames(t *testing.T, s *site) {
	var ids []string
	for _, study := range []string{"2.25.1", "2.25.2"} {
		ids = append(ids, s.assess(t, versionOf(caseOf(s.patientOf(t, study), study), study))...)
	}
	list, err := s.db.Unnamed(ctx(), "", 10)
	require.NoError(t, err)
	require.Len(t, list, 2)
	assert.NotEmpty(t, list[0].Body)
	require.NoError(t, s.db.KeepNames(ctx(), map[string]lexicon.Names{ids[0]: {Description: "one"}}))
	require.NoError(t, s.db.KeepNames(ctx(), map[string]lexicon.Names{ids[0]: {Description: "another"}, ids[1]: {}}))
	list, err = s.db.Unnamed(ctx(), "", 10)
	require.NoError(t, err)
	assert.Empty(t, list)
	cases, names, err := s.db.Called(ctx())
	require.NoError(t, err)
	for _, c := range cases {
		if c.CaseID == ids[0] {
			assert.Equal(t, "one", names[c.Names].Description, "what is known stays")
		}
	}
}
