package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/require"
)

// verdictOf is the worst verdict of several runs.
func verdictOf(runs []harness.Results) string {
	worst := harness.VerdictNone
	for i := range runs {
		switch v := runs[i].Verdict; {
		case v == harness.VerdictFails:
			return v
		case v == harness.VerdictInconclusive || worst == harness.VerdictNone:
			worst = v
		}
	}
	return worst
}

// printVerdicts gives one line a run: its verdict and smallest margin, and the
// command that repeats a failure.
func printVerdicts(w io.Writer, runs []harness.Results) {
	for i := range runs {
		r := &runs[i]
		if len(r.Requirements) == 0 {
			continue
		}
		printHeading(w, runs, i)
		line := fmt.Sprintf("%-*s %4d  %s", labelWidth, cutTo(r.Varied, labelWidth), r.Seed, r.Verdict)
		if c, ok := require.Closest(r.Requirements); ok {
			line += fmt.Sprintf(", closest: %s %.4g %s", c.ID, c.Margin, c.Unit)
		}
		fmt.Fprintln(w, cutTo(strings.TrimRight(line, " "), screenWidth))
		printBroken(w, r)
	}
}

// mostOpen is how many requirements are named that a run which stopped early left
// open: it leaves open nearly all.
const mostOpen = 3

func printBroken(w io.Writer, r *harness.Results) {
	if r.Verdict == harness.VerdictHolds {
		return
	}
	shown, open := 0, 0
	for _, q := range require.Ranked(r.Requirements) {
		switch {
		case q.Verdict == harness.VerdictHolds:
		case q.Verdict == harness.VerdictInconclusive && !r.Complete && shown == mostOpen:
			open++
		default:
			shown++
			harness.Wrap(w, "  ", fmt.Sprintf("%s %s: margin %.4g %s at %.3f s", q.ID, q.Verdict, q.Margin, q.Unit, q.ClosestAt))
		}
	}
	if open > 0 {
		fmt.Fprintf(w, "  and %d more that the end of the run left open\n", open)
	}
	fmt.Fprintln(w, "  repeat: "+r.Repeat) // in one piece, to be copied
}

// saveJUnit writes junit.xml, a suite a run.
func saveJUnit(dir string, runs []harness.Results) error {
	var suites []require.Suite
	for i := range runs {
		r := &runs[i]
		suites = append(suites, require.Suite{Name: r.Title(), Seed: r.Seed, Repeat: r.Repeat, Seconds: r.Seconds, Results: r.Requirements})
	}
	var text bytes.Buffer
	if err := require.WriteJUnit(&text, suites); err != nil {
		return err
	}
	return files.WriteFile(filepath.Join(dir, "junit.xml"), text.Bytes(), true)
}

// verdictStatus turns a verdict into an exit status.
func verdictStatus(verdict string, strict, vacuous bool) error {
	switch {
	case verdict == harness.VerdictFails, verdict == harness.VerdictInconclusive:
		return withStatus(exitFailed, fmt.Errorf("verdict: %s", verdict))
	case strict && vacuous:
		return withStatus(exitFailed, errors.New("verdict: holds, but a requirement was never put to the test (--strict)"))
	}
	return nil
}

// anyVacuous reports whether a premise was never true in any of the runs.
func anyVacuous(runs []harness.Results) bool {
	tested := map[string]bool{}
	for i := range runs {
		for _, q := range runs[i].Requirements {
			tested[q.ID] = tested[q.ID] || !q.Vacuous
		}
	}
	for _, ok := range tested {
		if !ok {
			return true
		}
	}
	return false
}
