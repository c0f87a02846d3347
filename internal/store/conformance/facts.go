package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func factTests() []test {
	return []test{
		{"facts are added, asked about and recorded", addFacts},
		{"a stale tag is refused", staleTag},
	}
}

func addFacts(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	s.drain(t)
	tag, err := s.db.Tag(ctx(), id)
	require.NoError(t, err)
	require.NoError(t, s.db.AddFacts(ctx(), person, id, tag, []store.Fact{
		{Name: "height", Value: "182 cm", Source: "chart", Reason: "missing in the report", Author: "somebody else"},
		{Name: "weight", Value: "95 kg", Source: "chart", Reason: "missing in the report"},
	}))
	facts, err := s.db.Facts(ctx(), id)
	require.NoError(t, err)
	require.Len(t, facts, 2)
	assert.Equal(t, "height", facts[0].Name)
	assert.Equal(t, "182 cm", facts[0].Value)
	assert.Equal(t, "chart", facts[0].Source)
	assert.Equal(t, person.Account, facts[0].Author, "the actor, whatever was claimed")
	assert.Less(t, facts[0].Sequence, facts[1].Sequence)
	last := s.last(t)
	assert.Equal(t, "facts.add", last.Action)
	assert.Equal(t, c.PatientID, last.Patient)
	assert.NotContains(t, last.After, "95", "the record names the fact, not its value")
	assert.Equal(t, []string{c.StudyUID}, subjects(s.drain(t)))
	none, err := s.db.Facts(ctx(), "no such case")
	require.NoError(t, err)
	assert.Empty(t, none)
}

func staleTag(t *testing.T, s *site) {
	id, c := s.assessed(t, nil)
	fact := []store.Fact{{Name: "height", Value: "182 cm"}}
	seen, err := s.db.Tag(ctx(), id)
	require.NoError(t, err)
	require.NoError(t, s.db.AddFacts(ctx(), person, id, seen, fact))
	require.ErrorIs(t, s.db.AddFacts(ctx(), person, id, seen, fact), store.ErrConflict, "a fact came meanwhile")
	seen, err = s.db.Tag(ctx(), id)
	require.NoError(t, err)
	s.assess(t, versionOf(c, "another"))
	require.ErrorIs(t, s.db.AddFacts(ctx(), person, id, seen, fact), store.ErrConflict, "a version came meanwhile")
	before := s.records(t)
	require.ErrorIs(t, s.db.AddFacts(ctx(), person, id, seen, nil), store.ErrInvalid)
	require.ErrorIs(t, s.db.AddFacts(ctx(), person, "no such case", seen, fact), store.ErrNotFound)
	_, err = s.db.Tag(ctx(), "no such case")
	require.ErrorIs(t, err, store.ErrNotFound)
	facts, err := s.db.Facts(ctx(), id)
	require.NoError(t, err)
	assert.Len(t, facts, 1)
	assert.Equal(t, before, s.records(t))
}
