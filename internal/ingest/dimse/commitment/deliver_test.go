package commitment_test

import (
	"bytes"
	"fmt"
	"net"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/ingest/dimse/commitment"
	"afterbeam/internal/ingest/dimse/upper"
	"afterbeam/internal/quantity"
	"afterbeam/internal/report/dicomio"
	"afterbeam/internal/store"
)

// longWait is for hundreds of transactions on a slow disk.
const longWait = 3 * time.Minute

// askAll asks the questions of a peer on one association.
func (r *rig) askAll(t *testing.T, calling string, questions []store.Commitment) {
	t.Helper()
	a, err := upper.Requestor{Limits: upper.DefaultLimits(), Calling: calling}.Dial(t.Context(), r.door, "AFTERBEAM", upper.Each(commitment.SOPClass, upper.ExplicitLittle))
	require.NoError(t, err)
	for _, q := range questions {
		var items []dicomio.DataSet
		for _, ref := range q.Instances {
			items = append(items, dicomio.DataSet{{Tag: 0x00081150, VR: "UI", Values: []string{ref.SOPClass}}, {Tag: 0x00081155, VR: "UI", Values: []string{ref.SOPInstance}}})
		}
		body, err := dicomio.Encode(dicomio.DataSet{{Tag: 0x00081195, VR: "UI", Values: []string{q.TransactionUID}}, {Tag: 0x00081199, VR: "SQ", Items: items}}, upper.ExplicitLittle)
		require.NoError(t, err)
		m, err := a.Ask(t.Context(), a.Contexts()[0].ID, upper.Command{
			Field: upper.NAction, RequestedClass: commitment.SOPClass, RequestedInstance: wellKnown, Action: quantity.Some[uint16](1),
		}, bytes.NewReader(body))
		require.NoError(t, err)
		require.Equal(t, upper.Success, m.Command.Status)
	}
	require.NoError(t, a.Release())
}

// attempted counts the questions whose delivery was tried at least so often.
func (r *rig) attempted(t *testing.T, times int) (n int) {
	t.Helper()
	all, err := r.db.PendingCommitments(t.Context(), "CATH2", 1000)
	require.NoError(t, err)
	for _, c := range all {
		if c.Attempts >= times {
			n++
		}
	}
	return n
}

// told sums up an answer: which objects it commits to, and which it does not with their reasons.
func told(set dicomio.DataSet) (kept []string, not map[string]string) {
	for _, item := range set.Items(0x00081199) {
		kept = append(kept, item.Text(0x00081155))
	}
	for _, item := range set.Items(0x00081198) {
		if not == nil {
			not = map[string]string{}
		}
		not[item.Text(0x00081155)] = item.Text(0x00081197)
	}
	return kept, not
}

// TestManyQuestionsOfAPeerThatIsNotThere keeps them through a day without the peer, a day with another program at its
// address and a restart between. Then each has one answer, which commits to no object that is not here.
// There are 200 with CI=1 or CI=true, else 40, since each is four transactions.
func TestManyQuestionsOfAPeerThatIsNotThere(t *testing.T) {
	questions := 40
	if ci := os.Getenv("CI"); ci == "1" || ci == "true" {
		questions = 200
	}
	r := newRig(t, true)
	r.set(func() { r.taking = false })
	var asked []store.Commitment
	for i := range questions {
		q := store.Commitment{TransactionUID: "2.25." + strconv.Itoa(1000+i)}
		if i%4 != 1 { // every fourth names nothing that is kept
			q.Instances = append(q.Instances, r.good()...)
		}
		if i%2 == 1 {
			q.Instances = append(q.Instances, store.Reference{SOPClass: doseClass, SOPInstance: fmt.Sprintf("2.25.404.%d", i)})
		}
		asked = append(asked, q)
	}
	r.askAll(t, "CATH2", asked)
	require.Eventually(t, func() bool { return r.attempted(t, 1) == questions }, longWait, 50*time.Millisecond)

	r.set(func() { r.taking, r.refusing = true, true })
	r.pass(24 * time.Hour)
	require.Eventually(t, func() bool { return r.attempted(t, 2) == questions }, longWait, 50*time.Millisecond)
	assert.Contains(t, r.log.String(), "called AE title not recognised")
	r.stop()
	assert.Empty(t, r.got())

	r.set(func() { r.refusing = false })
	r.clock.Pass(24 * time.Hour)
	r.start(t, true)
	require.Eventually(t, func() bool { return len(r.got()) >= questions && r.pending(t) == 0 }, longWait, 50*time.Millisecond)
	answers := map[string]answer{}
	for _, one := range r.got() {
		answers[one.set.Text(0x00081195)] = one
	}
	assert.Len(t, r.got(), questions, "one answer each")
	require.Len(t, answers, questions)
	for i, q := range asked {
		one := answers[q.TransactionUID]
		kept, not := told(one.set)
		var wantKept []string
		var wantNot map[string]string
		event := uint16(1)
		if i%4 != 1 {
			wantKept = []string{r.kept.SOPInstanceUID}
		}
		if i%2 == 1 {
			event, wantNot = 2, map[string]string{fmt.Sprintf("2.25.404.%d", i): "274"} // 0112H
		}
		assert.Equal(t, event, one.event, q.TransactionUID)
		assert.Equal(t, wantKept, kept, q.TransactionUID)
		assert.Equal(t, wantNot, not, q.TransactionUID)
	}
}

// TestAPeerThatSaysNothingHoldsUpNoOther has one peer that takes a connection and is silent: until the timer of its
// association ends, longer than this test waits, the other has its answer.
func TestAPeerThatSaysNothingHoldsUpNoOther(t *testing.T) {
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, silent.Close()) })
	require.Greater(t, upper.DefaultARTIM, soon)
	r := newRig(t, true)
	r.stop()
	r.silent = silent.Addr().String()
	r.start(t, true)
	r.askAll(t, "HYBRID1", []store.Commitment{{TransactionUID: "2.25.1", Instances: r.good()}})
	conn, err := silent.Accept() // it is being called
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, conn.Close()) })
	r.askAll(t, "CATH2", []store.Commitment{{TransactionUID: "2.25.2", Instances: r.good()}})
	require.Eventually(t, func() bool { return len(r.got()) == 1 && r.pending(t) == 0 }, soon, 10*time.Millisecond)
	assert.Equal(t, "2.25.2", r.got()[0].set.Text(0x00081195))
}

// TestAPeerThatBreaksOffIsCalledAgainForTheNextAnswer has the peer abort where an answer is told to it.
func TestAPeerThatBreaksOffIsCalledAgainForTheNextAnswer(t *testing.T) {
	r := newRig(t, true)
	r.set(func() { r.breaking = 1 })
	r.askAll(t, "CATH2", []store.Commitment{{TransactionUID: "2.25.1", Instances: r.good()}, {TransactionUID: "2.25.2", Instances: r.good()}})
	require.Eventually(t, func() bool { return r.pending(t) == 1 }, soon, 10*time.Millisecond)
	r.pass(time.Hour)
	require.Eventually(t, func() bool { return r.pending(t) == 0 }, soon, 10*time.Millisecond)
	var of []string
	for _, one := range r.got() {
		of = append(of, one.set.Text(0x00081195))
	}
	assert.ElementsMatch(t, []string{"2.25.1", "2.25.2"}, of)
}
