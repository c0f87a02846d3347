package mail_test

import (
	"context"
	"errors"
	"io"
	"mime"
	"mime/multipart"
	netmail "net/mail"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"afterbeam/internal/deliver/mail"
	"afterbeam/internal/followup/notice"
	"afterbeam/internal/peer/mailbox"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func sender(t *testing.T, s *mailbox.Server, change func(*mail.Config)) *mail.Sender {
	t.Helper()
	cfg := mail.Config{Server: s.Address, From: "afterbeam@saltmarsh.example", Encryption: mail.StartTLS, Authority: s.Authority, Helo: "test", Timeout: 5 * time.Second}
	if change != nil {
		change(&cfg)
	}
	out, err := mail.New(cfg)
	require.NoError(t, err)
	return out
}

func message() notice.Message {
	return notice.Message{
		ID: "abcdefghij234567", Address: "surgeon.a@saltmarsh.example", Subject: "Bitte sehen Sie einen Fall an: größer", Language: "de", Urgent: true,
		Text: "first line\nhöchste Hautdosis 2,99 Gy\n", Pictures: []notice.Picture{{Name: "skin-dose-x.png", PNG: []byte("\x89PNG picture")}},
	}
}

func TestMailIsTaken(t *testing.T) {
	box := mailbox.New(t)
	require.NoError(t, sender(t, box, nil).Send(context.Background(), message()))
	mails := box.Mails()
	require.Len(t, mails, 1)
	assert.True(t, mails[0].Encrypted)
	assert.Equal(t, "surgeon.a@saltmarsh.example", mails[0].To)
	got, err := netmail.ReadMessage(strings.NewReader(mails[0].Text))
	require.NoError(t, err)
	subject, err := new(mime.WordDecoder).DecodeHeader(got.Header.Get("Subject"))
	require.NoError(t, err)
	assert.Equal(t, message().Subject, subject)
	assert.Equal(t, "<abcdefghij234567@saltmarsh.example>", got.Header.Get("Message-ID"))
	assert.Equal(t, "auto-generated", got.Header.Get("Auto-Submitted"))
	_, params, err := mime.ParseMediaType(got.Header.Get("Content-Type"))
	require.NoError(t, err)
	parts := multipart.NewReader(got.Body, params["boundary"])
	text, err := parts.NextPart()
	require.NoError(t, err)
	body, err := io.ReadAll(text)
	require.NoError(t, err)
	assert.Equal(t, message().Text, strings.ReplaceAll(string(body), "\r\n", "\n"))
	picture, err := parts.NextPart()
	require.NoError(t, err)
	assert.Equal(t, "skin-dose-x.png", picture.FileName())
}

// What a failure means: tried again, may have been delivered, or never. No text repeats an address or what the server said.
func TestMailFailures(t *testing.T) {
	never, unsure := notice.ErrNever, notice.ErrUnsure
	for mood, want := range map[mailbox.Mood]struct {
		kind  error
		taken int
		text  string
	}{
		mailbox.Refuses: {never, 0, "550"},
		mailbox.Rejects: {never, 0, "554"},
		mailbox.Busy:    {nil, 0, "451"},
		mailbox.Half:    {unsure, 1, "no answer after the message"},
		mailbox.Away:    {nil, 0, "no con"},
		mailbox.Slow:    {nil, 0, "too long"},
		mailbox.Plain:   {nil, 0, "does not encrypt"},
	} {
		t.Run(string(mood), func(t *testing.T) {
			box := mailbox.New(t)
			box.Becomes(mood)
			err := sender(t, box, func(c *mail.Config) {
				if mood == mailbox.Slow {
					c.Timeout = 200 * time.Millisecond
				}
			}).Send(context.Background(), message())
			require.Error(t, err)
			assert.Equal(t, errors.Is(want.kind, never), errors.Is(err, never))
			assert.Equal(t, errors.Is(want.kind, unsure), errors.Is(err, unsure))
			assert.Len(t, box.Mails(), want.taken)
			assert.Contains(t, err.Error(), want.text)
			assert.NotContains(t, err.Error(), "surgeon")
			assert.NotContains(t, err.Error(), "nobody here")
		})
	}
}

func TestMailWantsAServerThatIsKnown(t *testing.T) {
	box := mailbox.New(t)
	err := sender(t, box, func(c *mail.Config) { c.Authority = "" }).Send(context.Background(), message())
	require.ErrorContains(t, err, "certificate is not believed")
	assert.Empty(t, box.Mails())
	require.NoError(t, sender(t, box, func(c *mail.Config) { c.Encryption = mail.None }).Send(context.Background(), message()), "where the settings say so")
	assert.False(t, box.Mails()[0].Encrypted)
}

func TestMailConfig(t *testing.T) {
	for name, cfg := range map[string]mail.Config{
		"no port":      {Server: "mail.example.org", From: "a@example.org"},
		"no sender":    {Server: "mail.example.org:25", From: "nobody"},
		"no authority": {Server: "mail.example.org:25", From: "a@example.org", Authority: "/nowhere"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := mail.New(cfg)
			require.Error(t, err)
		})
	}
	address := message()
	address.Address = "two@example.org, three@example.org"
	box := mailbox.New(t)
	require.ErrorIs(t, sender(t, box, nil).Send(context.Background(), address), notice.ErrNever)
}
