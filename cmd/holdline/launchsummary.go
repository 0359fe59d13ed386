package main

import (
	"bytes"
	"encoding/csv"
	"path/filepath"
	"strconv"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

// together puts several runs into the one schema of results.json.
func together(verb, repeat string, runs []harness.Results) *harness.Results {
	all := &harness.Results{
		Schema: harness.ResultsSchema, Verb: verb, Repeat: repeat, Verdict: harness.VerdictNone,
		Requirements: []harness.RequirementResult{}, Complete: true, Runs: runs,
	}
	for i := range runs {
		all.Complete = all.Complete && runs[i].Complete
		all.Seconds += runs[i].Seconds
		all.Ticks += runs[i].Ticks
		all.Launches += runs[i].Launches
	}
	if len(runs) > 0 {
		all.Unit, all.Seed, all.Period = runs[0].Unit, runs[0].Seed, runs[0].Period
	}
	return all
}

func saveResults(dir string, r *harness.Results) error {
	text, err := r.JSON()
	if err != nil {
		return err
	}
	return files.WriteFile(filepath.Join(dir, resultsFile), text, true)
}

func saveSummary(dir string, runs []harness.Results) error {
	return files.WriteFile(filepath.Join(dir, summaryFile), summaryTable(runs), true)
}

// summaryTable is summary.csv: a line a launch.
func summaryTable(all []harness.Results) []byte {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	_ = w.Write([]string{"run", "seed", "hold (rpm)", "hold sd (rpm)", "release pressure (kPa)", "to target (s)", "withheld",
		"60 ft (s)", "330 ft (s)", "1/8 mile (s)", "1/4 mile (s)", "trap (m/s)", "spin", "bog", "ceiling", "limited by"})
	for i := range all {
		l := all[i].Launch
		if l == nil {
			continue
		}
		f := func(x float64, digits int) string { return strconv.FormatFloat(x, 'f', digits, 64) }
		_ = w.Write([]string{all[i].Title(), strconv.FormatUint(all[i].Seed, 10), f(l.HoldSpeed, 1), f(l.HoldSD, 1), f(l.Pressure, 1),
			f(l.ToTarget, 3), f(l.Withheld, 3), f(l.Feet60, 4), f(l.Feet330, 4), f(l.Eighth, 4), f(l.Quarter, 4), f(l.Trap, 2),
			f(l.Spin, 3), f(l.Bog, 3), f(l.Cut, 3), l.Limit})
	}
	w.Flush() // a buffer does not fail
	return out.Bytes()
}
