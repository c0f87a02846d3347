package commitment_test

import (
	"bytes"
	"context"
	"log/slog"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse"
	"afterbeam/internal/ingest/dimse/commitment"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// taker is a store that takes every question.
type taker struct {
	commitment.Store
	asked []store.Commitment
}

func (t *taker) AskCommitment(_ context.Context, _ store.Actor, c store.Commitment) (store.Commitment, error) {
	t.asked = append(t.asked, c)
	return c, nil
}

// FuzzQuestion asks with any bytes: what is taken names a transaction and its objects by UIDs, and everything else is refused
// with a status of the conformance statement, without a word of it.
func FuzzQuestion(f *testing.F) {
	item := func(class, instance string) dicomio.DataSet {
		return dicomio.DataSet{{Tag: 0x00081150, VR: "UI", Values: []string{class}}, {Tag: 0x00081155, VR: "UI", Values: []string{instance}}}
	}
	for _, transfer := range []string{upper.ExplicitLittle, upper.ImplicitLittle} {
		for _, items := range [][]dicomio.DataSet{nil, {item(doseClass, "2.25.2")}, {item(doseClass, "2.25.2"), item(doseClass, "")}} {
			raw, err := dicomio.Encode(dicomio.DataSet{{Tag: 0x00081195, VR: "UI", Values: []string{"2.25.1"}}, {Tag: 0x00081199, VR: "SQ", Items: items}}, transfer)
			require.NoError(f, err)
			f.Add(raw, transfer == upper.ExplicitLittle)
		}
	}
	f.Fuzz(func(t *testing.T, raw []byte, explicit bool) {
		transfer := upper.ImplicitLittle
		if explicit {
			transfer = upper.ExplicitLittle
		}
		taken := &taker{}
		log := slog.New(slog.DiscardHandler)
		offer := commitment.New(commitment.Config{Store: taken, Title: "AFTERBEAM", Log: log, Now: time.Now}).Offer()
		reply, err := offer.Handlers[upper.NAction](t.Context(), dimse.Call{Peer: dimse.Peer{Title: "CATH2", Log: log}, Message: &upper.Message{
			Context: upper.Context{Abstract: commitment.SOPClass, Transfer: transfer},
			Command: upper.Command{Field: upper.NAction, RequestedClass: commitment.SOPClass, RequestedInstance: wellKnown, Action: quantity.Some[uint16](1)},
			Data:    bytes.NewReader(raw),
		}})
		require.NoError(t, err)
		if reply.Status != upper.Success {
			assert.Empty(t, taken.asked)
			assert.Contains(t, offer.Outcomes, dimse.Outcome{Status: reply.Status, Meaning: "not taken: " + reply.Comment})
			return
		}
		require.Len(t, taken.asked, 1)
		q := taken.asked[0]
		assert.NotEmpty(t, q.Instances)
		for _, r := range append(q.Instances, store.Reference{SOPClass: commitment.SOPClass, SOPInstance: q.TransactionUID}) {
			_, err := dicomio.Front(r.SOPClass, r.SOPInstance, transfer)
			assert.NoError(t, err)
		}
	})
}
