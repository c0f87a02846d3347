package crashtest_test

import (
	"context"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/crashpoint"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/peer"
	"afterbeam/internal/peer/mailbox"
	"afterbeam/internal/procedure"
	"afterbeam/internal/store"
)

// complete gives a dose report of a study of its own, of a patient of its own.
func (w *world) complete(t *testing.T) parcel {
	t.Helper()
	w.studies += 3
	whole := w.retold(w.bases[0], 0, fewestEvents)
	parcels, err := w.pack([]procedure.Report{w.part(whole, 0, fewestEvents, procedure.ScopeStudy, 1)})
	require.NoError(t, err)
	for _, p := range parcels {
		if p.kind == dose {
			return p
		}
	}
	require.FailNow(t, "no dose report")
	return parcel{}
}

// tells makes an operator who hears of every room of the store by mail; the service is not running.
func (s *site) tells(t *testing.T, rooms ...string) {
	t.Helper()
	ctx, actor := context.Background(), store.System("crash test")
	db, err := store.Open(ctx, store.Config{Dir: s.store(), Program: "test"})
	require.NoError(t, err)
	operator, err := db.AddAccount(ctx, actor, "operator", "operator", rooms)
	require.NoError(t, err)
	require.NoError(t, db.SetNoticePreferences(ctx, actor, operator.ID, notice.Preferences{Mail: "surgeon.a@saltmarsh.example"}))
	for _, room := range rooms {
		require.NoError(t, db.SetFallback(ctx, actor, room, operator.ID, "crash test"))
	}
	require.NoError(t, db.Close())
}

var (
	mailReference = regexp.MustCompile(`Reference ([a-z2-7]{24})`)
	mailID        = regexp.MustCompile(`Message-ID: (\S+)`)
)

// TestKilledWhileTelling kills the service while a notice is in the transaction of its flags, before it is sent, and when the
// mail server has it and the store does not know. After the next start each case has been told once, or - where nobody can know
// whether it was - again, under the same reference and message id, and that mail says that it is a repeat.
func TestKilledWhileTelling(t *testing.T) {
	peer.Need(t, "sqlite3")
	s := newSite(t)
	w := newWorld(firstSeed)
	box := mailbox.New(t)
	s.tells(t, w.bases[0].Device.Room)
	mail := []string{"AFTERBEAM_NOTICES_MAIL_SERVER=" + box.Address, "AFTERBEAM_NOTICES_MAIL_FROM=afterbeam@saltmarsh.example", "AFTERBEAM_NOTICES_MAIL_ENCRYPTION=none"}
	for step, want := range map[crashpoint.Step][]bool{ // which of the mails are repeats
		crashpoint.NoticeQueued: {false}, crashpoint.NoticeBegun: {true}, crashpoint.NoticeSent: {false, true},
	} {
		before := len(box.Mails())
		p, err := s.start(append(mail, "CRASH_AT="+string(step)+":1")...)
		require.NoError(t, err, step)
		status, text, err := call(p.address, http.MethodPost, "/v1/reports", s.door, "application/dicom", w.complete(t).raw)
		require.NoError(t, err, step)
		require.Equal(t, http.StatusCreated, status, "%s", text)
		select {
		case <-p.dead:
		case <-time.After(unreached):
			p.kill()
			require.FailNow(t, "not reached", "%s:\n%s", step, p.err.String())
		}
		require.True(t, p.killed(), step)
		p, err = s.start(mail...)
		require.NoError(t, err, step)
		require.NoError(t, s.settled(time.Minute))
		require.Eventually(t, func() bool {
			var left []struct{ N int }
			return s.query(&left, `SELECT (SELECT COUNT(*) FROM notice WHERE state = 'queued') + (SELECT COUNT(*) FROM notice_message WHERE state <> 'sent') AS n`) == nil && left[0].N == 0
		}, time.Minute, 20*time.Millisecond, step)
		require.NoError(t, p.stop())

		mails := box.Mails()[before:]
		require.Len(t, mails, len(want), step)
		references, ids := map[string]bool{}, map[string]bool{}
		for i, m := range mails {
			references[mailReference.FindStringSubmatch(m.Text)[1]] = true
			ids[mailID.FindStringSubmatch(m.Text)[1]] = true
			assert.Equal(t, want[i], strings.Contains(m.Text, "REPEAT"), step)
		}
		assert.Len(t, references, 1, step)
		assert.Len(t, ids, 1, step)
	}
	var cases []struct{ Told int }
	require.NoError(t, s.query(&cases, `SELECT (SELECT COUNT(*) FROM notice n WHERE n.procedure_id = c.id) AS told FROM procedure_case c`))
	assert.Equal(t, []struct{ Told int }{{1}, {1}, {1}}, cases, "no case without its notice")
	text, err := s.command("audit", "verify")
	require.NoError(t, err, text)
}
