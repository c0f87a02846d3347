package browsertest

import (
	"fmt"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// mostSteps is how many steps of the tab key a walk takes before it gives up.
const mostSteps = 300

// focused is what holds the focus.
type focused struct {
	Name    string  // what a screen reader says of it, roughly
	Visible bool    // it shows that it has the focus
	Hidden  bool    // something else lies over its middle
	Height  float64 // in CSS pixels
	Matches bool
}

// describe is a function that describes the element with the focus. What covers its middle hides it (WCAG 2.2, 2.4.11).
const describe = `(selector => {
  const e = document.activeElement;
  if (!e || e === document.body) return {Name: "", Visible: true, Hidden: false, Height: 0, Matches: false};
  const style = getComputedStyle(e), box = e.getBoundingClientRect();
  const x = box.left + box.width / 2, y = box.top + box.height / 2;
  const top = document.elementFromPoint(x, y);
  const label = e.labels && e.labels.length ? e.labels[0].innerText : "";
  return {
    Name: (e.getAttribute("aria-label") || label || e.innerText || e.name || e.id || "").trim(),
    Visible: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2,
    Hidden: !(top && (top === e || e.contains(top) || top.contains(e))),
    Height: box.height,
    Matches: e.matches(selector),
  };
})(%q)`

// Press sends keys to what has the focus: text, or keys of package kb such as kb.Enter.
func (w *Window) Press(keys string) {
	w.t.Helper()
	w.run(chromedp.KeyEvent(keys))
}

// Reach walks by the tab key from where the focus is to what a CSS selector finds. Every step on the way must show the focus,
// uncovered.
func (w *Window) Reach(selector string) {
	w.t.Helper()
	for range mostSteps {
		w.Press(kb.Tab)
		var f focused
		w.Value(fmt.Sprintf(describe, selector), &f)
		require.True(w.t, f.Visible, "the focus on %q does not show", f.Name)
		require.False(w.t, f.Hidden, "the focus on %q is covered", f.Name)
		if f.Matches {
			return
		}
	}
	w.t.Fatalf("%s is not reached by keyboard on %s", selector, w.Path())
}
