package report_test

import (
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
)

// nasty are pieces of names that a careless page would run, hide or turn round.
var nasty = []string{
	`<script>pwned=1</script>`, `</script><script>pwned=1</script>`, `"><img src=x onerror=pwned=1>`, `' onmouseover='pwned=1`,
	`</title>`, `</style>`, `<!--`, `-->`, `]]>`, `{{.}}`, `${pwned=1}`, "`", `javascript:pwned=1`, `&lt;b&gt;`, `&#0;`, `\u003cscript>`, `\`,
	"\x00", "\x07", "\x1b[31m", "\r\n", "\u202e" + "gpj.exe", "\u2066", "\u200b", "\u2028", "\ufeff", "\U000e0041", "\ufffe", "\xff\xfe",
	"Ż\u0301\u0301\u0301\u0301", "هارون", "車", "🏁", "+", "-", "%s", "  ", "x",
}

// named gives a run in which every text that a stranger wrote is what text gives.
func named(r *report.Run, text func() string) *report.Run {
	out := clone(r)
	x := out.Results
	x.Source, x.Unit, x.Calibration, x.Repeat = text(), text(), text(), text()
	x.Complete, x.Stopped, x.Notes = false, text(), []string{text(), text()}
	for i := range x.Requirements {
		q := &x.Requirements[i]
		q.ID, q.Text, q.Reason, q.Condition, q.Unit = text(), text(), text(), text(), text()
	}
	for i := range x.Stages {
		x.Stages[i].Name = text()
	}
	for i := range x.Shots {
		x.Shots[i].Name = text()
	}
	x.Lost = []harness.LostResult{{Channel: text(), Seconds: 1}}
	x.Launch = &harness.LaunchResult{Car: text(), Limit: text(), Feet60: 1.5}
	x.Facts = []report.Fact{{Name: text(), Text: text()}}
	for i := range out.Trace.Columns {
		if c := &out.Trace.Columns[i]; c.Name == "user-a" || c.Name == "lambda" || c.Name == "coolant-temperature" {
			c.Name, c.Unit = text(), text()
		}
	}
	return out
}

// Whatever the names, they add no tag, and nothing in the page is unseen.
func TestNamesStayText(t *testing.T) {
	r := clone(brokenRun(t, "wrong sign"))
	r.Margins = nil
	r.Trace.Events = r.Trace.Events[:200]
	for i := range r.Trace.Columns {
		r.Trace.Columns[i].Data = r.Trace.Columns[i].Data[:50]
	}
	r.Trace.Ticks = 50
	tags := func(html []byte) int { return strings.Count(string(html), "<") }
	want := tags(pageOf(t, named(r, func() string { return "harmless" })))
	rapid.Check(t, func(rt *rapid.T) {
		name := rapid.Custom(func(rt *rapid.T) string {
			parts := rapid.SliceOfN(rapid.OneOf(rapid.SampledFrom(nasty), rapid.String()), 1, 4).Draw(rt, "parts")
			return "x" + strings.Join(parts, "")
		})
		html := pageOf(t, named(r, func() string { return name.Draw(rt, "name") }))
		if got := tags(html); got != want {
			rt.Fatalf("%d tags, %d expected", got, want)
		}
		for _, c := range string(html) {
			if c != '\n' && c != '\t' && (unicode.In(c, unicode.Cc, unicode.Cf, unicode.Zl, unicode.Zp) || c == unicode.ReplacementChar) {
				rt.Fatalf("the page holds U+%04X", c)
			}
		}
	})
}

// In the browser nothing of them runs, and they can be read.
func TestHostileNamesInTheBrowser(t *testing.T) {
	r := brokenRun(t, "wrong sign")
	i := 0
	long := strings.Repeat("very long ", 100)
	html := pageOf(t, named(r, func() string {
		i++
		if i%5 == 0 {
			return long
		}
		return nasty[i%len(nasty)] + nasty[(i*7+3)%len(nasty)]
	}))
	for _, width := range []int64{1280, 390} {
		b := open(t, html, width)
		assert.Equal(t, "undefined", eval[string](b, `typeof pwned`))
		assert.Equal(t, 0, eval[int](b, `document.querySelectorAll("img, iframe, object, link, base").length`))
		assert.Equal(t, 2, eval[int](b, `document.scripts.length`))
		assert.Equal(t, 0, eval[int](b, `[...document.querySelectorAll("*")].filter((e) => [...e.attributes].some((a) => a.name.startsWith("on"))).length`))
		text := eval[string](b, `document.body.textContent`)
		assert.Contains(t, text, `<script>pwned=1</script>`)
		assert.Contains(t, text, "[U+202E]gpj.exe")
		assert.Contains(t, text, "(1000 characters in all)")
		assert.LessOrEqual(t, eval[int](b, `document.documentElement.scrollWidth`), int(width), "the page is wider than the screen")
		b.leave("hostile-"+map[bool]string{true: "1280", false: "390"}[width == 1280], true)
	}
}

// The index and the other pages spell the same way.
func TestHostileNamesElsewhere(t *testing.T) {
	rows := func(yield func(report.IndexRow, error) bool) {
		for _, n := range nasty {
			if !yield(report.IndexRow{Name: n, Worst: n, Limit: n, Unit: n, Margin: -1, Link: n, Verdict: n}, nil) {
				return
			}
		}
	}
	b := open(t, indexOf(t, report.IndexHead{Title: nasty[0], Repeat: nasty[1], Facts: []report.Fact{{Name: nasty[2], Text: nasty[3]}}}, rows), 1280)
	assert.Equal(t, "undefined", eval[string](b, `typeof pwned`))
	assert.Len(t, nasty, eval[int](b, `document.querySelectorAll("#runs tbody tr").length`))
	for _, link := range eval[[]string](b, `[...document.querySelectorAll("a")].map((a) => a.href)`) {
		assert.True(t, strings.HasPrefix(link, "file:///"), link)
	}
	r := brokenRun(t, "wrong sign")
	i := 0
	bad := named(r, func() string { i++; return nasty[i%len(nasty)] })
	b = open(t, overlayOf(t, r, bad), 1280)
	assert.Equal(t, "undefined", eval[string](b, `typeof pwned`))
	assert.Equal(t, 2, eval[int](b, `document.scripts.length`))
}

// The command that repeats a run is never cut short.
func TestRepeatIsWhole(t *testing.T) {
	r := clone(brokenRun(t, "wrong sign"))
	r.Results.Repeat = "holdline run " + strings.Repeat("'a long folder'/", 200) + "x.toml --seed 1"
	b := open(t, pageOf(t, r), 390)
	require.Equal(t, r.Results.Repeat, eval[string](b, `document.querySelector(".repeat").textContent`))
}
