package report_test

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
)

// view is what the charts say of themselves.
type view struct{ From, To, Now float64 }

func (b *tab) view() view {
	b.Helper()
	b.settle()
	return eval[view](b, `(({from, to, now}) => ({From: +from, To: +to, Now: +now}))(document.getElementById("panels").dataset)`)
}

// box gives the place of the first chart on the screen.
func (b *tab) box() (left, top, width float64) {
	b.Helper()
	r := eval[[]float64](b, `(() => { const c = document.querySelector("canvas"); c.scrollIntoView({block: "center"}); const r = c.getBoundingClientRect(); return [r.left, r.top, r.width]; })()`)
	return r[0], r[1], r[2]
}

// asWritten gives a value as the trace files have it: to the last digit of its
// step, demand to four decimals of a percent.
func asWritten(c *harness.Column, tick int) string {
	x := c.Data[tick]
	if c.Words != nil {
		if w := c.Words(x); w != "" {
			return strings.ReplaceAll(w, "+", ", ")
		}
		return "none"
	}
	decimals := 4
	for d := range 5 {
		if c.Per == math.Pow10(d) {
			decimals = d
		}
	}
	text := strconv.FormatFloat(float64(x)/c.Per, 'f', decimals, 64)
	text = strings.Replace(text, "-", "\u2212", 1)
	return strings.TrimSpace(text + " " + c.Unit)
}

// Every channel that the page reads out, at many moments, is the trace's value to
// the last digit.
func TestReadOutEqualsTheTrace(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	b := open(t, pageOf(t, r), 1280)
	eval[bool](b, `(document.getElementById("all").open = true)`)
	type row struct{ Name, Value string }
	checked := 0
	for step := range 25 {
		if step > 0 {
			b.key([]string{"ArrowLeft", "ArrowRight"}[step%2], "", 0, 0)
			b.focusCharts()
		}
		left, top, width := b.box()
		b.mouse(input.DispatchMouseEventTypeMouseMoved, left+50+float64(step)*(width-70)/25, top+40, nil)
		v := b.view()
		tick := int(v.Now / float64(r.Trace.Period))
		rows := eval[[]row](b, `[...document.querySelectorAll("#values tr")].map((r) => ({Name: r.cells[0].textContent, Value: r.cells[1].textContent}))`)
		require.Len(t, rows, len(r.Trace.Columns))
		for i, got := range rows {
			c := &r.Trace.Columns[i]
			assert.Equal(t, c.Name, got.Name)
			assert.Equal(t, asWritten(c, tick), got.Value, "%s at tick %d", c.Name, tick)
			checked++
		}
		speed := eval[string](b, `document.querySelector(".value").textContent`)
		assert.Equal(t, asWritten(r.Trace.Column("engine-speed"), tick), speed)
		now := eval[string](b, `document.getElementById("now").textContent`)
		assert.True(t, strings.HasPrefix(now, fmt.Sprintf("%.3f s", v.Now/1e6)), now)
	}
	assert.Greater(t, checked, 1000)
}

// Demand is no decimal: each of its values reads as trace.csv writes it.
func TestEveryDemandReadsRight(t *testing.T) {
	r := clone(brokenRun(t, "wrong sign"))
	c := r.Trace.Column("demand")
	for i := range c.Data {
		c.Data[i] = int32(i * 55440 / (len(c.Data) - 1))
	}
	b := open(t, pageOf(t, r), 1280)
	eval[bool](b, `(document.getElementById("all").open = true)`)
	b.focusCharts()
	b.key("Home", "", 36, 0)
	for range 40 {
		b.key("ArrowRight", "", 39, 0)
		tick := int(b.view().Now / float64(r.Trace.Period))
		got := eval[string](b, `[...document.querySelectorAll("#values tr")].find((r) => r.cells[0].textContent === "demand").cells[1].textContent`)
		want := strconv.FormatFloat(math.Round(c.Units(c.Data[tick])*10000)/10000, 'f', 4, 64) + " %"
		assert.Equal(t, want, got)
	}
}

func (b *tab) focusCharts() {
	b.Helper()
	eval[bool](b, `(document.getElementById("panels").focus(), true)`)
}

func TestMouse(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	b := open(t, pageOf(t, r), 1280)
	whole := b.view()
	assert.InDelta(t, 0, whole.From, 1)
	assert.InDelta(t, float64(r.Trace.Ticks)*float64(r.Trace.Period), whole.To, 1)
	left, top, width := b.box()
	x, y := left+width*0.6, top+60

	// Ctrl and the wheel zoom about the pointer.
	b.mouse(input.DispatchMouseEventTypeMouseMoved, x, y, nil)
	before := b.view()
	b.mouse(input.DispatchMouseEventTypeMouseWheel, x, y, func(p *input.DispatchMouseEventParams) { p.DeltaX, p.DeltaY, p.Modifiers = 0.01, -100, 2 })
	near := b.view()
	assert.Less(t, near.To-near.From, 0.8*(whole.To-whole.From))
	share := func(v view) float64 { return (before.Now - v.From) / (v.To - v.From) }
	assert.InDelta(t, share(before), share(near), 0.01)

	// A plain wheel belongs to the page.
	b.mouse(input.DispatchMouseEventTypeMouseWheel, x, y, func(p *input.DispatchMouseEventParams) { p.DeltaX, p.DeltaY = 0.01, 100 })
	assert.Equal(t, near.To-near.From, b.view().To-b.view().From)

	// Dragging pans by what the pointer moved.
	left, top, width = b.box()
	y = top + 60
	hold := func(p *input.DispatchMouseEventParams) {
		p.Button, p.Buttons, p.ClickCount = input.MouseButtonLeft, 1, 1
	}
	b.mouse(input.DispatchMouseEventTypeMousePressed, left+600, y, hold)
	for i := 1; i <= 10; i++ {
		b.mouse(input.DispatchMouseEventTypeMouseMoved, left+600-float64(i*20), y, hold)
	}
	b.mouse(input.DispatchMouseEventTypeMouseReleased, left+400, y, hold)
	panned := b.view()
	perPixel := (near.To - near.From) / (width - 46 - 10)
	assert.InDelta(t, math.Min(near.From+200*perPixel, whole.To-(near.To-near.From)), panned.From, 3*perPixel)

	// The button shows the whole run again.
	eval[bool](b, `(document.querySelector("[data-do=home]").click(), true)`)
	assert.InDelta(t, whole.To, b.view().To, 1)
}

func TestTouch(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	b := open(t, pageOf(t, r), 390)
	whole := b.view()
	left, top, width := b.box()
	y := top + 80
	mid := left + 46 + (width-56)/2

	// A tap reads out.
	b.touch(input.DispatchTouchEventTypeTouchStart, [2]float64{mid, y})
	b.touch(input.DispatchTouchEventTypeTouchEnd)
	assert.InDelta(t, (whole.From+whole.To)/2, b.view().Now, 0.02*(whole.To-whole.From))

	// Two fingers that part zoom in about their middle.
	b.touch(input.DispatchTouchEventTypeTouchStart, [2]float64{mid - 40, y}, [2]float64{mid + 40, y})
	for i := 1; i <= 8; i++ {
		d := 40 + float64(i*10)
		b.touch(input.DispatchTouchEventTypeTouchMove, [2]float64{mid - d, y}, [2]float64{mid + d, y})
	}
	b.touch(input.DispatchTouchEventTypeTouchEnd)
	near := b.view()
	assert.InDelta(t, (whole.To-whole.From)/3, near.To-near.From, 0.05*(whole.To-whole.From))
	assert.InDelta(t, (whole.From+whole.To)/2, (near.From+near.To)/2, 0.05*(whole.To-whole.From))

	// One finger pans.
	b.touch(input.DispatchTouchEventTypeTouchStart, [2]float64{mid + 60, y})
	for i := 1; i <= 12; i++ {
		b.touch(input.DispatchTouchEventTypeTouchMove, [2]float64{mid + 60 - float64(i*10), y})
	}
	b.touch(input.DispatchTouchEventTypeTouchEnd)
	panned := b.view()
	assert.InDelta(t, near.To-near.From, panned.To-panned.From, 1)
	assert.InDelta(t, 120*(near.To-near.From)/(width-56), panned.From-near.From, 0.06*(near.To-near.From))
}

func TestKeys(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	b := open(t, pageOf(t, r), 1280)
	whole := b.view()

	// The charts can be reached with the Tab key alone.
	reached := false
	for range 60 {
		b.key("Tab", "", 9, 0)
		if eval[bool](b, `document.activeElement.id === "panels"`) {
			reached = true
			break
		}
	}
	require.True(t, reached, "Tab never came to the charts")

	b.key("+", "+", 187, 0)
	near := b.view()
	assert.InDelta(t, (whole.To-whole.From)/2, near.To-near.From, 1)
	b.key("PageUp", "", 33, 0)
	assert.Less(t, b.view().From, near.From)
	b.key("-", "-", 189, 0)
	assert.InDelta(t, whole.To-whole.From, b.view().To-b.view().From, 1)

	at := b.view().Now
	b.key("ArrowLeft", "", 37, 8) // with Shift
	assert.InDelta(t, at-float64(r.Trace.Period), b.view().Now, 0.5)
	b.key("ArrowRight", "", 39, 0)
	assert.Greater(t, b.view().Now, at)

	b.key("Enter", "\r", 13, 0)
	q := b.view()
	assert.Less(t, q.To-q.From, 500000.0)
	b.key("0", "0", 48, 0)
	assert.InDelta(t, whole.To, b.view().To, 1)
}

// Choosing a requirement with Enter or a click goes to its closest moment.
func TestRequirementGoesToItsMoment(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	b := open(t, pageOf(t, r), 1280)
	for _, q := range r.Results.Requirements {
		if q.Verdict != harness.VerdictFails {
			continue
		}
		found := eval[bool](b, fmt.Sprintf(`(() => { const x = [...document.querySelectorAll("tr button[data-mark]")].find((x) => x.textContent === %q); if (x) x.focus(); return !!x; })()`, q.ID))
		require.True(t, found, q.ID)
		b.key("Enter", "\r", 13, 0)
		v := b.view()
		assert.InDelta(t, q.ClosestAt*1e6, v.Now, 0.6*float64(r.Trace.Period), q.ID)
		assert.Less(t, v.From, v.Now+1, q.ID)
		assert.Greater(t, v.To, v.Now, q.ID)
		assert.LessOrEqual(t, v.To-v.From, 400000.0, q.ID)
		assert.Equal(t, "panels", eval[string](b, `document.activeElement.id`))
	}
}
