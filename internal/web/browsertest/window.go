package browsertest

import (
	"bytes"
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"afterbeam/internal/peer"
)

// within bounds every step: far above what one takes, since the machine may be busy.
const within = 60 * time.Second

// picturesVariable names the folder of pictures.
const picturesVariable = "AFTERBEAM_SCREENSHOTS"

// chromium is one browser for all tests of a package; every window has cookies of its own in it.
type chromium struct {
	once   sync.Once
	ctx    context.Context
	cancel func()
	err    error
}

var shared chromium //nolint:gochecknoglobals // one browser for the tests of a package, ended by Main

func (c *chromium) start(path string) error {
	c.once.Do(func() {
		options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.WindowSize(1280, 900),
			chromedp.Flag("force-color-profile", "srgb"), chromedp.Flag("lang", "en-US"))
		allocator, endAllocator := chromedp.NewExecAllocator(context.Background(), options...)
		ctx, endBrowser := chromedp.NewContext(allocator)
		c.ctx, c.cancel = ctx, func() { endBrowser(); endAllocator() }
		c.err = chromedp.Run(ctx)
	})
	return c.err
}

// newTarget opens a window with cookies of its own. It asks for a window in so many words: Chromium without one opens no tab
// for new cookies.
func (c *chromium) newTarget() (target.ID, error) {
	var id target.ID
	err := chromedp.Run(c.ctx, chromedp.ActionFunc(func(ctx context.Context) error {
		ctx = cdp.WithExecutor(ctx, chromedp.FromContext(ctx).Browser)
		own, err := target.CreateBrowserContext().Do(ctx)
		if err != nil {
			return err
		}
		id, err = target.CreateTarget("about:blank").WithBrowserContextID(own).WithNewWindow(true).Do(ctx)
		return err
	}))
	return id, err
}

// Main runs the tests of a package, then ends browser and demonstration. A TestMain gives its result to os.Exit.
func Main(m *testing.M) int {
	code := m.Run()
	if shared.cancel != nil {
		shared.cancel()
	}
	if err := running.stop(); err != nil {
		_, _ = fmt.Fprintln(os.Stderr, "browsertest:", err)
		return max(code, 1)
	}
	return code
}

// Window is a page of a browser with cookies of its own.
type Window struct {
	t      testing.TB
	ctx    context.Context
	base   *url.URL
	clicks int

	mu     sync.Mutex
	faults []string
	bytes  int64
}

// Open opens a window on a service, such as http://127.0.0.1:8480. Without chromium the test is skipped, or fails in continuous
// integration.
func Open(t testing.TB, base string) *Window {
	t.Helper()
	leaveToOthers(t)
	require.NoError(t, shared.start(peer.Need(t, "chromium")))
	id, err := shared.newTarget()
	require.NoError(t, err)
	ctx, end := chromedp.NewContext(shared.ctx, chromedp.WithTargetID(id))
	t.Cleanup(end)
	// The window ends with the context of its first step, so that the limit is a clock beside it.
	late := time.AfterFunc(within, end)
	require.NoError(t, chromedp.Run(ctx))
	late.Stop()
	u, err := url.Parse(base)
	require.NoError(t, err)
	w := &Window{t: t, ctx: ctx, base: u}
	chromedp.ListenTarget(ctx, w.heard)
	w.run(network.Enable(), log.Enable(), runtime.Enable(), page.Enable())
	t.Cleanup(w.faultless)
	return w
}

// heard notes what must not happen.
func (w *Window) heard(event any) {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch e := event.(type) {
	case *network.EventRequestWillBeSent:
		u, err := url.Parse(e.Request.URL)
		if err != nil || (u.Host != w.base.Host && u.Scheme != "chrome-extension" && u.Scheme != "about" && u.Scheme != "data") {
			w.faults = append(w.faults, "request to another place: "+e.Request.URL)
		}
	case *network.EventLoadingFinished:
		w.bytes += int64(e.EncodedDataLength)
	case *runtime.EventExceptionThrown:
		w.faults = append(w.faults, "script: "+e.ExceptionDetails.Error())
	case *log.EventEntryAdded:
		if e.Entry.Source == log.SourceSecurity || strings.Contains(e.Entry.Text, "Content Security Policy") {
			w.faults = append(w.faults, "policy: "+e.Entry.Text)
		}
	}
}

func (w *Window) faultless() {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, fault := range w.faults {
		w.t.Error(fault)
	}
}

// run does steps within the limit.
func (w *Window) run(actions ...chromedp.Action) {
	w.t.Helper()
	ctx, cancel := context.WithTimeout(w.ctx, within)
	defer cancel()
	if err := chromedp.Run(ctx, actions...); err != nil {
		var where, text string
		_ = chromedp.Run(w.ctx, chromedp.Location(&where), chromedp.Evaluate(`document.body ? document.body.innerText.slice(0, 1500) : ""`, &text))
		w.t.Fatalf("%v\nat %s:\n%s", err, where, text)
	}
}

// Go opens a path of the service and waits until it is loaded. What was loaded before is not counted by Weight any more.
func (w *Window) Go(path string) {
	w.t.Helper()
	w.mu.Lock()
	w.bytes = 0
	w.mu.Unlock()
	w.run(chromedp.Navigate(w.base.String()+path), chromedp.WaitReady("main", chromedp.ByQuery))
}

// Weight is how many bytes came over the wire since Go.
func (w *Window) Weight() int64 {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.bytes
}

// Path is where the window is, with the query.
func (w *Window) Path() string {
	w.t.Helper()
	var at string
	w.run(chromedp.Location(&at))
	return strings.TrimPrefix(at, w.base.String())
}

// Fill writes into the field of a CSS selector, in place of what is there.
func (w *Window) Fill(selector, text string) {
	w.t.Helper()
	w.run(chromedp.WaitVisible(selector, chromedp.ByQuery), chromedp.Evaluate(fmt.Sprintf("document.querySelector(%q).value = \"\"", selector), nil), chromedp.SendKeys(selector, text, chromedp.ByQuery))
}

// leaveToOthers skips under the race detector, which makes the service too slow for the limits of a window.
func leaveToOthers(t testing.TB) {
	t.Helper()
	if raced {
		t.Skip("the race detector slows the service beyond the limits of a window: the ordinary run opens it")
	}
}

// Choose takes the choice with a value in the list of a CSS selector, which counts as a click.
func (w *Window) Choose(selector, value string) {
	w.t.Helper()
	w.clicks++
	w.run(chromedp.WaitVisible(selector, chromedp.ByQuery), chromedp.SetValue(selector, value, chromedp.ByQuery))
}

// Click clicks what a CSS selector finds, and counts it. A click that leads to another page is followed by WaitFor.
func (w *Window) Click(selector string) {
	w.t.Helper()
	w.clicks++
	w.run(chromedp.WaitVisible(selector, chromedp.ByQuery), chromedp.ScrollIntoView(selector, chromedp.ByQuery), chromedp.Click(selector, chromedp.ByQuery))
}

// Clicks is how many clicks there were since the window was opened or NoClicks.
func (w *Window) Clicks() int { return w.clicks }

// NoClicks begins to count anew.
func (w *Window) NoClicks() { w.clicks = 0 }

// WaitFor waits until a CSS selector finds something visible.
func (w *Window) WaitFor(selector string) {
	w.t.Helper()
	w.until(fmt.Sprintf("[...document.querySelectorAll(%q)].some(e => e.getClientRects().length > 0)", selector), selector)
}

// WaitForText waits until the page holds a text.
func (w *Window) WaitForText(text string) {
	w.t.Helper()
	w.until(fmt.Sprintf("document.body.innerText.includes(%q)", text), text)
}

// until waits until an expression holds on a page that is loaded. A page that goes away meanwhile is asked again where it led.
func (w *Window) until(expression, what string) {
	w.t.Helper()
	deadline := time.Now().Add(within)
	for {
		var held bool
		ctx, cancel := context.WithTimeout(w.ctx, within)
		err := chromedp.Run(ctx, chromedp.Evaluate("document.readyState === 'complete' && !!document.body && "+expression, &held))
		cancel()
		if held && err == nil {
			return
		}
		if time.Now().After(deadline) {
			w.run(chromedp.ActionFunc(func(context.Context) error { return fmt.Errorf("%q did not come", what) }))
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// Text gives the visible text of what a CSS selector finds.
func (w *Window) Text(selector string) string {
	w.t.Helper()
	var text string
	w.run(chromedp.Text(selector, &text, chromedp.ByQuery))
	return text
}

// Value evaluates an expression of JavaScript in the page into to.
func (w *Window) Value(expression string, to any) {
	w.t.Helper()
	w.run(chromedp.Evaluate(expression, to, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
}

// SignIn signs in by name and password.
func (w *Window) SignIn(name, password string) {
	w.t.Helper()
	w.Go("/sign-in")
	w.Fill("#account", name)
	w.Fill("#password", password)
	w.Click("main button.main")
	w.WaitFor(".who strong")
}

// Theme has the system ask for light or dark pages.
func (w *Window) Theme(theme string) {
	w.t.Helper()
	w.run(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: theme}}))
}

// Size makes the window so wide and high, in CSS pixels.
func (w *Window) Size(width, height int64) {
	w.t.Helper()
	w.run(emulation.SetDeviceMetricsOverride(width, height, 1, false))
}

// Zoom shows the page enlarged, as a browser's zoom does: fewer CSS pixels in the same window of 1280 by 900.
func (w *Window) Zoom(percent int64) {
	w.t.Helper()
	w.run(emulation.SetDeviceMetricsOverride(1280*100/percent, 900*100/percent, float64(percent)/100, false))
}

// FitsWidth wants the page to need no scrolling sideways; what scrolls by itself, as wide tables do, may be wider.
func (w *Window) FitsWidth() {
	w.t.Helper()
	var over int
	w.Value("document.documentElement.scrollWidth - document.documentElement.clientWidth", &over)
	require.LessOrEqual(w.t, over, 0, "the page %s is %d px too wide", w.Path(), over)
}

// Picture leaves a PNG of the whole page in the folder of AFTERBEAM_SCREENSHOTS.
func (w *Window) Picture(name string) {
	w.t.Helper()
	dir := os.Getenv(picturesVariable)
	if dir == "" {
		return
	}
	var png []byte
	w.run(chromedp.FullScreenshot(&png, 100))
	require.NoError(w.t, os.MkdirAll(dir, 0o750))                                   //nolint:gosec // the tester's own folder
	require.NoError(w.t, os.WriteFile(filepath.Join(dir, name+".png"), png, 0o600)) //nolint:gosec // the tester's own folder
}

// Print gives the page as PDF, as a person's printer would have it.
func (w *Window) Print() []byte {
	w.t.Helper()
	var pdf []byte
	w.run(chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = page.PrintToPDF().WithPreferCSSPageSize(true).WithPrintBackground(true).Do(ctx)
		return err
	}))
	return pdf
}

// TextOf gives the text of a PDF, by poppler's pdftotext.
func TextOf(t testing.TB, pdf []byte) string {
	t.Helper()
	command := exec.CommandContext(t.Context(), peer.Need(t, "pdftotext"), "-layout", "-", "-") //nolint:gosec // found on the path
	command.Stdin = bytes.NewReader(pdf)
	text, err := command.Output()
	require.NoError(t, err)
	return string(text)
}
