package conformance

import (
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
)

func commitmentTests() []test {
	return []test{
		{"a question waits until it is answered", commitmentWaits},
		{"one transaction UID is one question", commitmentOnce},
		{"a question asked again while its answer is delivered is answered again", commitmentAgain},
		{"the many questions of one peer hide no other's", commitmentsOfEach},
	}
}

func commitmentWaits(t *testing.T, s *site) {
	asked := store.Commitment{Peer: "CATH2", TransactionUID: "2.25.1", Instances: []store.Reference{{SOPClass: "1.2", SOPInstance: "2.25.3"}}}
	c, err := s.db.AskCommitment(ctx(), person, asked)
	require.NoError(t, err)
	assert.Equal(t, "commitment.ask", s.last(t).Action)
	due, err := s.db.PendingCommitments(ctx(), "", 10)
	require.NoError(t, err)
	assert.Equal(t, []store.Commitment{c}, due)
	require.NoError(t, s.db.CommitmentLater(ctx(), c.ID, "nobody there", s.clock.Now().Add(time.Hour)))
	due, err = s.db.PendingCommitments(ctx(), "", 10)
	require.NoError(t, err)
	assert.Empty(t, due)
	of, err := s.db.PendingCommitments(ctx(), "CATH2", 10)
	require.NoError(t, err)
	require.Len(t, of, 1, "due or not")
	assert.Equal(t, 1, of[0].Attempts)
	s.clock.forward(time.Hour)
	due, err = s.db.PendingCommitments(ctx(), "", 10)
	require.NoError(t, err)
	assert.Len(t, due, 1)
	require.NoError(t, s.db.CommitmentReported(ctx(), due[0], "1 committed, 0 not"))
	assert.Equal(t, "commitment.report", s.last(t).Action)
	of, err = s.db.PendingCommitments(ctx(), "CATH2", 10)
	require.NoError(t, err)
	assert.Empty(t, of)

	again, err := s.db.AskCommitment(ctx(), person, asked)
	require.NoError(t, err)
	assert.Equal(t, c.ID, again.ID, "asked again it is answered again")
	require.NoError(t, s.db.CommitmentLater(ctx(), c.ID, "a week of nobody there", time.Time{}))
	assert.Equal(t, "failed", s.last(t).Outcome)
	of, err = s.db.PendingCommitments(ctx(), "CATH2", 10)
	require.NoError(t, err)
	assert.Empty(t, of, "given up")
	require.ErrorIs(t, s.db.CommitmentReported(ctx(), store.Commitment{ID: "no such question"}, ""), store.ErrNotFound)
}

func commitmentOnce(t *testing.T, s *site) {
	one := store.Commitment{Peer: "CATH2", TransactionUID: "2.25.1", Instances: []store.Reference{{SOPClass: "1.2", SOPInstance: "2.25.3"}}}
	_, err := s.db.AskCommitment(ctx(), person, one)
	require.NoError(t, err)
	other := one
	other.Instances = []store.Reference{{SOPClass: "1.2", SOPInstance: "2.25.4"}}
	_, err = s.db.AskCommitment(ctx(), person, other)
	require.ErrorIs(t, err, store.ErrConflict)
	other.Peer = "HYBRID1"
	_, err = s.db.AskCommitment(ctx(), person, other)
	require.NoError(t, err, "another peer's own")
}

func commitmentAgain(t *testing.T, s *site) {
	asked := store.Commitment{Peer: "CATH2", TransactionUID: "2.25.1", Instances: []store.Reference{{SOPClass: "1.2", SOPInstance: "2.25.3"}}}
	first, err := s.db.AskCommitment(ctx(), person, asked)
	require.NoError(t, err)
	s.clock.forward(time.Second)
	again, err := s.db.AskCommitment(ctx(), person, asked)
	require.NoError(t, err)
	require.NoError(t, s.db.CommitmentReported(ctx(), first, "1 committed, 0 not"))
	due, err := s.db.PendingCommitments(ctx(), "", 10)
	require.NoError(t, err)
	assert.Equal(t, []store.Commitment{again}, due)
	require.NoError(t, s.db.CommitmentReported(ctx(), again, "1 committed, 0 not"))
	due, err = s.db.PendingCommitments(ctx(), "", 10)
	require.NoError(t, err)
	assert.Empty(t, due)
}

func commitmentsOfEach(t *testing.T, s *site) {
	for i, peer := range []string{"CATH2", "CATH2", "CATH2", "HYBRID1"} {
		_, err := s.db.AskCommitment(ctx(), person, store.Commitment{Peer: peer, TransactionUID: "2.25." + strconv.Itoa(i), Instances: []store.Reference{{SOPClass: "1.2", SOPInstance: "2.25.3"}}})
		require.NoError(t, err)
		s.clock.forward(time.Second)
	}
	due, err := s.db.PendingCommitments(ctx(), "", 2)
	require.NoError(t, err)
	var of []string
	for _, c := range due {
		of = append(of, c.Peer+" "+c.TransactionUID)
	}
	assert.Equal(t, []string{"CATH2 2.25.0", "CATH2 2.25.1", "HYBRID1 2.25.3"}, of)
}
