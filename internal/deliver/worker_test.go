package deliver_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/deliver"
	"afterbeam/internal/deliver/mail"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/peer/mailbox"
	"afterbeam/internal/store"
	"afterbeam/internal/witness"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const (
	room    = "Hybrid 1"
	planted = "PLANTED-7734"
)

// rig is a worker over a real store, with a clock that tests move.
type rig struct {
	t        *testing.T
	db       *store.DB
	clock    *witness.Clock
	log      *witness.Log
	worker   *deliver.Worker
	operator store.Account
	cases    int
}

type pictures struct{}

func (pictures) Draw(context.Context, store.Version, string) (string, []byte, error) {
	return "image/png", []byte("picture"), nil
}

func newRig(t *testing.T, ways ...deliver.Way) *rig {
	t.Helper()
	r := &rig{t: t, clock: witness.At(time.Date(2026, 9, 14, 10, 0, 0, 0, time.UTC)), log: &witness.Log{}}
	var err error
	r.db, err = store.Open(context.Background(), store.Config{Dir: t.TempDir(), Program: "test", Now: r.clock.Now})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, r.db.Close()) })
	t.Cleanup(func() { assert.NotContains(t, r.log.String(), planted, "the log names a patient") })
	r.worker = &deliver.Worker{
		Store: r.db, Ways: ways, Pictures: pictures{}, Policy: notice.Policy{Language: "en"}, Zone: time.UTC, Base: "https://afterbeam.example.org",
		Log: slog.New(slog.NewJSONHandler(r.log, nil)), Now: r.clock.Now, Fatal: func(err error) { assert.NoError(t, err) },
	}
	r.operator = r.account("operator", []string{room}, "surgeon.a@saltmarsh.example")
	require.NoError(t, r.db.SetFallback(context.Background(), store.System("test"), room, r.operator.ID, "test"))
	return r
}

func (r *rig) account(role string, rooms []string, address string) store.Account {
	r.t.Helper()
	r.cases++
	a, err := r.db.AddAccount(context.Background(), store.System("test"), fmt.Sprint(role, r.cases), role, rooms)
	require.NoError(r.t, err)
	r.prefers(a, notice.Preferences{Mail: address})
	return a
}

func (r *rig) prefers(a store.Account, p notice.Preferences) {
	r.t.Helper()
	require.NoError(r.t, r.db.SetNoticePreferences(context.Background(), store.System("test"), a.ID, p))
}

// queue makes a case with a notice of a rank, and gives its reference.
func (r *rig) queue(rank notice.Rank) string { return r.queueIn(room, rank) }

func (r *rig) queueIn(room string, rank notice.Rank) string {
	r.t.Helper()
	ctx := context.Background()
	r.cases++
	n := fmt.Sprint(r.cases)
	arrival, err := r.db.Receive(ctx, strings.NewReader("object "+n))
	require.NoError(r.t, err)
	require.NoError(r.t, arrival.Keep())
	got, _, err := r.db.Accept(ctx, store.System("test"), store.Arrival{Digest: arrival.Digest, Size: int64(len(arrival.Bytes)), Door: "test", StudyUID: "2.25." + n})
	require.NoError(r.t, err)
	j, err := r.db.Lease(ctx, "test", time.Minute)
	require.NoError(r.t, err)
	require.NoError(r.t, r.db.SaveReport(ctx, j, store.Report{
		ReceiptID: got.ID, SOPInstance: "2.25.1" + n, DataSetDigest: "d" + n, ContentDigest: "c" + n, StudyUID: got.StudyUID, DeviceKey: "device", ContentAt: r.clock.Now(), Body: []byte("{}"),
	}, store.Identity{Number: planted + n, Name: planted}))
	reports, err := r.db.ReportsOfStudy(ctx, got.StudyUID)
	require.NoError(r.t, err)
	j, err = r.db.Lease(ctx, "test", time.Minute)
	require.NoError(r.t, err)
	content := notice.Content{Room: room, Date: "2026-09-14", State: "complete", Flag: "below", Picture: true}
	if rank > notice.EveryCase {
		content.Flag = "reached"
		content.Levels = []notice.Level{{Scheme: "s", ID: "kar", Title: "Scheme", Meaning: "follow-up", Quantity: "kar", State: "reached", Shown: "5.21 Gy", ShownLevel: "5.00 Gy", Rank: rank}}
	}
	body, err := json.Marshal(content)
	require.NoError(r.t, err)
	ids, err := r.db.SaveAssessment(ctx, j, []store.Version{{
		Case: store.Case{
			StudyUID: got.StudyUID, DeviceKey: "device", PatientID: reports[0].PatientID, Room: room, State: "complete", Start: r.clock.Now(), LocalDate: "2026-09-14", FlagState: content.Flag,
		},
		Digest: n, Summary: []byte("{}"), Body: []byte("body"), Map: []byte("map"),
		Notice: &store.NewNotice{Kind: notice.First, Rank: rank, Urgent: rank == notice.FollowUp, Content: body},
	}})
	require.NoError(r.t, err)
	last, err := r.db.LastNotice(ctx, ids[0])
	require.NoError(r.t, err)
	return last.ID
}

// step places what is queued and tries every channel once.
func (r *rig) step() {
	r.t.Helper()
	_, err := r.worker.Place(context.Background())
	require.NoError(r.t, err)
	for _, way := range r.worker.Ways {
		_, err := r.worker.Send(context.Background(), way)
		require.NoError(r.t, err)
	}
}

// pass moves the clock in steps of a minute and lets the worker work at each.
func (r *rig) pass(d time.Duration) {
	for range int(d / time.Minute) {
		r.clock.Pass(time.Minute)
		r.step()
	}
}

// tries gives the endings of every try of the only message of a notice.
func (r *rig) tries(reference string) []store.Attempt {
	r.t.Helper()
	messages, err := r.db.MessagesOf(context.Background(), reference)
	require.NoError(r.t, err)
	require.Len(r.t, messages, 1)
	all, err := r.db.Attempts(context.Background(), messages[0].ID)
	require.NoError(r.t, err)
	return all
}

// double is a channel that keeps what it was given and fails as it is told to.
type double struct {
	mu   sync.Mutex
	fail error
	got  []notice.Message
}

func (d *double) Send(_ context.Context, m notice.Message) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.fail == nil || errors.Is(d.fail, notice.ErrUnsure) {
		d.got = append(d.got, m)
	}
	return d.fail
}

func (d *double) becomes(err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.fail = err
}

func byMail(t *testing.T) (*mailbox.Server, deliver.Way) {
	t.Helper()
	box := mailbox.New(t)
	s, err := mail.New(mail.Config{Server: box.Address, From: "afterbeam@saltmarsh.example", Encryption: mail.StartTLS, Authority: box.Authority, Helo: "test", Timeout: 10 * time.Second})
	require.NoError(t, err)
	return box, deliver.Way{Name: "mail", Channel: s, Addressed: true}
}

// A server that is away for hours: every reference arrives afterwards, once, in order, and none as a repeat.
func TestAwayForHours(t *testing.T) {
	box, way := byMail(t)
	r := newRig(t, way)
	box.Becomes(mailbox.Away)
	var want []string
	for range 12 {
		want = append(want, r.queue(notice.EveryCase))
		r.pass(30 * time.Minute)
	}
	assert.Empty(t, box.Mails())
	assert.Less(t, box.Calls(), 12*30, "an absent server is not called all the time")
	box.Becomes(mailbox.Takes)
	r.pass(40 * time.Minute)
	var got []string
	for _, m := range box.Mails() {
		assert.NotContains(t, m.Text, "REPEAT")
		assert.NotContains(t, m.Text, planted)
		for _, reference := range want {
			if strings.Contains(m.Text, "Reference "+reference) {
				got = append(got, reference)
			}
		}
	}
	assert.Equal(t, want, got)
}

// Taken and the answer lost: it comes again under the same message id and says that it is a repeat.
func TestHalfAccepted(t *testing.T) {
	box, way := byMail(t)
	r := newRig(t, way)
	box.Becomes(mailbox.Half)
	reference := r.queue(notice.FollowUp)
	r.step()
	box.Becomes(mailbox.Takes)
	r.pass(5 * time.Minute)
	mails := box.Mails()
	require.Len(t, mails, 2)
	ids := map[string]bool{}
	for _, m := range mails {
		_, rest, _ := strings.Cut(m.Text, "Message-ID: ")
		id, _, _ := strings.Cut(rest, "\n")
		ids[id] = true
		assert.Contains(t, m.Text, "Reference "+reference)
	}
	assert.Len(t, ids, 1, "one message id")
	assert.NotContains(t, mails[0].Text, "REPEAT")
	assert.Contains(t, mails[1].Text, "REPEAT")
	assert.Contains(t, mails[1].Text, "Subject: Repeat: ")
	tries := r.tries(reference)
	require.Len(t, tries, 2)
	assert.Equal(t, []store.Ending{store.EndingUnsure, store.EndingSent}, []store.Ending{tries[0].Outcome, tries[1].Outcome})
	assert.True(t, tries[1].Repeat, "repeats are listed")
	r.pass(time.Hour)
	assert.Len(t, box.Mails(), 2)
}

// Nothing was delivered when the process ended before the answer was written down, or it was: nobody knows, so it is a repeat.
func TestTryWithoutEnd(t *testing.T) {
	d := &double{}
	r := newRig(t, deliver.Way{Name: "outbox", Channel: d})
	reference := r.queue(notice.EveryCase)
	_, err := r.worker.Place(context.Background())
	require.NoError(t, err)
	messages, err := r.db.MessagesOf(context.Background(), reference)
	require.NoError(t, err)
	_, err = r.db.BeginAttempt(context.Background(), messages[0].ID)
	require.NoError(t, err)
	r.step()
	require.Len(t, d.got, 1)
	assert.True(t, d.got[0].Repeat)
}

func TestRefusedAddressIsTold(t *testing.T) {
	box, way := byMail(t)
	folder := &double{}
	r := newRig(t, way, deliver.Way{Name: "outbox", Channel: folder})
	admin := r.account("admin", nil, "admin@saltmarsh.example")
	chosen := []string{"mail"}
	r.prefers(r.operator, notice.Preferences{Mail: "gone@saltmarsh.example", Channels: &chosen})
	box.Becomes(mailbox.Refuses)
	reference := r.queue(notice.EveryCase)
	r.step()
	r.step()
	messages, err := r.db.MessagesOf(context.Background(), reference)
	require.NoError(t, err)
	assert.Equal(t, store.MessageFailed, messages[0].State)
	require.Len(t, folder.got, 1, "the administrator hears of it by the other channel")
	assert.Equal(t, admin.ID, folder.got[0].Account)
	assert.Contains(t, folder.got[0].Text, "Mail: no message gets through")
	assert.NotContains(t, folder.got[0].Text+r.log.String(), "gone@saltmarsh.example")
}

// A failing channel raises its own alarm, once, through the other channel; when it is well again the next one is new.
func TestAlarm(t *testing.T) {
	sick, well := &double{fail: errors.New("no connection")}, &double{}
	r := newRig(t, deliver.Way{Name: "webhook", Channel: sick}, deliver.Way{Name: "outbox", Channel: well})
	r.account("admin", nil, "")
	r.queue(notice.EveryCase)
	alarms := func() (n int) {
		for _, m := range well.got {
			if strings.Contains(m.Text, "Webhook: no message gets through since 2026-09-14T1") {
				n++
			}
		}
		return n
	}
	r.step()
	r.pass(4 * time.Minute)
	assert.Zero(t, alarms(), "not for a moment's trouble")
	r.pass(2 * time.Hour)
	assert.Equal(t, 1, alarms())
	assert.Contains(t, r.log.String(), "notices do not get through")
	states, err := r.db.ChannelStates(context.Background())
	require.NoError(t, err)
	assert.Equal(t, "webhook", states[2].Channel)
	assert.Equal(t, 1, states[2].Waiting)
	assert.False(t, states[2].FailingFrom.IsZero())
	sick.becomes(nil)
	r.pass(40 * time.Minute)
	assert.Len(t, sick.got, 1)
	sick.becomes(errors.New("no connection"))
	r.queue(notice.EveryCase)
	r.pass(time.Hour)
	assert.Equal(t, 2, alarms())
}

func TestQuietHoursAndDigest(t *testing.T) {
	d := &double{}
	r := newRig(t, deliver.Way{Name: "outbox", Channel: d})
	from, to, at := "22:00", "06:30", "07:00"
	r.prefers(r.operator, notice.Preferences{QuietFrom: &from, QuietTo: &to})
	r.clock.Pass(13 * time.Hour) // 23:00
	quiet, urgent := r.queue(notice.Notification), r.queue(notice.FollowUp)
	r.step()
	require.Len(t, d.got, 1, "a reached follow-up level waits for no hour")
	assert.Equal(t, []string{urgent}, d.got[0].References)
	r.pass(7*time.Hour + 29*time.Minute)
	require.Len(t, d.got, 1)
	r.pass(time.Minute) // 06:30
	require.Len(t, d.got, 2)
	assert.Equal(t, []string{quiet}, d.got[1].References)

	r.prefers(r.operator, notice.Preferences{DigestAt: &at})
	r.clock.Pass(time.Hour) // 07:30
	one, two := r.queue(notice.EveryCase), r.queue(notice.Notification)
	r.step()
	r.clock.Pass(23 * time.Hour)
	r.step()
	require.Len(t, d.got, 2)
	r.pass(31 * time.Minute)
	require.Len(t, d.got, 3, "both together")
	assert.ElementsMatch(t, []string{one, two}, d.got[2].References)
	assert.Equal(t, "2 notices together", d.got[2].Subject)
	assert.Empty(t, d.got[2].Pictures)
}

func TestWhoIsTold(t *testing.T) {
	d := &double{}
	r := newRig(t, deliver.Way{Name: "outbox", Channel: d})
	admin := r.account("admin", nil, "")
	rank := "follow-up"
	r.prefers(r.operator, notice.Preferences{From: &rank})
	none, some := r.queue(notice.Notification), r.queue(notice.FollowUp)
	r.step()
	require.Len(t, d.got, 1)
	assert.Equal(t, []string{some}, d.got[0].References)
	assert.Len(t, d.got[0].Pictures, 1)
	assert.Contains(t, d.got[0].Link, "https://afterbeam.example.org/cases/")
	unwanted, err := r.db.Notice(context.Background(), none)
	require.NoError(t, err)
	assert.Equal(t, "nobody wants notices of this rank", unwanted.Problem)

	lost := r.queueIn("Cath 2", notice.FollowUp) // a room without a fallback
	r.step()
	r.step()
	require.Len(t, d.got, 2)
	assert.Equal(t, admin.ID, d.got[1].Account)
	assert.Contains(t, d.got[1].Text, "1 notice has nobody to go to")
	require.NoError(t, r.db.SetFallback(context.Background(), store.System("test"), "Cath 2", r.operator.ID, "test"))
	r.pass(11 * time.Minute)
	require.Len(t, d.got, 3, "told as soon as there is somebody")
	assert.Equal(t, []string{lost}, d.got[2].References)
}

// The worker runs by itself and sends within seconds.
func TestRun(t *testing.T) {
	d := &double{}
	r := newRig(t, deliver.Way{Name: "outbox", Channel: d})
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); r.worker.Run(ctx) }()
	r.queue(notice.FollowUp)
	assert.Eventually(t, func() bool { d.mu.Lock(); defer d.mu.Unlock(); return len(d.got) == 1 }, 30*time.Second, 20*time.Millisecond)
	cancel()
	<-done
}
