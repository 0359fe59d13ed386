package report_test

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/report"
	"github.com/holdline/holdline/harness/require/proving"
)

// delayed is a run that stood still for some ticks before it began.
func delayed(r *report.Run, ticks int) *report.Run {
	out := clone(r)
	for i := range out.Trace.Columns {
		c := &out.Trace.Columns[i]
		lead := make([]int32, ticks)
		for k := range lead {
			lead[k] = c.Data[0]
		}
		c.Data = append(lead, c.Data...)
	}
	for i := range out.Trace.Events {
		out.Trace.Events[i].Tick += uint32(ticks)
	}
	out.Trace.Ticks += ticks
	return out
}

// A known offset is recovered to the sample.
func TestReleaseTickRecoversAnOffset(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	first, ok := report.ReleaseTick(r.Trace)
	require.True(t, ok)
	assert.Equal(t, int(r.Results.Sequence[2].From*1000+0.5), first, "the digest's own note of the release")
	rapid.Check(t, func(t *rapid.T) {
		by := rapid.IntRange(0, 3000).Draw(t, "ticks")
		tick, ok := report.ReleaseTick(delayed(r, by).Trace)
		if !ok || tick-first != by {
			t.Fatalf("delayed by %d ticks, found %d", by, tick-first)
		}
	})
	_, ok = report.ReleaseTick(&harness.Trace{})
	assert.False(t, ok)
}

func overlayOf(t testing.TB, a, b *report.Run) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.Overlay(&out, a, b))
	return out.Bytes()
}

// In the page, too, both runs lie on each other: whatever moment one reads, A and B
// show the same values although B began 137 ticks later.
func TestOverlayLiesAligned(t *testing.T) {
	a := brokenRun(t, "wrong sign")
	html := overlayOf(t, a, delayed(a, 137))
	assert.Contains(t, string(html), "B was released 0.137 s later in its run than A")
	b := open(t, html, 1280)
	eval[bool](b, `(document.getElementById("all").open = true)`)
	b.focusCharts()
	for range 12 {
		b.key("ArrowRight", "", 39, 0)
		same := eval[[]string](b, `(() => {
			const v = new Map([...document.querySelectorAll("#values tr")].map((r) => [r.cells[0].textContent, r.cells[1].textContent]));
			return [...v.keys()].filter((k) => k.startsWith("A ") && v.get(k) !== "\u2013" && v.get(k) !== v.get("B " + k.slice(2)));
		})()`)
		assert.Empty(t, same)
	}
	b.key("Home", "", 36, 0)
	v := b.view()
	first, _ := report.ReleaseTick(a.Trace)
	assert.InDelta(t, -float64(first+137)*float64(a.Trace.Period), v.From, 0.5)
}

// The difference of two calibrations names the fields of the file.
func TestCalibrationDifference(t *testing.T) {
	load := func() *controller.Calibration {
		c, findings := files.LoadCalibration("../../examples/calibrations/saltmarsh-20t.toml")
		require.False(t, findings.Failed(), findings)
		return c
	}
	a, b := load(), load()
	d, err := report.CalibrationDifference(a, b)
	require.NoError(t, err)
	assert.Empty(t, d)
	b.Engine.TrimMax += 100 * controller.RPM
	b.Stages[0].Cut.Medium = controller.Fuel
	require.NoError(t, proving.Seal(b))
	d, err = report.CalibrationDifference(a, b)
	require.NoError(t, err)
	var names []string
	for _, x := range d {
		names = append(names, x.Name+": "+x.A+" "+x.B)
	}
	assert.Contains(t, names, "engine.trim_max_rpm: 300 400")
	assert.Contains(t, strings.Join(names, "\n"), "medium")
	assert.LessOrEqual(t, len(d), 3)
	d, err = report.CalibrationDifference(nil, b)
	require.NoError(t, err)
	assert.Nil(t, d)
}

func TestOverlayNeedsTraces(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	assert.Error(t, report.Overlay(&bytes.Buffer{}, r, nil))
	bare := *r
	bare.Trace = nil
	assert.Error(t, report.Overlay(&bytes.Buffer{}, &bare, r))
}

// Where a run was never released nothing on the page speaks of release.
func TestOverlayWithoutARelease(t *testing.T) {
	a := brokenRun(t, "wrong sign")
	b := clone(a)
	first, ok := report.ReleaseTick(b.Trace)
	require.True(t, ok)
	for i := range b.Trace.Columns { // cut off before the release
		b.Trace.Columns[i].Data = b.Trace.Columns[i].Data[:first]
	}
	b.Trace.Ticks = first
	html := string(overlayOf(t, a, b))
	assert.True(t, strings.Contains(html, "Aligned at the start: one of the runs was never released."))
	assert.True(t, strings.Contains(html, "seconds from the start"))
	assert.False(t, strings.Contains(html, "aligned at release"))
	assert.False(t, strings.Contains(html, "seconds from release"))
	assert.True(t, strings.Contains(string(overlayOf(t, a, a)), "seconds from release"))
}
