package main

import (
	"fmt"
	"io"
	"slices"

	"gonum.org/v1/gonum/stat"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/stats"
)

// repeated are the launches of one folder that was named: what repeats.
type repeated struct {
	name string
	runs []*harness.Results
}

// measures are what is compared from launch to launch.
var measures = []struct {
	name string
	of   func(*harness.LaunchResult) float64
}{
	{"60 ft (s)", func(l *harness.LaunchResult) float64 { return l.Feet60 }},
	{"1/8 mile (s)", func(l *harness.LaunchResult) float64 { return l.Eighth }},
	{"1/4 mile (s)", func(l *harness.LaunchResult) float64 { return l.Quarter }},
	{"held at (rpm)", func(l *harness.LaunchResult) float64 { return l.HoldSpeed }},
	{"pressure (kPa)", func(l *harness.LaunchResult) float64 { return l.Pressure }},
}

// reached gives a measure of the launches that came there, with the launches.
func (g *repeated) reached(of func(*harness.LaunchResult) float64) (values []float64, runs []*harness.Results) {
	for _, r := range g.runs {
		if r.Launch != nil && of(r.Launch) > 0 {
			values, runs = append(values, of(r.Launch)), append(runs, r)
		}
	}
	return values, runs
}

// printRepeats says how repeatable launches are, and what a change did.
func printRepeats(w io.Writer, groups []repeated) {
	for i := range groups {
		printRepeat(w, &groups[i])
	}
	for i := 1; i < len(groups); i++ {
		printChange(w, &groups[0], &groups[i])
	}
}

func printRepeat(w io.Writer, g *repeated) {
	first := true
	for _, m := range measures {
		values, runs := g.reached(m.of)
		if len(values) < 2 {
			continue
		}
		if first {
			fmt.Fprintf(w, "\n%s, %s\n", cutTo(g.name, 60), harness.Count(len(g.runs), "launch"))
			fmt.Fprintf(w, "%-14s %4s %9s %-19s %7s %-17s %9s\n", "", "n", "mean", " (95 %)", "spread", " (95 %)", "median")
			first = false
		}
		d := stats.Describe(slices.Sorted(slices.Values(values)))
		fmt.Fprintf(w, "%-14s %4d %9.4g %-19s %7.3g %-17s %9.4g\n", m.name, d.N, d.Mean, fmt.Sprintf("(%.4g to %.4g)", d.MeanIn.Low, d.MeanIn.High),
			d.SD, fmt.Sprintf("(%.3g to %.3g)", d.SDIn.Low, d.SDIn.High), d.Median)
		for _, k := range stats.Outliers(values) {
			r := runs[k]
			harness.Wrap(w, "    ", fmt.Sprintf("far from the others: %.4g, seed %d, limited by %s. Again: %s", values[k], r.Seed, r.Launch.Limit, r.Repeat))
		}
	}
	if n := len(g.runs); !first {
		if values, _ := g.reached(measures[0].of); len(values) < n {
			fmt.Fprintf(w, "%d of %d never came to 60 ft\n", n-len(values), n)
		}
	}
}

// printChange compares two groups launch by launch, where both have the same
// seeds.
func printChange(w io.Writer, a, b *repeated) {
	for _, m := range measures[:1] {
		before := map[uint64]float64{}
		values, runs := a.reached(m.of)
		for i, r := range runs {
			before[r.Seed] = values[i]
		}
		var d []float64
		values, runs = b.reached(m.of)
		for i, r := range runs {
			if x, ok := before[r.Seed]; ok {
				d = append(d, values[i]-x)
			}
		}
		label := fmt.Sprintf("%s against %s: ", cutTo(b.name, 40), cutTo(a.name, 40))
		if len(d) < 2 {
			harness.Wrap(w, "", label+"no two launches of the same seed, so that nothing is compared pair by pair")
			continue
		}
		mean, sd := stat.MeanStdDev(d, nil)
		in := stats.MeanInterval(len(d), mean, sd)
		told := "cannot be told from none"
		if in.Low > 0 || in.High < 0 {
			told = "is told"
		}
		harness.Wrap(w, "", fmt.Sprintf("%s%s %+.3f (%+.3f to %+.3f) over %d pairs of the same seed, middle of the differences %+.3f: a difference %s", label, m.name, mean, in.Low, in.High, len(d), stats.HodgesLehmann(d), told))
	}
}
