package report_test

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
	"github.com/holdline/holdline/harness/require/proving"
)

// busy is a V8 at 7,000 rpm for so many seconds, every channel noisy in its last
// digits, a third of its cycles cut in every way.
func busy(seconds int) *report.Run {
	cal := proving.Car()
	rng := rand.New(rand.NewPCG(7, 11))
	tr, digest := harness.NewTrace(cal), harness.NewDigest(cal)
	degrees := 0
	var f harness.Frame
	for tick := range uint32(seconds * 1000) {
		f = harness.Frame{Tick: tick}
		for c := range controller.NumChannels {
			f.In.Set(c, int32(rng.IntN(200)))
		}
		f.In.Set(controller.EngineSpeed, int32(7000*controller.RPM)+int32(rng.IntN(400))-200)
		o := &f.Out
		o.Sequence, o.Ceiling, o.Target = controller.Released, 7000*controller.RPM, 7000*controller.RPM
		o.Demand = controller.Demand(rng.IntN(55441))
		o.Timing, o.Base = controller.Angle(rng.IntN(3000)), controller.Angle(2000+rng.IntN(100))
		o.Slope, o.Boost = int32(rng.IntN(2000)), controller.Pressure(200000+rng.IntN(999))
		for i := range o.StageInhibits {
			o.StageInhibits[i] = controller.StageInhibits(1 << (tick / 300 % 12))
		}
		// 7,000 rpm are 42 degrees a millisecond; a cylinder fires every 90.
		for degrees += 42; degrees >= 90; degrees -= 90 {
			k := int(tick) * 42 / 90
			for _, kind := range []harness.EventKind{harness.FuelCommit, harness.SparkCommit} {
				e := harness.Event{Cylinder: cal.Engine.Order[k%8], Cycle: controller.Cycle(k / 8), Kind: kind, Give: rng.IntN(3) > 0, Why: controller.WhyGiven, Timing: o.Timing, Mixture: 10000}
				if !e.Give {
					e.Why = controller.WhyCut
				}
				f.Add(e)
			}
		}
		_ = tr.Record(&f)
		_ = digest.Record(&f)
	}
	r := &harness.Results{Verb: "run", Source: "a busy V8", Unit: "invented", Seed: 7, Complete: true, Repeat: "holdline run busy.toml --seed 7"}
	digest.Fill(r)
	return &report.Run{Results: r, Trace: tr}
}

func TestPageIsSmall(t *testing.T) {
	r := busy(10)
	html := pageOf(t, r)
	t.Logf("%d channels, %d commits, %d ticks: %.2f MB", len(r.Trace.Columns), len(r.Trace.Events), r.Trace.Ticks, float64(len(html))/1e6)
	assert.GreaterOrEqual(t, len(r.Trace.Columns), 30)
	assert.Greater(t, len(r.Trace.Events), 9000)
	assert.Less(t, len(html), 2_000_000)
	assert.Equal(t, html, pageOf(t, busy(10)), "same run, same bytes")
}

// counting counts what is asked of the canvas in a frame while the view pans.
const counting = `(async () => {
	let n = 0;
	const proto = CanvasRenderingContext2D.prototype;
	for (const k of ["moveTo", "lineTo", "rect", "fillRect", "strokeRect", "stroke", "fill", "fillText", "strokeText", "clip"]) {
		const was = proto[k];
		proto[k] = function (...a) { n++; return was.apply(this, a); };
	}
	const panels = document.getElementById("panels");
	const frame = () => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)));
	const key = (k) => panels.dispatchEvent(new KeyboardEvent("keydown", { key: k, bubbles: true }));
	const most = { whole: 0, pan: 0 };
	key("0"); await frame(); n = 0;
	key("ArrowRight"); await frame(); most.whole = n;
	key("+"); await frame();
	for (let i = 0; i < 12; i++) { n = 0; key(i % 4 < 2 ? "PageUp" : "PageDown"); await frame(); most.pan = Math.max(most.pan, n); }
	return most;
})()`

// What is drawn in a frame is bounded by the screen, not by the length of the run.
func TestDrawingIsBoundedByTheScreen(t *testing.T) {
	type drawn struct{ Whole, Pan int }
	count := func(seconds int) drawn {
		b := open(t, pageOf(t, busy(seconds)), 1280)
		b.size(1280, 4000) // all charts in sight
		b.settle()
		return eval[drawn](b, counting)
	}
	short, long := count(10), count(60)
	t.Logf("calls a frame: 10 s %+v, 60 s %+v", short, long)
	assert.Less(t, short.Whole, 40_000)
	assert.Less(t, short.Pan, 40_000)
	assert.Less(t, long.Whole, 40_000)
	assert.Less(t, float64(long.Whole), 1.5*float64(short.Whole), "six times the run")
}

// panning measures frames while the view pans, one step a frame.
const panning = `(async () => {
	const panels = document.getElementById("panels");
	const key = (k) => panels.dispatchEvent(new KeyboardEvent("keydown", { key: k, bubbles: true }));
	const frame = () => new Promise(requestAnimationFrame);
	key("0"); key("+"); await frame(); await frame();
	const gaps = [];
	let last = performance.now();
	for (let i = 0; i < 90; i++) {
		key(i % 2 ? "PageUp" : "PageDown");
		await frame();
		const t = performance.now();
		gaps.push(t - last);
		last = t;
	}
	gaps.sort((a, b) => a - b);
	return [gaps[45], gaps[85]];
})()`

// A figure, not a verdict: what a frame costs while panning under a processor four
// times slower, at the width of a desk and of a phone. 33 ms are 30 frames a
// second.
func TestPanningFigure(t *testing.T) {
	html := pageOf(t, busy(10))
	for _, width := range []int64{1280, 390} {
		b := open(t, html, width)
		b.box()
		_, err := chromedp.Call(b.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4})
		require.NoError(t, err)
		gaps := eval[[]float64](b, panning)
		_, err = chromedp.Call(b.ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 1})
		require.NoError(t, err)
		t.Logf("width %d, 4 times slower: median frame %.1f ms (%.0f a second), 95 of 100 within %.1f ms", width, gaps[0], 1000/gaps[0], gaps[1])
	}
}

// The sheet of paper: one page of A4, one of Letter, whatever the run.
func TestPrintsOnOneSheet(t *testing.T) {
	for name, r := range map[string]*report.Run{"wrong sign": brokenRun(t, "wrong sign"), "busy": busy(1)} {
		b := open(t, pageOf(t, r), 1280)
		for paper, size := range map[string][2]float64{"a4": {8.27, 11.69}, "letter": {8.5, 11}} {
			pdf, err := chromedp.Call(b.ctx, page.PrintToPDF, page.PrintToPDFParams{PaperWidth: size[0], PaperHeight: size[1]})
			require.NoError(t, err)
			pages := regexp.MustCompile(`/Type\s*/Page\b[^s]`).FindAll(pdf.Data, -1)
			assert.Len(t, pages, 1, "%s on %s", name, paper)
			if dir := os.Getenv("HOLDLINE_PAGES"); dir != "" {
				require.NoError(t, os.WriteFile(filepath.Join(dir, harness.Slug(name)+"-"+paper+".pdf"), pdf.Data, 0o644))
			}
		}
	}
}

// Without script the drawing and the tables are there, and nothing that is dead.
func TestWithoutScript(t *testing.T) {
	b := open(t, []byte("<!DOCTYPE html><title>blank</title>"), 1280)
	_, err := chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "page.html")
	require.NoError(t, os.WriteFile(path, pageOf(t, brokenRun(t, "wrong sign")), 0o644))
	require.NoError(t, chromedp.Do(b.ctx, chromedp.Navigate("file://"+filepath.ToSlash(path))))
	_, err = chromedp.Call(b.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: false})
	require.NoError(t, err)
	seen := func(sel string) bool {
		return eval[bool](b, `(() => { const e = document.querySelector("`+sel+`"); return !!e && e.getClientRects().length > 0; })()`)
	}
	assert.True(t, seen(".static svg"))
	assert.True(t, seen(".requirements"))
	assert.False(t, seen("#panels"))
	assert.False(t, seen("button"))
	b.leave("without-script", true)
}

// axe-core (a checker of web accessibility, from npm) finds nothing against any
// kind of page. HOLDLINE_AXE names its file axe.min.js.
func TestAccessibility(t *testing.T) {
	path := os.Getenv("HOLDLINE_AXE")
	if path == "" {
		needed(t, "HOLDLINE_AXE, the path of axe.min.js from the npm package axe-core")
	}
	axe, err := os.ReadFile(path)
	require.NoError(t, err)
	a := brokenRun(t, "wrong sign")
	pages := map[string][]byte{
		"page": pageOf(t, a), "overlay": overlayOf(t, a, delayed(a, 50)), "tables": tablesOf(t, proving.Car()),
		"index": indexOf(t, report.IndexHead{Title: "Launches"}, manyRows(60, nil)),
	}
	for name, html := range pages {
		for _, width := range []int64{1280, 390} {
			b := open(t, html, width)
			eval[bool](b, string(axe)+"; true")
			found := eval[[]string](b, `axe.run(document).then((r) => r.violations.map((v) => v.id + ": " + v.help + " " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(" | ")))`)
			assert.Empty(t, found, "%s at %d", name, width)
		}
	}
}

// shrink averages squares of a picture into single greys.
func shrink(im image.Image, by int) *image.Gray {
	w, h := im.Bounds().Dx()/by, im.Bounds().Dy()/by
	out := image.NewGray(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			sum := 0
			for i := range by * by {
				sum += int(color.GrayModel.Convert(im.At(x*by+i%by, y*by+i/by)).(color.Gray).Y)
			}
			out.SetGray(x, y, color.Gray{Y: uint8(sum / (by * by))})
		}
	}
	return out
}

// Each chart looks as it did when a person last looked at it. The pictures are
// coarse, squares of 8 pixels, since fonts differ between machines; the size of a
// chart does not depend on them. HOLDLINE_UPDATE=1 makes new ones.
func TestGoldenPictures(t *testing.T) {
	b := open(t, pageOf(t, brokenRun(t, "wrong sign")), 1280)
	b.size(1280, 4500)
	b.settle()
	urls := eval[[][]byte](b, `[...document.querySelectorAll("canvas")].map((c) => c.toDataURL("image/png").split(",")[1])`)
	require.Len(t, urls, 9)
	for i, data := range urls {
		im, err := png.Decode(bytes.NewReader(data))
		require.NoError(t, err)
		got := shrink(im, 8)
		path := filepath.Join("testdata", "golden", "chart-"+strconv.Itoa(i+1)+".png")
		if os.Getenv("HOLDLINE_UPDATE") != "" {
			var out bytes.Buffer
			require.NoError(t, png.Encode(&out, got))
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
			require.NoError(t, os.WriteFile(path, out.Bytes(), 0o644))
		}
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		was, err := png.Decode(bytes.NewReader(text))
		require.NoError(t, err)
		require.Equal(t, was.Bounds(), got.Bounds(), path)
		off := 0
		for y := range got.Bounds().Dy() {
			for x := range got.Bounds().Dx() {
				d := int(got.GrayAt(x, y).Y) - int(was.(*image.Gray).GrayAt(x, y).Y)
				if d > 64 || d < -64 {
					off++
				}
			}
		}
		share := float64(off) / float64(got.Bounds().Dx()*got.Bounds().Dy())
		assert.Less(t, share, 0.01, "%s: %.2f %% of its squares are another grey", path, 100*share)
	}
}
