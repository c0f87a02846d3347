package browsertest

import (
	"os"
	"strings"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

// Finding is one rule that axe-core found broken: its name, how bad that is, what would be right, and what it says of each
// place.
type Finding struct {
	ID     string   `json:"id"`
	Impact string   `json:"impact"`
	Help   string   `json:"help"`
	Where  []string `json:"where"`
}

// String gives the finding in one line.
func (f Finding) String() string {
	return strings.ReplaceAll(f.Impact+", "+f.Help+" ("+f.ID+"): "+strings.Join(f.Where, " | "), "\n", " ")
}

// Axe checks the page with axe-core and wants nothing serious or critical. Without axe-core the test is skipped, or fails in
// continuous integration.
func (w *Window) Axe() {
	w.t.Helper()
	for _, f := range w.Findings() {
		if f.Impact == "serious" || f.Impact == "critical" {
			w.t.Errorf("%s: %s", w.Path(), f)
		} else {
			w.t.Logf("%s: %s", w.Path(), f)
		}
	}
}

// Findings gives what axe-core finds broken of the rules of WCAG 2.2 up to AA and of its best practices.
func (w *Window) Findings() []Finding {
	w.t.Helper()
	name := peer.NeedFile(w.t, Root(w.t), "scripts/browser/node_modules/axe-core/axe.min.js", "npm ci in scripts/browser")
	script, err := os.ReadFile(name)
	require.NoError(w.t, err)
	var found []Finding
	w.run(chromedp.Evaluate(string(script)+";0", nil))
	w.Value(`axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"], resultTypes: ["violations"]})
	  .then(r => r.violations.map(v => ({id: v.id, impact: v.impact || "", help: v.help, where: v.nodes.map(n => n.failureSummary)})))`, &found)
	return found
}

// AxeInBothThemes checks the page in light and in dark.
func (w *Window) AxeInBothThemes() {
	w.t.Helper()
	for _, theme := range []string{"dark", "light"} {
		w.Theme(theme)
		w.Axe()
	}
}
