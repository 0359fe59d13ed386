package report_test

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

// brokenRun is a launch under a controller that is broken in a known way, judged
// by the standard requirements. Runs are made once and shared: tests that change
// one take clone.
func brokenRun(t testing.TB, name string) *report.Run {
	t.Helper()
	if made[name] == nil {
		made[name] = makeBroken(t, name)
	}
	return made[name]
}

var made = map[string]*report.Run{}

func makeBroken(t testing.TB, name string) *report.Run {
	t.Helper()
	b := brokenUnit(t, name)
	tr, res, cal := drive(t, b.Script, b.Unit(), 1)
	res.Unit = "broken on purpose: " + b.Name
	res.Repeat = "holdline run proving/" + b.Script + ".toml --seed 1"
	reqs, err := stl.Standard(cal)
	require.NoError(t, err)
	res.Requirements, err = stl.Judge(tr, cal, reqs)
	require.NoError(t, err)
	res.Verdict = stl.Overall(res.Requirements)
	margins, err := report.Margins(tr, cal, reqs, true, 400)
	require.NoError(t, err)
	return &report.Run{Results: res, Trace: tr, Margins: margins}
}

// clone copies what tests change: results, columns and commits.
func clone(r *report.Run) *report.Run {
	out, res, tr := *r, *r.Results, *r.Trace
	res.Requirements = slices.Clone(res.Requirements)
	res.Stages, res.Shots = slices.Clone(res.Stages), slices.Clone(res.Shots)
	tr.Columns = slices.Clone(tr.Columns)
	for i := range tr.Columns {
		tr.Columns[i].Data = slices.Clone(tr.Columns[i].Data)
	}
	tr.Events = slices.Clone(tr.Events)
	out.Results, out.Trace = &res, &tr
	return &out
}

func pageOf(t testing.TB, r *report.Run) []byte {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, report.Page(&out, r))
	return out.Bytes()
}

// HOLDLINE_PAGES=DIR leaves a page of each kind and its pictures there, to be
// looked at.
func TestLeavePages(t *testing.T) {
	dir := os.Getenv("HOLDLINE_PAGES")
	if dir == "" {
		t.Skip("set HOLDLINE_PAGES to a folder to keep pages")
	}
	keep := func(name string, html []byte) {
		require.NoError(t, os.WriteFile(dir+"/"+name+".html", html, 0o644))
		for _, width := range []int64{1280, 390} {
			b := open(t, html, width)
			b.leave(fmt.Sprintf("%s-%d", name, width), true)
			b.grey()
			b.leave(fmt.Sprintf("%s-%d-grey", name, width), true)
			if eval[bool](b, `!!document.querySelector("tr button[data-mark]")`) {
				eval[bool](b, `(document.querySelector("tr button[data-mark]").click(), true)`)
				b.settle()
				b.leave(fmt.Sprintf("%s-%d-near", name, width), true)
			}
		}
	}
	for _, name := range []string{"wrong sign", "fuel and spark now"} {
		keep(harness.Slug(name), pageOf(t, brokenRun(t, name)))
	}
	good := launched(t, "saltmarsh-launch.toml", 1, &harness.Reference{}, nil)
	keep("saltmarsh", pageOf(t, good))
	other := launched(t, "iron-heron-small-shot.toml", 2, &harness.Reference{}, nil)
	keep("heron", pageOf(t, other))
	keep("overlay", overlayOf(t, good, launched(t, "saltmarsh-launch.toml", 2, &harness.Reference{}, nil)))
	keep("tables", tablesOf(t, good.Calibration))
	keep("tables-proving", tablesOf(t, proving.Car()))
	keep("index", indexOf(t, report.IndexHead{Title: "Launches on a green track", Repeat: "holdline run examples/scenarios/saltmarsh-launch.toml --repeats 40"}, manyRows(40, nil)))
}

func plainNumber(x float64) string {
	return strings.Replace(strconv.FormatFloat(x, 'f', -1, 64), "-", "\u2212", 1)
}
