package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/holdline/holdline/harness"
)

const screenWidth = harness.ScreenWidth

// printSummary shows one run on a screen of 80 columns: a timeline of the
// stages, the launch sequence, cuts by cylinder, shots, and for each thing that
// never became active the reason that stopped it longest.
func printSummary(w io.Writer, r *harness.Results) {
	fmt.Fprintf(w, "%s\n", cutTo(fmt.Sprintf("%s on %s", r.Unit, r.Source), screenWidth))
	fmt.Fprintf(w, "calibration %q, %s of %g ms ticks\n", r.Calibration, seconds(r.Seconds), r.Period*1000)
	if !r.Complete {
		fmt.Fprintf(w, "STOPPED EARLY: %s\n", r.Stopped)
	}
	for _, n := range r.Notes {
		harness.Wrap(w, "note: ", n)
	}
	printTimeline(w, r)
	printSequence(w, r)
	printCuts(w, r)
	printShots(w, r)
	printNever(w, r)
	printLost(w, r)
}

func seconds(s float64) string {
	if s >= 100 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.2f s", s)
}

func cutTo(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-3]) + "..."
	}
	return s
}

const (
	nameWidth = 16
	barWidth  = 44
)

// printTimeline draws when each stage was active: # in force, - not.
func printTimeline(w io.Writer, r *harness.Results) {
	fmt.Fprintf(w, "\n%-*s %-*s %8s %7s\n", nameWidth, "stage", barWidth, timelineHead(r.Seconds), "active", "entries")
	for _, s := range r.Stages {
		fmt.Fprintf(w, "%-*s %s %8s %7d\n", nameWidth, cutTo(s.Name, nameWidth), bar(s.Spans, r.Seconds, '#'), seconds(s.Active), s.Entries)
	}
	for _, s := range r.Shots {
		fmt.Fprintf(w, "%-*s %s %8s %7d\n", nameWidth, cutTo("shot "+s.Name, nameWidth), bar(s.Spans, r.Seconds, 'o'), seconds(s.Open), s.Openings)
	}
}

func timelineHead(total float64) string {
	end := seconds(total)
	return "0" + strings.Repeat(" ", barWidth-1-len(end)) + end
}

// bar marks every cell that a span touches, however short.
func bar(spans []harness.Span, total float64, mark byte) string {
	cells := []byte(strings.Repeat("-", barWidth))
	if total <= 0 {
		return string(cells)
	}
	for _, s := range spans {
		from := min(int(s.From/total*barWidth), barWidth-1)
		to := min(int(s.To/total*barWidth), barWidth-1)
		for i := from; i <= to; i++ {
			cells[i] = mark
		}
	}
	return string(cells)
}

const mostLines = 12

func printSequence(w io.Writer, r *harness.Results) {
	fmt.Fprintf(w, "\nlaunch sequence: %d released, %s, %d aborted\n", r.Launches, harness.Count(r.Bumps, "bump"), r.Aborts)
	for i, s := range r.Sequence {
		if i == mostLines {
			fmt.Fprintf(w, "  ... and %d more changes, all in results.json\n", len(r.Sequence)-i)
			return
		}
		fmt.Fprintf(w, "  %9.3f to %9.3f s  %s\n", s.From, s.To, s.State)
	}
}

func printCuts(w io.Writer, r *harness.Results) {
	total := 0
	for _, c := range r.Cuts.Cylinders {
		total += c.Fuel + c.Spark
	}
	if total == 0 {
		fmt.Fprintln(w, "\ncuts: none")
		return
	}
	fmt.Fprintf(w, "\n%-9s %9s %14s %14s %22s\n", "cylinder", "cycles", "fuel withheld", "spark withheld", "longest run without")
	for _, c := range r.Cuts.Cylinders {
		fmt.Fprintf(w, "%-9d %9d %14d %14d %22d\n", c.Cylinder, c.Cycles, c.Fuel, c.Spark, c.Longest)
	}
	if r.Cuts.Unburnt+r.Cuts.Overrun+r.Cuts.Blind > 0 {
		fmt.Fprintf(w, "charges passed unburnt %d, overrun %d, withheld for lack of speed %d\n", r.Cuts.Unburnt, r.Cuts.Overrun, r.Cuts.Blind)
	}
	for _, s := range r.Stages {
		if s.Cutting > 0 {
			fmt.Fprintf(w, "cutting for %-*s %s\n", nameWidth, s.Name, seconds(s.Cutting))
		}
	}
}

func printShots(w io.Writer, r *harness.Results) {
	for _, s := range r.Shots {
		if s.Openings > 0 {
			fmt.Fprintf(w, "\nshot %s: open %s in %s\n", s.Name, seconds(s.Open), harness.Count(s.Openings, "opening"))
		}
	}
}

const neverWidth = 18 // leaves room for the longest reason in 80 columns

// printNever names what stopped a stage or shot that never became active.
func printNever(w io.Writer, r *harness.Results) {
	first := true
	tell := func(name string, list []harness.Inhibited) {
		if first {
			fmt.Fprintln(w, "\nnever active, and what stopped it longest")
			first = false
		}
		x := harness.Longest(list)
		if x.Reason == "" {
			fmt.Fprintf(w, "  %-*s no reason was reported\n", neverWidth, cutTo(name, neverWidth))
			return
		}
		fmt.Fprintf(w, "  %-*s %s, %s in all, longest %.1f to %.1f s\n", neverWidth, cutTo(name, neverWidth), x.Reason, seconds(x.Seconds), x.Longest.From, x.Longest.To)
	}
	for _, s := range r.Stages {
		if s.Entries == 0 {
			tell(s.Name, s.Inhibited)
		}
	}
	for _, s := range r.Shots {
		if s.Openings == 0 {
			tell("shot "+s.Name, s.Inhibited)
		}
	}
}

func printLost(w io.Writer, r *harness.Results) {
	for i, l := range r.Lost {
		if i == 0 {
			fmt.Fprintln(w, "\nchannels that were lost")
		}
		fmt.Fprintf(w, "  %-24s %s\n", l.Channel, seconds(l.Seconds))
	}
}
