package webtest

import (
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	cdplog "github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
	"github.com/stretchr/testify/require"
)

// Environment variables for looking at pages.
const (
	// AxeVariable names the file axe.min.js of the npm package axe-core.
	AxeVariable = "STILLROOM_AXE"
	// ScreenshotsVariable names a folder that screenshots are put in.
	ScreenshotsVariable = "STILLROOM_SCREENSHOTS"
)

// patience bounds one step in the browser. It is long for machines that do much else; no step waits for it in vain.
const patience = 30 * time.Second

// chromium is the one browser process of a package's tests; each Browser is a profile of its own in it.
var chromium struct {
	once   sync.Once
	ctx    context.Context
	cancel []context.CancelFunc
	err    error
}

func closeChromium() {
	for _, cancel := range chromium.cancel {
		cancel()
	}
}

// startChromium skips the test when there is no Chromium on the machine; in CI it fails.
func startChromium(t testing.TB) context.Context {
	t.Helper()
	var path string
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil {
			path = p
			break
		}
	}
	if path == "" {
		missing(t, "there is no chromium on this machine (Debian: chromium)")
	}
	chromium.once.Do(func() {
		options := append(slices.Clone(chromedp.DefaultExecAllocatorOptions[:]), chromedp.ExecPath(path), chromedp.Flag("disable-dev-shm-usage", true),
			chromedp.Flag("font-render-hinting", "none"), chromedp.WSURLReadTimeout(patience))
		if os.Geteuid() == 0 {
			options = append(options, chromedp.NoSandbox)
		}
		ctx, cancel := chromedp.NewExecAllocator(context.Background(), options...)
		chromium.cancel = append(chromium.cancel, cancel)
		ctx, cancel = chromedp.NewContext(ctx)
		chromium.cancel = append([]context.CancelFunc{cancel}, chromium.cancel...)
		chromium.ctx, chromium.err = ctx, chromedp.Do(ctx) //nolint:fatcontext // once: it is the browser's own
	})
	require.NoError(t, chromium.err, "starting %s", path)
	return chromium.ctx
}

func missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatal(what)
	}
	t.Skip(what)
}

// Browser is one visitor's browser: cookies of its own, 1280 by 900 unless Phone was called.
type Browser struct {
	kitchen *Kitchen
	t       testing.TB
	ctx     context.Context

	mu     sync.Mutex
	faults []string
}

// Browser opens a browser, signed in with a token unless that is empty. What the page's
// scripts throw and what its policy stops fails the test.
func (k *Kitchen) Browser(token string) *Browser {
	k.t.Helper()
	if testing.Short() {
		k.t.Skip("a browser takes long")
	}
	ctx, cancel := chromedp.NewContext(startChromium(k.t), chromedp.WithNewBrowserContext())
	k.t.Cleanup(cancel)
	b := &Browser{kitchen: k, t: k.t, ctx: ctx}
	require.NoError(k.t, chromedp.Listen(ctx, func(ev any) {
		switch ev := ev.(type) {
		case *runtime.EventExceptionThrown:
			b.fault(fmt.Sprintf("%+v", ev.ExceptionDetails))
		case *cdplog.EventEntryAdded:
			if ev.Entry.Source == "security" || strings.Contains(ev.Entry.Text, "Content Security Policy") {
				b.fault(ev.Entry.Text)
			}
		}
	}))
	k.t.Cleanup(func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		require.Empty(k.t, b.faults, "what the browser complained of")
	})
	b.Run(chromedp.EmulateViewport(1280, 900))
	if token != "" {
		b.Open("/sign-in")
		b.Fill("token", token)
		b.Click("Sign in")
		b.WaitFor(`location.pathname !== "/sign-in"`)
	}
	return b
}

func (b *Browser) fault(text string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.faults = append(b.faults, text)
}

// Phone makes the browser a telephone's: 390 by 844, with touch.
func (b *Browser) Phone() {
	b.t.Helper()
	b.Run(chromedp.EmulateViewport(390, 844, chromedp.EmulateScale(2), chromedp.EmulateMobile, chromedp.EmulateTouch))
}

// Dark makes the browser one that prefers dark pages.
func (b *Browser) Dark() {
	b.t.Helper()
	b.Run(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
			Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: "dark"}}})
		return chromedp.Void{}, err
	})
}

// Reflows checks that the page needs no scrolling to the side on a screen 320 pixels wide, as 1,280 pixels are at
// 400 % (WCAG 2.2, success criterion 1.4.10), and that what is pressed on it is 24 pixels high and wide at least
// (2.5.8), or a link within a sentence. The browser keeps that width.
func (b *Browser) Reflows() {
	b.t.Helper()
	b.Run(chromedp.EmulateViewport(320, 800, chromedp.EmulateMobile, chromedp.EmulateTouch))
	b.WaitFor("innerWidth === 320")
	require.Empty(b.t, b.Value(`document.documentElement.scrollWidth <= 320 ? "" : [...document.querySelectorAll("main *")].filter(e => e.getBoundingClientRect().right > 321).map(e => e.outerHTML.slice(0, 120)).join("\n")`), b.Path())
	require.Empty(b.t, b.Value(`[...document.querySelectorAll("button, summary, select, input:not([type=hidden], [type=checkbox], [type=radio]), .tags a, a.button")].filter(e => e.checkVisibility()).filter(e => { const r = e.getBoundingClientRect(); return r.width < 24 || r.height < 24; }).map(e => e.outerHTML.slice(0, 120)).join("\n")`), b.Path())
}

// WithoutScripts keeps pages from running scripts from the next one on; what a test asks of the page is still answered.
func (b *Browser) WithoutScripts() {
	b.t.Helper()
	b.Run(func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
		_, err := cdp.Call(ctx, t, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
		return chromedp.Void{}, err
	})
}

// LargeText doubles the size of the page's text.
func (b *Browser) LargeText() {
	b.t.Helper()
	b.do(`document.documentElement.style.fontSize = "200%"`)
}

// Run does what chromedp can do.
func (b *Browser) Run(actions ...chromedp.Action[chromedp.Void]) {
	b.t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	if err := chromedp.Do(ctx, actions...); err != nil {
		require.NoError(b.t, err, "the page showed:\n%s", b.glance())
	}
}

// glance is what the page shows, for a test that failed.
func (b *Browser) glance() string {
	ctx, cancel := context.WithTimeout(b.ctx, 5*time.Second)
	defer cancel()
	text, err := chromedp.Run(ctx, chromedp.Evaluate[string](`location.href + "\n" + (document.body ? document.body.innerText : "")`))
	if err != nil {
		return err.Error()
	}
	return text
}

// Open goes to a path of the pages.
func (b *Browser) Open(path string) {
	b.t.Helper()
	b.Run(chromedp.Navigate(b.kitchen.URL + path))
}

// Path is the path that the browser is at.
func (b *Browser) Path() string {
	b.t.Helper()
	return b.Value("location.pathname")
}

// Value is the text that a script gives.
func (b *Browser) Value(script string) string {
	b.t.Helper()
	v, err := evaluate[any](b, script)
	require.NoError(b.t, err, "%s; the page showed:\n%s", script, b.glance())
	return fmt.Sprint(v)
}

// evaluate runs a script in the page and gives its value.
func evaluate[T any](b *Browser, script string, more ...chromedp.EvaluateOption) (T, error) {
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	return chromedp.Run(ctx, chromedp.Evaluate[T](script, more...))
}

// do runs a script in the page for what it does.
func (b *Browser) do(script string) {
	b.t.Helper()
	_, err := evaluate[chromedp.Void](b, script)
	require.NoError(b.t, err, "%s; the page showed:\n%s", script, b.glance())
}

// WaitFor waits until a script's expression is true; it outlives the page it was asked on.
func (b *Browser) WaitFor(expression string) {
	b.t.Helper()
	deadline := time.Now().Add(patience)
	for {
		is, err := evaluate[bool](b, "Boolean("+expression+")")
		if err == nil && is {
			return
		}
		if time.Now().After(deadline) {
			require.Fail(b.t, "never true: "+expression, "last error %v; the page showed:\n%s", err, b.glance())
		}
		time.Sleep(30 * time.Millisecond)
	}
}

// quote writes a text as a script does.
func quote(s string) string {
	q, err := json.Marshal(s)
	if err != nil {
		panic(err) // texts can be written
	}
	return string(q)
}

// Sees waits until the page shows a text.
func (b *Browser) Sees(text string) {
	b.t.Helper()
	b.WaitFor("document.body && document.body.innerText.includes(" + quote(text) + ")")
}

// SeesNot waits until the page shows a text no more.
func (b *Browser) SeesNot(text string) {
	b.t.Helper()
	b.WaitFor("document.body && !document.body.innerText.includes(" + quote(text) + ")")
}

// named finds what can be clicked by its name, as a screen reader says it: the first
// visible button, link or summary whose text or label is or begins with it.
const named = `((name) => {
  const all = [...document.querySelectorAll("button, a[href], summary, [role=button], [role=checkbox], input[type=submit], label")].filter(e => e.checkVisibility());
  const say = e => (e.getAttribute("aria-label") || e.innerText || e.value || "").replace(/\s+/g, " ").trim();
  return all.find(e => say(e) === name) || all.find(e => say(e).startsWith(name));
})`

// Click clicks the button, link or other control of a name, once it is there.
func (b *Browser) Click(name string) {
	b.t.Helper()
	b.WaitFor(named + "(" + quote(name) + ")")
	b.do(named + "(" + quote(name) + ").click()")
}

// Fill types into the field with an id or a name, in the place of what it holds.
func (b *Browser) Fill(field, text string) {
	b.t.Helper()
	find := fmt.Sprintf(`(document.getElementById(%[1]s) || document.querySelector("[name=" + CSS.escape(%[1]s) + "]"))`, quote(field))
	b.WaitFor(find)
	b.do(fmt.Sprintf(`(() => { const f = %s; f.focus(); if (f.select) f.select(); })()`, find))
	if b.Value(find+".tagName") == "SELECT" {
		b.do(fmt.Sprintf(`(() => { const f = %s; f.value = %s; f.dispatchEvent(new Event("change", {bubbles: true})); })()`, find, quote(text)))
		return
	}
	b.do(find + `.value = ""`)
	b.Run(chromedp.KeyEvent(text))
}

// Press presses keys, one after the other: "\t", kb.Enter, a letter.
func (b *Browser) Press(keys ...string) {
	b.t.Helper()
	for _, key := range keys {
		b.Run(chromedp.KeyEvent(key))
	}
}

// TabTo presses the tabulator until the control of a name has the focus, and checks that
// each step on the way shows where it is.
func (b *Browser) TabTo(name string) {
	b.t.Helper()
	const most = 400
	for range most {
		b.Run(chromedp.KeyEvent(kb.Tab))
		if b.Value(`(() => { const e = document.activeElement; return !e || e === document.body || getComputedStyle(e).outlineStyle !== "none" })()`) != "true" {
			require.Fail(b.t, "the focus cannot be seen", b.Value(`document.activeElement.outerHTML`))
		}
		if b.Value(`(() => { const e = document.activeElement; const say = (e.getAttribute("aria-label") || e.innerText || e.value || (e.labels && e.labels[0] && e.labels[0].innerText) || "").replace(/\s+/g, " ").trim(); return say === `+quote(name)+` || say.startsWith(`+quote(name)+`) })()`) == "true" {
			return
		}
	}
	require.Fail(b.t, "the tabulator never came to "+name, b.glance())
}

// Screenshot keeps a picture of the whole page, when $STILLROOM_SCREENSHOTS names a folder.
func (b *Browser) Screenshot(name string) {
	b.t.Helper()
	b.keep(name, chromedp.FullScreenshot(100))
}

// Screen keeps a picture of what the screen shows of the page, when $STILLROOM_SCREENSHOTS names a folder.
func (b *Browser) Screen(name string) {
	b.t.Helper()
	b.keep(name, chromedp.CaptureScreenshot())
}

func (b *Browser) keep(name string, take chromedp.Action[[]byte]) {
	b.t.Helper()
	folder := os.Getenv(ScreenshotsVariable)
	if folder == "" {
		return
	}
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	picture, err := chromedp.Run(ctx, take)
	require.NoError(b.t, err)
	require.NoError(b.t, os.MkdirAll(folder, 0o755))
	require.NoError(b.t, os.WriteFile(filepath.Join(folder, name+".png"), picture, 0o644))
}

// axeRun asks for the rules of WCAG 2.2, levels A and AA.
const axeRun = `axe.run(document, {runOnly: {type: "tag", values: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}, resultTypes: ["violations"]})
  .then(r => r.violations.map(v => v.id + ": " + v.help + "\n" + v.nodes.map(n => "    " + n.html + "\n    " + n.failureSummary).join("\n")).join("\n"))`

// Accessible checks the page with axe-core. Without $STILLROOM_AXE it says so and goes on; in CI it fails.
func (b *Browser) Accessible() {
	b.t.Helper()
	path := os.Getenv(AxeVariable)
	if path == "" {
		const what = "$" + AxeVariable + " names no axe.min.js (npm package axe-core)"
		require.Empty(b.t, os.Getenv("CI"), what)
		b.t.Log(what)
		return
	}
	script, err := os.ReadFile(path)
	require.NoError(b.t, err)
	b.do(string(script))
	found, err := evaluate[string](b, axeRun, chromedp.EvalAwaitPromise)
	require.NoError(b.t, err)
	require.Empty(b.t, found, "axe-core at %s", b.Path())
}
