package notice_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"afterbeam/internal/followup/notice"
)

func TestLanguages(t *testing.T) {
	require.Equal(t, []string{"en", "de"}, notice.Languages().Tags())
}
