package conformance

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/acceptance"
	"afterbeam/internal/store"
)

func acceptanceTests() []test {
	return []test{{"a comparison of consoles is kept as it was and signed by another", acceptanceSigned}}
}

func acceptanceSigned(t *testing.T, s *site) {
	number, percent := 1.2345678901234567, -0.1
	rows := []acceptance.Row{
		{Case: "a", Reading: acceptance.Reading{Quantity: acceptance.Kerma, Text: "1.23", Unit: "Gy"}, Served: &number, DifferencePercent: &percent, State: acceptance.Agrees},
		{Case: "a", Reading: acceptance.Reading{Quantity: acceptance.KAP, Text: "12", Unit: "Gy.cm2"}, State: acceptance.Open, Why: "the service has no number"},
	}
	for _, broken := range []store.Acceptance{{Reason: "nothing"}, {Rows: rows}} {
		_, err := s.db.KeepAcceptance(ctx(), person, broken)
		require.ErrorIs(t, err, store.ErrInvalid)
	}
	made, err := s.db.KeepAcceptance(ctx(), person, store.Acceptance{Reason: "before use", TolerancePercent: 1, Rows: rows})
	require.NoError(t, err)
	assert.Equal(t, "acceptance.make", s.last(t).Action)
	assert.False(t, made.AllAgree, "what cannot be compared does not agree")
	got, err := s.db.Acceptance(ctx(), made.ID)
	require.NoError(t, err)
	assert.Equal(t, made, got, "to the digit")
	_, err = s.db.SignAcceptance(ctx(), person, made.ID, "mine")
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.SignAcceptance(ctx(), colleague, made.ID, "")
	require.ErrorIs(t, err, store.ErrInvalid)
	signed, err := s.db.SignAcceptance(ctx(), colleague, made.ID, "read")
	require.NoError(t, err)
	assert.Equal(t, colleague.Account, signed.SignedBy)
	assert.Equal(t, rows, signed.Rows)
	_, err = s.db.SignAcceptance(ctx(), colleague, made.ID, "again")
	require.ErrorIs(t, err, store.ErrConflict)
	_, err = s.db.Acceptance(ctx(), "nobody")
	require.ErrorIs(t, err, store.ErrNotFound)
	all, err := s.db.Acceptances(ctx())
	require.NoError(t, err)
	assert.Equal(t, []store.Acceptance{signed}, all)
}
