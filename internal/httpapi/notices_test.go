package httpapi_test

import (
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/httpapi"
	"afterbeam/internal/quantity"
	"afterbeam/internal/store"
)

func preferring(path string) func(*rig, string) (string, string, []string) {
	return func(*rig, string) (string, string, []string) {
		return path + "/notice-preferences", `{"from":"notification","quiet_from":"22:00","quiet_to":"06:30"}`, nil
	}
}

// noticed makes a procedure in a room with a notice of it.
func (r *rig) noticed(room string) store.Notice {
	r.t.Helper()
	_, report, j := r.report(identity())
	content, err := json.Marshal(notice.Content{
		Room: room, Date: "2026-09-14", Time: "08:05", Class: "aortic_complex", State: "complete", Flag: "reached",
		Kerma: notice.Figure{Value: quantity.Some(5.21), Unit: "Gy", Shown: "5.21 Gy"},
		Levels: []notice.Level{{
			Scheme: "ncrp168", Title: "NCRP 168 substantial levels", ID: "kar", Meaning: "follow-up", Quantity: "kar", State: "reached", Basis: "reported",
			Shown: "5.21 Gy", ShownLevel: "5.00 Gy", Rank: notice.FollowUp,
		}},
	})
	require.NoError(r.t, err)
	ids, err := r.db.SaveAssessment(context.Background(), j, []store.Version{{
		Case: store.Case{
			StudyUID: report.StudyUID, DeviceKey: report.DeviceKey, PatientID: report.PatientID, Room: room, State: "complete", Start: r.clock.Now(),
			LocalDate: "2026-09-14", Class: "evar", FlagState: "reached",
		},
		Digest: report.StudyUID, Summary: []byte("{}"), Body: []byte("body"),
		Notice: &store.NewNotice{Kind: notice.First, Rank: notice.FollowUp, Urgent: true, Content: content},
	}})
	require.NoError(r.t, err)
	n, err := r.db.LastNotice(context.Background(), ids[0])
	require.NoError(r.t, err)
	return n
}

func TestNotices(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.Notices.Base = "https://afterbeam.example.org" })
	ctx := context.Background()
	token, operator := r.account(access.Operator, []string{own})
	n := r.noticed(own)
	require.NoError(t, r.db.PlaceNotice(ctx, n, []store.Placement{{Account: operator.ID, Channel: "outbox", Due: r.clock.Now()}}, ""))
	due, err := r.db.MessagesDue(ctx, "outbox", 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
	a, err := r.db.BeginAttempt(ctx, due[0].ID)
	require.NoError(t, err)
	require.NoError(t, r.db.EndAttempt(ctx, due[0], a, store.EndingSent, "", time.Time{}))

	from := r.head()
	var list httpapi.NoticeList
	r.ask(http.MethodGet, "/v1/procedures/"+n.CaseID+"/notices", token, "").into(t, &list)
	require.Len(t, list.Notices, 1)
	assert.Equal(t, n.ID, list.Notices[0].Reference)
	require.Len(t, list.Notices[0].Messages, 1)
	assert.Equal(t, httpapi.NoticeMessageState("sent"), list.Notices[0].Messages[0].State)
	require.Len(t, list.Notices[0].Messages[0].Attempts, 1, "who was told what and when")
	assert.Empty(t, list.Acknowledgements)

	var whole httpapi.NoticeDetail
	r.ask(http.MethodGet, "/v1/notices/"+n.ID+"?language=de", token, "").into(t, &whole)
	assert.Contains(t, whole.Text, "Ka,r 5,21 Gy (berichtet), Schwelle 5,00 Gy: Nachsorge")
	assert.Contains(t, whole.Text, "https://afterbeam.example.org/cases/"+n.CaseID)
	for _, secret := range planted() {
		assert.NotContains(t, whole.Subject+whole.Text+string(whole.Content), secret)
	}
	assert.Equal(t, 400, r.ask(http.MethodGet, "/v1/notices/"+n.ID+"?language=xx", token, "").status)

	var first, again httpapi.Acknowledgement
	r.ask(http.MethodPost, "/v1/procedures/"+n.CaseID+"/acknowledge", token, "{}").into(t, &first)
	r.clock.Pass(10 * time.Minute)
	r.ask(http.MethodPost, "/v1/procedures/"+n.CaseID+"/acknowledge", token, `{"version":1}`).into(t, &again)
	assert.Equal(t, first, again, "the first time stands")
	assert.Equal(t, operator.ID, first.AccountId)
	assert.Equal(t, 404, r.ask(http.MethodPost, "/v1/procedures/"+n.CaseID+"/acknowledge", token, `{"version":2}`).status)
	r.ask(http.MethodGet, "/v1/procedures/"+n.CaseID+"/notices", token, "").into(t, &list)
	assert.Equal(t, []httpapi.Acknowledgement{first}, list.Acknowledgements)

	assert.Equal(t, 202, r.ask(http.MethodPost, "/v1/notices/"+n.ID+"/resend", token, reason).status)
	due, err = r.db.MessagesDue(ctx, "outbox", 10)
	require.NoError(t, err)
	require.Len(t, due, 1)
	a, err = r.db.BeginAttempt(ctx, due[0].ID)
	require.NoError(t, err)
	assert.True(t, a.Repeat)
	did := strings.Join(r.actions(from), "\n")
	for _, want := range []string{"notices.list " + n.CaseID, "notice.view " + n.ID, "procedure.acknowledge " + n.CaseID + "/1", "notice.resend " + n.ID} {
		assert.Contains(t, did, want)
	}
	assert.Equal(t, 1, strings.Count(did, "procedure.acknowledge"), "said again it is no second record")
}

func TestNoticePreferences(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) {
		c.Notices = httpapi.Notices{Policy: notice.Policy{From: notice.Notification, Language: "en"}, Channels: []string{"mail", "outbox"}, Domains: []string{"example.org"}}
	})
	token, operator := r.account(access.Operator, []string{own})
	admin, _ := r.account(access.Admin, nil)
	var d httpapi.NoticePreferencesDetail
	r.ask(http.MethodGet, "/v1/me/notice-preferences", token, "").into(t, &d)
	assert.Equal(t, "notification", d.Holds.From)
	assert.Equal(t, []string{"mail", "outbox"}, d.Holds.Channels)
	answer := r.ask(http.MethodPut, "/v1/me/notice-preferences", token, `{"language":"de","digest_at":"07:00","channels":["mail"],"mail":"surgeon.a@example.org"}`)
	require.Equal(t, 200, answer.status, "%s", answer.body)
	answer.into(t, &d)
	assert.Equal(t, "de", d.Holds.Language)
	assert.Equal(t, "notification", d.Holds.From, "what is left out is the site's")
	r.ask(http.MethodGet, "/v1/accounts/"+operator.ID+"/notice-preferences", admin, "").into(t, &d)
	assert.Equal(t, "surgeon.a@example.org", *d.Chosen.Mail)
	for name, body := range map[string]string{
		"a language that there is not": `{"language":"xx"}`,
		"half a quiet time":            `{"quiet_from":"22:00"}`,
		"a channel of another site":    `{"channels":["webhook"]}`,
		"no address":                   `{"mail":"Surgeon <surgeon.a@example.org>"}`,
		"another header":               `{"mail":"a@example.org\r\nBcc: b@example.org"}`,
		"a domain not allowed":         `{"mail":"surgeon@elsewhere.example"}`,
		"an hour that there is not":    `{"digest_at":"25:00"}`,
		"something else":               `{"sms":"123"}`,
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, 400, r.ask(http.MethodPut, "/v1/me/notice-preferences", token, body).status)
		})
	}
	assert.Equal(t, 404, r.ask(http.MethodGet, "/v1/accounts/"+strings.Repeat("a", 24)+"/notice-preferences", admin, "").status)
}

func TestNoticeChannels(t *testing.T) {
	r := newRig(t, func(c *httpapi.Config) { c.Notices.Channels = []string{"mail"} })
	ctx := context.Background()
	admin, _ := r.account(access.Admin, nil)
	_, operator := r.account(access.Operator, []string{own})
	n := r.noticed(own)
	require.NoError(t, r.db.PlaceNotice(ctx, n, []store.Placement{{Account: operator.ID, Channel: "mail", Due: r.clock.Now()}}, ""))
	due, err := r.db.MessagesDue(ctx, "mail", 10)
	require.NoError(t, err)
	a, err := r.db.BeginAttempt(ctx, due[0].ID)
	require.NoError(t, err)
	require.NoError(t, r.db.EndAttempt(ctx, due[0], a, store.EndingNotSent, "mail: no connection to the server", r.clock.Now().Add(time.Minute)))
	r.clock.Pass(10 * time.Minute)
	var list httpapi.NoticeChannelList
	r.ask(http.MethodGet, "/v1/notice-channels", admin, "").into(t, &list)
	require.Len(t, list.Channels, 2)
	mail := list.Channels[1]
	assert.Equal(t, "mail", mail.Channel)
	assert.Equal(t, 1, mail.Waiting)
	require.NotNil(t, mail.FailingFrom)
	assert.Equal(t, "mail: no connection to the server", *mail.Error)
	assert.Contains(t, r.scrape(), `afterbeam_notice_channel_failing_seconds{channel="mail"} 600`)
}
