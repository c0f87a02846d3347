package outbox_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/deliver/outbox"
	"afterbeam/internal/followup/notice"
)

func TestOutbox(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "made", "when missing")
	f := outbox.Folder{Dir: dir}
	m := notice.Message{ID: "abc", Account: "acc", Subject: "Please look", Text: "text\n", Data: []byte("[]"), Pictures: []notice.Picture{{Name: "x.png", PNG: []byte("png")}}}
	require.NoError(t, f.Send(context.Background(), m))
	m.Text = "REPEAT\n"
	require.NoError(t, f.Send(context.Background(), m), "a repeat takes the place of the files")
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	names := []string{}
	for _, e := range entries {
		names = append(names, e.Name())
	}
	assert.Equal(t, []string{"abc-1.png", "abc.json", "abc.txt"}, names, "whole files alone, named by the message")
	text, err := os.ReadFile(filepath.Join(dir, "abc.txt"))
	require.NoError(t, err)
	assert.Equal(t, "Subject: Please look\nFor account: acc\nMessage: abc\n\nREPEAT\n", string(text))
}

func TestOutboxThatCannotBeWritten(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(file, nil, 0o600))
	err := outbox.Folder{Dir: filepath.Join(file, "below")}.Send(context.Background(), notice.Message{ID: "abc"})
	require.ErrorContains(t, err, "outbox: make folder")
	assert.NotContains(t, err.Error(), file, "it is kept and sent to others")
}
