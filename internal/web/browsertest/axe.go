package browsertest

import (
	"os"
	"strings"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

// finding is one rule that axe-core found broken.
type finding struct {
	ID, Impact, Help string
	Nodes            []struct {
		Target  []any
		Summary string `json:"failureSummary"`
	}
}

// Axe checks the page with axe-core, by the rules of WCAG 2.2 up to AA and its best practices, and wants nothing serious or
// critical. Without axe-core the test is skipped, or fails in continuous integration.
func (w *Window) Axe() {
	w.t.Helper()
	name := peer.NeedFile(w.t, Root(w.t), "scripts/browser/node_modules/axe-core/axe.min.js", "npm ci in scripts/browser")
	script, err := os.ReadFile(name)
	require.NoError(w.t, err)
	var found []finding
	w.run(chromedp.Evaluate(string(script)+";0", nil))
	w.Value(`axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], resultTypes: ["violations"]})
	  .then(r => r.violations.map(v => ({ID: v.id, Impact: v.impact || "", Help: v.help, Nodes: v.nodes.map(n => ({Target: n.target, failureSummary: n.failureSummary}))})))`, &found)
	for _, f := range found {
		var where []string
		for _, n := range f.Nodes {
			where = append(where, strings.ReplaceAll(n.Summary, "\n", " "))
		}
		if f.Impact == "serious" || f.Impact == "critical" {
			w.t.Errorf("%s: %s (%s): %s", w.Path(), f.Help, f.ID, strings.Join(where, " | "))
		} else {
			w.t.Logf("%s: %s, %s (%s): %s", w.Path(), f.Impact, f.Help, f.ID, strings.Join(where, " | "))
		}
	}
}

// AxeInBothThemes checks the page in light and in dark.
func (w *Window) AxeInBothThemes() {
	w.t.Helper()
	for _, theme := range []string{"dark", "light"} {
		w.Theme(theme)
		w.Axe()
	}
}
