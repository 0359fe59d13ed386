package report_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
)

// manyRows are so many invented runs, one in seven of which fails.
func manyRows(n int, each func(i int)) iter.Seq2[report.IndexRow, error] {
	return func(yield func(report.IndexRow, error) bool) {
		for i := range n {
			if each != nil {
				each(i)
			}
			row := report.IndexRow{
				Name: fmt.Sprintf("Saltmarsh 20T, clutch launch, grip %.3f", 1+float64(i%400)/1000), Seed: uint64(i),
				Verdict: harness.VerdictHolds, Worst: "limiters.full-demand", Margin: float64(i%977) / 7, Unit: "rpm", Scaled: float64(i%977) / 700,
				Feet60: 1.5 + float64(i%531)/1000, Limit: harness.LimitSpin, Link: fmt.Sprintf("saltmarsh-launch-%d/report.html", i),
			}
			switch {
			case i%7 == 3:
				row.Verdict, row.Margin, row.Scaled = harness.VerdictFails, -row.Margin-1, -row.Scaled-0.01
			case i%101 == 5:
				row.Verdict, row.Worst, row.Feet60 = harness.VerdictInconclusive, "", 0
			}
			if !yield(row, nil) {
				return
			}
		}
	}
}

func indexOf(t testing.TB, head report.IndexHead, rows iter.Seq2[report.IndexRow, error]) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.Index(&out, head, rows))
	return out.Bytes()
}

func TestIndexIsSmallAndFailuresComeFirst(t *testing.T) {
	html := indexOf(t, report.IndexHead{Title: "Ten thousand launches"}, manyRows(10_000, nil))
	t.Logf("index of 10,000 runs: %.2f MB", float64(len(html))/1e6)
	assert.Less(t, len(html), 10_000_000)
	text := string(html)
	last := map[string]int{}
	for _, v := range []string{"fails", "inconclusive", "holds"} {
		last[v] = strings.LastIndex(text, `<tr data-v="`+v+`"`)
		require.Positive(t, last[v])
	}
	assert.Less(t, last["fails"], strings.Index(text, `<tr data-v="inconclusive"`))
	assert.Less(t, last["inconclusive"], strings.Index(text, `<tr data-v="holds"`))
	assert.Contains(t, text, "10000 runs: <strong>1429</strong> fails")
	assert.Equal(t, html, indexOf(t, report.IndexHead{Title: "Ten thousand launches"}, manyRows(10_000, nil)), "same rows, same bytes")
}

// Memory does not grow with the number of runs: the heap in use while 40,000 rows
// go by stays within a megabyte of what it was after 1,000.
func TestIndexMemoryIsBounded(t *testing.T) {
	var early, most uint64
	watch := func(i int) {
		if i == 0 || i%5000 != 0 && i != 1000 {
			return
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		if i == 1000 {
			early = m.HeapAlloc
		}
		most = max(most, m.HeapAlloc)
	}
	require.NoError(t, report.Index(io.Discard, report.IndexHead{}, manyRows(40_000, watch)))
	assert.Less(t, most, early+1<<20)
}

// An error of the sequence is passed on, and no temporary file stays.
func TestIndexError(t *testing.T) {
	dir := t.TempDir()
	t.Setenv("TMPDIR", dir)
	t.Setenv("TMP", dir) // on Windows
	broken := errors.New("no more")
	err := report.Index(io.Discard, report.IndexHead{}, func(yield func(report.IndexRow, error) bool) {
		if yield(report.IndexRow{Name: "first"}, nil) {
			yield(report.IndexRow{}, broken)
		}
	})
	assert.ErrorIs(t, err, broken)
	left, err := os.ReadDir(os.TempDir())
	require.NoError(t, err)
	assert.Empty(t, left)
}

// Links lead below the index and nowhere else.
func TestIndexLinks(t *testing.T) {
	rows := func(links ...string) iter.Seq2[report.IndexRow, error] {
		return func(yield func(report.IndexRow, error) bool) {
			for _, l := range links {
				if !yield(report.IndexRow{Name: "run", Link: l}, nil) {
					return
				}
			}
		}
	}
	html := string(indexOf(t, report.IndexHead{}, rows("javascript:alert(1)", "https://example.org/", "//example.org/x", "/etc/passwd", "../x.html", "data:text/html,x")))
	assert.NotContains(t, html, "<a ")
	html = string(indexOf(t, report.IndexHead{}, rows("salt marsh-1/report.html")))
	assert.Contains(t, html, `<a href="salt%20marsh-1/report.html">`)
}

func TestIndexSortsAndFilters(t *testing.T) {
	b := open(t, indexOf(t, report.IndexHead{Title: "Launches"}, manyRows(2000, nil)), 1280)
	column := func(at int) []string {
		return eval[[]string](b, fmt.Sprintf(`[...document.querySelectorAll("#runs tbody tr:not([hidden])")].map((r) => r.cells[%d].textContent)`, at))
	}
	press := func(at int) {
		eval[bool](b, fmt.Sprintf(`(document.querySelector("[data-sort='%d']").focus(), true)`, at))
		b.key("Enter", "\r", 13, 0)
	}
	press(2)
	seeds := column(2)
	assert.Equal(t, []string{"0", "1", "2"}, seeds[:3])
	press(2)
	assert.Equal(t, []string{"1999", "1998"}, column(2)[:2])
	assert.Equal(t, "descending", eval[string](b, `document.querySelector("th[aria-sort]").getAttribute("aria-sort")`))
	press(4)
	margins := column(4)
	assert.True(t, strings.HasPrefix(margins[0], "\u2212"), margins[0])
	assert.Empty(t, margins[len(margins)-1], "rows without a margin stay last")
	press(4)
	assert.Empty(t, column(4)[1999])

	eval[bool](b, `(document.querySelector("input[value=fails]").click(), true)`)
	assert.Len(t, column(0), 286)
	assert.Equal(t, "286 of 2000 shown", eval[string](b, `document.getElementById("count").textContent`))
	eval[bool](b, `(() => { const w = document.getElementById("words"); w.value = "grip 1.003"; w.dispatchEvent(new Event("input")); return true; })()`)
	for _, name := range column(1) {
		assert.Contains(t, name, "grip 1.003")
	}
}
