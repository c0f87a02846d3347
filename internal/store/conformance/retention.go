package conformance

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func retentionTests() []test {
	return []test{
		{"commitments go some time after their answer", forgetsAnswered},
		{"sums of superseded versions go, those of the newest stay", forgetsSuperseded},
		{"superseded estimates go where nothing needs them", removesVersions},
		{"what a flag, an ask, a paper or a hold needs stays", neededStays},
		{"messages of earlier notices go, what was told last stays", removesMessages},
		{"sessions go some time after their end", removesSessions},
		{"holds are for a patient or for everything, and end once", holds},
		{"runs of upkeep are listed, the last sound one is found", runs},
	}
}

func forgetsAnswered(t *testing.T, s *site) {
	ask := func(transaction string) store.Commitment {
		c, err := s.db.AskCommitment(ctx(), person, store.Commitment{Peer: "CATH2", TransactionUID: transaction, Instances: []store.Reference{{SOPClass: "1.2", SOPInstance: "2.25.1"}}})
		require.NoError(t, err)
		return c
	}
	answered, givenUp := ask("2.25.10"), ask("2.25.11")
	ask("2.25.12") // still to be answered
	before := s.clock.Now()
	require.NoError(t, s.db.CommitmentReported(ctx(), answered, "all kept"))
	require.NoError(t, s.db.CommitmentLater(ctx(), givenUp.ID, "nobody answers", time.Time{}))
	forget := func(before time.Time, most int) int {
		n, err := s.db.ForgetAnswered(ctx(), before, most)
		require.NoError(t, err)
		return n
	}
	assert.Equal(t, 0, forget(before, 10), "answered since")
	later := s.clock.Now().Add(time.Hour)
	assert.Equal(t, 1, forget(later, 1), "no more at a time than asked")
	assert.Equal(t, 1, forget(later, 10))
	assert.Equal(t, 0, forget(later, 10))
	pending, err := s.db.PendingCommitments(ctx(), "CATH2", 10)
	require.NoError(t, err)
	require.Len(t, pending, 1)
	assert.Equal(t, "2.25.12", pending[0].TransactionUID)
	again := ask("2.25.10")
	assert.NotEqual(t, answered.ID, again.ID, "asked again, it is answered anew")
}

func forgetsSuperseded(t *testing.T, s *site) {
	patient, study := s.patient(t)
	v := versionOf(caseOf(patient, study), "one")
	v.Skin = []store.SkinSum{{Key: "first", Body: []byte("a"), Digests: []string{"one"}}, {Key: "unknown", Body: []byte("b")}}
	s.assess(t, v)
	forget := func(before time.Time, most int) int {
		n, err := s.db.ForgetSuperseded(ctx(), before, most)
		require.NoError(t, err)
		return n
	}
	later := s.clock.Now().Add(time.Hour)
	assert.Equal(t, 1, forget(later, 10), "of which nobody knows what it is made of")
	_, err := s.db.Recompute(ctx(), person, store.Recomputation{Reason: "another look"})
	require.NoError(t, err)
	v.Digest = "two"
	v.Skin = []store.SkinSum{{Key: "second", Body: []byte("c"), Digests: []string{"two"}}}
	s.assess(t, v)
	assert.Equal(t, 0, forget(s.clock.Now().Add(-time.Hour), 10), "too young")
	age := s.db.DosesAge()
	assert.Equal(t, 1, forget(later, 10))
	assert.Equal(t, 0, forget(later, 10))
	assert.Equal(t, age, s.db.DosesAge(), "no answer changes")
	kept, err := s.db.SkinSums(ctx(), []string{"first", "second", "unknown"})
	require.NoError(t, err)
	assert.Equal(t, map[string][]byte{"second": []byte("c")}, kept)
}
