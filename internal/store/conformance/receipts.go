package conformance

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/store"
	"afterbeam/internal/store/object"
)

func receiptTests() []test {
	return []test{
		{"new bytes are kept with receipt, job and record", newReceipt},
		{"the same bytes again change nothing", sameBytesAgain},
		{"an unusable object waits in quarantine", quarantine},
		{"quarantined while read", quarantineWhileRead},
		{"reread puts a receipt back to work", reread},
		{"discard wants a reason and keeps the bytes", discard},
		{"pages hold every receipt once", receiptPages},
		{"failures of a sender keep their own kind", senderFails},
	}
}

func newReceipt(t *testing.T, s *site) {
	r := s.keep(t, "a report", "")
	sum := sha256.Sum256([]byte("a report"))
	assert.Equal(t, hex.EncodeToString(sum[:]), r.Digest)
	assert.Equal(t, store.ReceiptKept, r.State)
	got, err := s.db.Receipt(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, r, got, "the answer is what is stored, its time to the microsecond")
	assert.Equal(t, "folder", got.Door)
	assert.Equal(t, "incoming", got.Source)
	raw, err := s.db.Raw(r.Digest)
	require.NoError(t, err)
	assert.Equal(t, "a report", string(raw))
	last := s.last(t)
	assert.Equal(t, "report.keep", last.Action)
	assert.Equal(t, r.ID, last.Object)
	assert.Equal(t, r.Digest, last.After)
	j, err := s.db.Lease(ctx(), "worker", time.Minute)
	require.NoError(t, err)
	assert.Equal(t, store.JobRead, j.Kind)
	assert.Equal(t, r.ID, j.Subject)
	_, err = s.db.Receipt(ctx(), "no such receipt")
	require.ErrorIs(t, err, store.ErrNotFound)
	_, err = s.db.Raw(hex.EncodeToString(make([]byte, 32)))
	require.ErrorIs(t, err, object.ErrNotFound)
}

func sameBytesAgain(t *testing.T, s *site) {
	first := s.keep(t, "a report", "")
	s.drain(t)
	before := s.records(t)
	r, again, err := s.db.Accept(ctx(), door, store.Arrival{Digest: first.Digest, Size: 1, Door: "http", SOPInstance: "2.25.77"})
	require.NoError(t, err)
	assert.True(t, again)
	assert.Equal(t, first, r)
	assert.Equal(t, before, s.records(t))
	assert.Empty(t, s.drain(t), "no work is asked for")
}

func quarantine(t *testing.T, s *site) {
	r := s.keep(t, "an image", "SOP class is not a dose report")
	assert.Equal(t, store.ReceiptQuarantined, r.State)
	assert.Equal(t, "SOP class is not a dose report", r.Reason)
	assert.Empty(t, s.drain(t))
	listed, err := s.db.Receipts(ctx(), store.ReceiptQuarantined, "", 10)
	require.NoError(t, err)
	assert.Equal(t, []store.Receipt{r}, listed)
	kept, err := s.db.Receipts(ctx(), store.ReceiptKept, "", 10)
	require.NoError(t, err)
	assert.Empty(t, kept)
}

func quarantineWhileRead(t *testing.T, s *site) {
	r := s.keep(t, "half a report", "")
	j := s.lease(t, store.JobRead, r.ID)
	require.NoError(t, s.db.QuarantineRead(ctx(), j, "no content sequence"))
	got, err := s.db.Receipt(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptQuarantined, got.State)
	assert.Equal(t, "no content sequence", got.Reason)
	assert.Empty(t, s.drain(t))
	assert.Equal(t, "report.quarantine", s.last(t).Action)
}

func reread(t *testing.T, s *site) {
	for _, from := range []store.ReceiptState{store.ReceiptQuarantined, store.ReceiptDiscarded} {
		r := s.keep(t, "object "+string(from), "odd")
		if from == store.ReceiptDiscarded {
			require.NoError(t, s.db.Discard(ctx(), person, r.ID, "not ours"))
		}
		require.NoError(t, s.db.Reread(ctx(), person, r.ID, "reader was repaired"))
		got, err := s.db.Receipt(ctx(), r.ID)
		require.NoError(t, err)
		assert.Equal(t, store.ReceiptKept, got.State)
		assert.Empty(t, got.Reason)
		last := s.last(t)
		assert.Equal(t, "quarantine.reread", last.Action)
		assert.Equal(t, person.Account, last.Actor)
		assert.Equal(t, "reader was repaired", last.Reason)
		require.ErrorIs(t, s.db.Reread(ctx(), person, r.ID, "twice"), store.ErrConflict, "kept already")
		j := s.lease(t, store.JobRead, r.ID)
		assert.Equal(t, 1, j.Attempt)
	}
	require.ErrorIs(t, s.db.Reread(ctx(), person, "no such receipt", "x"), store.ErrNotFound)
}

func discard(t *testing.T, s *site) {
	r := s.keep(t, "an image", "odd")
	require.ErrorIs(t, s.db.Discard(ctx(), person, r.ID, ""), store.ErrInvalid)
	require.NoError(t, s.db.Discard(ctx(), person, r.ID, "sent by mistake"))
	got, err := s.db.Receipt(ctx(), r.ID)
	require.NoError(t, err)
	assert.Equal(t, store.ReceiptDiscarded, got.State)
	assert.Equal(t, "sent by mistake", got.Reason)
	_, err = s.db.Raw(r.Digest)
	require.NoError(t, err)
	require.ErrorIs(t, s.db.Discard(ctx(), person, r.ID, "again"), store.ErrConflict)
	kept := s.keep(t, "a report", "")
	require.ErrorIs(t, s.db.Discard(ctx(), person, kept.ID, "not in quarantine"), store.ErrConflict)
	require.ErrorIs(t, s.db.Discard(ctx(), person, "no such receipt", "x"), store.ErrNotFound)
}

func receiptPages(t *testing.T, s *site) {
	var want []string
	for i := range 23 {
		want = append(want, s.keep(t, fmt.Sprintf("image %d", i), "odd").ID)
	}
	for _, size := range []int{1, 5, 23, 100} {
		var got []string
		after := ""
		for {
			page, err := s.db.Receipts(ctx(), store.ReceiptQuarantined, after, size)
			require.NoError(t, err)
			require.LessOrEqual(t, len(page), size)
			if len(page) == 0 {
				break
			}
			for _, r := range page {
				got = append(got, r.ID)
			}
			after = got[len(got)-1]
		}
		assert.Equal(t, want, got, "pages of %d, oldest first", size)
	}
	// A receipt that left the list is still a place in it.
	require.NoError(t, s.db.Discard(ctx(), person, want[4], "seen"))
	page, err := s.db.Receipts(ctx(), store.ReceiptQuarantined, want[4], 2)
	require.NoError(t, err)
	require.Len(t, page, 2)
	assert.Equal(t, want[5], page[0].ID)
	_, err = s.db.Receipts(ctx(), store.ReceiptQuarantined, "no such receipt", 2)
	require.ErrorIs(t, err, store.ErrCursor, "an empty page would look like the end")
}

var errSender = errors.New("sender hung up")

func senderFails(t *testing.T, s *site) {
	_, err := s.db.Receive(ctx(), io.MultiReader(bytes.NewReader([]byte("half")), failingBody{}))
	require.ErrorIs(t, err, errSender)
	require.NotErrorIs(t, err, store.ErrUnavailable)
	_, err = s.db.Receive(ctx(), bytes.NewReader(make([]byte, store.DefaultObjectLimit+1)))
	require.ErrorIs(t, err, object.ErrTooLarge)
}

type failingBody struct{}

func (failingBody) Read([]byte) (int, error) { return 0, errSender }
