package help_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/help"
)

// TestPagesInEveryLanguage wants each page in both languages, with as many parts.
func TestPagesInEveryLanguage(t *testing.T) {
	for _, topic := range help.Topics() {
		en, err := help.Page(topic, "en")
		require.NoError(t, err)
		de, err := help.Page(topic, "de")
		require.NoError(t, err)
		assert.True(t, strings.HasPrefix(en, "# "), topic)
		assert.Equal(t, strings.Count(en, "\n\n"), strings.Count(de, "\n\n"), topic)
		assert.Equal(t, strings.Count(en, "`"), strings.Count(de, "`"), "commands of %s", topic)
	}
	_, err := help.Page("../help.go", "en")
	require.ErrorIs(t, err, help.ErrTopic)
	_, err = help.Page("tour", "fr")
	require.ErrorIs(t, err, help.ErrTopic)
}
