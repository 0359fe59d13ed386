package report_test

import (
	"context"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browsing is the one browser process of the package's tests.
var browsing struct {
	once sync.Once
	ctx  context.Context
	err  error
	stop func()
}

func TestMain(m *testing.M) {
	code := m.Run()
	if browsing.stop != nil {
		browsing.stop()
	}
	os.Exit(code)
}

// needed skips a test without an outside tool, and fails it where CI says that the
// tool must be there.
func needed(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		require.Failf(t, "missing tool", "%s is needed and CI=true", what)
	}
	t.Skipf("skipped: %s is needed", what)
}

func browser(t testing.TB) context.Context {
	t.Helper()
	path := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(name); err == nil && path == "" {
			path = p
		}
	}
	if path == "" {
		needed(t, "chromium")
	}
	browsing.once.Do(func() {
		options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox,
			chromedp.Flag("touch-events", "enabled"), chromedp.Flag("host-resolver-rules", "MAP * ~NOTFOUND")) // no network
		alloc, stopAlloc := chromedp.NewExecAllocator(context.Background(), options...)
		ctx, stop := chromedp.NewContext(alloc)
		browsing.ctx, browsing.stop = ctx, func() { stop(); stopAlloc() }
		browsing.err = chromedp.Do(ctx, chromedp.Navigate("about:blank"))
	})
	require.NoError(t, browsing.err)
	return browsing.ctx
}

// tab is a page in the browser.
type tab struct {
	testing.TB
	ctx context.Context
}

// complaints collects what the browser has to say against every page.
const complaints = `window.complaints = [];
addEventListener("error", (e) => complaints.push("error: " + e.message));
addEventListener("unhandledrejection", (e) => complaints.push("rejection: " + e.reason));
addEventListener("securitypolicyviolation", (e) => complaints.push("policy: " + e.violatedDirective + " " + e.blockedURI));
for (const k of ["error", "warn"]) { const was = console[k]; console[k] = (...a) => { complaints.push(k + ": " + a.join(" ")); was(...a); }; }
`

// open shows a page from disk, at a width, and fails the test in the end if the
// browser complained of anything or asked for anything but that file.
func open(t testing.TB, html []byte, width int64) *tab {
	t.Helper()
	ctx, cancel := chromedp.NewContext(browser(t))
	ctx, cancelTime := context.WithTimeout(ctx, 60*time.Second)
	t.Cleanup(func() { cancelTime(); cancel() })
	path := filepath.Join(t.TempDir(), "page.html")
	require.NoError(t, os.WriteFile(path, html, 0o644))
	b := &tab{t, ctx}
	_, err := chromedp.Call(ctx, page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{Source: complaints})
	require.NoError(t, err)
	b.size(width, 900)
	logged := []string{}
	var mu sync.Mutex
	messages := chromedp.Console(ctx)
	go func() {
		for m, err := range messages {
			if err != nil {
				return
			}
			mu.Lock()
			logged = append(logged, m.String())
			mu.Unlock()
		}
	}()
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate((&url.URL{Scheme: "file", Path: path}).String())))
	t.Cleanup(func() {
		if t.Failed() {
			return
		}
		assert.Equal(t, "", eval[string](b, `complaints.join("; ")`))
		assert.Equal(t, 0, eval[int](b, `performance.getEntriesByType("resource").length`), "the page asked for something")
		mu.Lock()
		assert.Empty(t, logged)
		mu.Unlock()
	})
	b.settle()
	return b
}

func (b *tab) size(width, height int64) {
	b.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetDeviceMetricsOverride, emulation.SetDeviceMetricsOverrideParams{
		Width: width, Height: height, DeviceScaleFactor: 1, Mobile: width < 600,
	})
	require.NoError(b, err)
}

func eval[T any](b *tab, script string) T {
	b.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[T](script, chromedp.EvalAwaitPromise))
	require.NoError(b, err, script)
	return v
}

// settle waits until what was asked for has been drawn.
func (b *tab) settle() {
	b.Helper()
	eval[bool](b, `new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => setTimeout(() => done(true), 30))))`)
}

func (b *tab) mouse(kind input.DispatchMouseEventType, x, y float64, more func(*input.DispatchMouseEventParams)) {
	b.Helper()
	p := input.DispatchMouseEventParams{Type: kind, X: x, Y: y}
	if more != nil {
		more(&p)
	}
	_, err := chromedp.Call(b.ctx, input.DispatchMouseEvent, p)
	require.NoError(b, err)
}

func (b *tab) touch(kind input.DispatchTouchEventType, points ...[2]float64) {
	b.Helper()
	p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
	for i, at := range points {
		id := float64(i)
		p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: at[0], Y: at[1], ID: &id})
	}
	_, err := chromedp.Call(b.ctx, input.DispatchTouchEvent, p)
	require.NoError(b, err)
}

// key presses a key by its name; text is what it types.
func (b *tab) key(name, text string, code int64, modifiers int64) {
	b.Helper()
	kinds := []input.DispatchKeyEventType{input.DispatchKeyEventTypeRawKeyDown, input.DispatchKeyEventTypeKeyUp}
	if text != "" {
		kinds[0] = input.DispatchKeyEventTypeKeyDown
	}
	for _, kind := range kinds {
		p := input.DispatchKeyEventParams{Type: kind, Key: name, Modifiers: modifiers, WindowsVirtualKeyCode: code, NativeVirtualKeyCode: code}
		if kind == input.DispatchKeyEventTypeKeyDown {
			p.Text = text
		}
		_, err := chromedp.Call(b.ctx, input.DispatchKeyEvent, p)
		require.NoError(b, err)
	}
	b.settle()
}

func (b *tab) grey() {
	b.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedVisionDeficiency, emulation.SetEmulatedVisionDeficiencyParams{
		Type: emulation.SetEmulatedVisionDeficiencyTypeAchromatopsia,
	})
	require.NoError(b, err)
}

// picture takes the whole page, or what is in sight.
func (b *tab) picture(whole bool) []byte {
	b.Helper()
	r, err := chromedp.Call(b.ctx, page.CaptureScreenshot, page.CaptureScreenshotParams{CaptureBeyondViewport: &whole, Clip: b.clip(whole)})
	require.NoError(b, err)
	return r.Data
}

func (b *tab) clip(whole bool) *page.Viewport {
	if !whole {
		return nil
	}
	h := eval[float64](b, `document.documentElement.scrollHeight`)
	w := eval[float64](b, `document.documentElement.clientWidth`)
	return &page.Viewport{Width: w, Height: h, Scale: 1}
}

// leave keeps a picture in the folder that HOLDLINE_PAGES names.
func (b *tab) leave(name string, whole bool) {
	b.Helper()
	if dir := os.Getenv("HOLDLINE_PAGES"); dir != "" {
		require.NoError(b, os.WriteFile(filepath.Join(dir, name+".png"), b.picture(whole), 0o644))
	}
}
