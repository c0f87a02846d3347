package web_test

import (
	"net/http"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/access"
	"afterbeam/internal/metric"
	"afterbeam/internal/store"
	"afterbeam/internal/upkeep"
	"afterbeam/internal/web/browsertest"
)

// Every alarm has its texts in each language; the English ones are those of the table.
func TestAlarmsHaveTheirTexts(t *testing.T) {
	for _, language := range []string{"en", "de"} {
		content, err := os.ReadFile("language/operations." + language + ".toml")
		require.NoError(t, err)
		var book struct {
			Operations map[string]any `toml:"operations"`
		}
		require.NoError(t, toml.Unmarshal(content, &book))
		for _, a := range metric.Alarms() {
			key := "alarm_" + strings.ReplaceAll(a.ID, "-", "_")
			require.Contains(t, book.Operations, key, language)
			require.Contains(t, book.Operations, key+"_do", language)
			if language == "en" {
				assert.Equal(t, a.Means, book.Operations[key])
				assert.Equal(t, a.Do, book.Operations[key+"_do"])
			}
		}
	}
}

// TestOperationsPage shows how the service stands to administrators alone, with the interface's own numbers.
func TestOperationsPage(t *testing.T) {
	r := newRig(t, nil)
	for _, role := range access.Roles() {
		if role == access.Service {
			continue
		}
		r.person(role, "who "+string(role), words)
		v := r.visitor()
		v.signIn("who "+string(role), words)
		want := http.StatusForbidden
		if role == access.Admin {
			want = http.StatusOK
		}
		assert.Equal(t, want, v.get("/operations").status, role)
	}
}

// TestOperationsInABrowser looks at the page before and after checks, light and dark, narrow and large.
func TestOperationsInABrowser(t *testing.T) {
	r := newRig(t, nil)
	r.person(access.Admin, anyone, words)
	w := browsertest.Open(t, r.server.URL)
	w.SignIn(anyone, words)
	w.Go("/operations")
	w.WaitForText("No backups are set up")
	w.WaitForText("not checked yet")
	_, err := upkeep.CheckChain(t.Context(), r.db)
	require.NoError(t, err)
	_, err = r.db.AddHold(t.Context(), store.System("test"), "", "an inquiry")
	require.NoError(t, err)
	r.upkeep.Backups = upkeep.Backups{Dir: t.TempDir(), Every: 24 * time.Hour, Keep: 7, Verify: true}
	_, err = r.upkeep.Backups.Make(t.Context(), r.db, "test", r.clock.Now)
	require.NoError(t, err)
	r.upkeep.Certificates = []upkeep.Certificate{{Name: "http", Ends: r.clock.Now().Add(100 * time.Hour)}}
	w.Go("/operations")
	w.WaitForText("Disk of the store")
	w.WaitForText("A certificate ends within 7 days")
	w.WaitForText("1, at most 7 stay")
	w.WaitForText("24 hours")
	w.WaitForText("4 days left")
	w.WaitForText("check of the audit chain")
	w.AxeInBothThemes()
	w.Picture("operations")
	w.Size(320, 800)
	w.FitsWidth()
	w.Picture("operations-narrow")
	w.Size(1280, 900)
	w.Zoom(200)
	w.FitsWidth()
}
