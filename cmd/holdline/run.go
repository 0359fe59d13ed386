package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
)

const runLong = `Run launches simulated cars under the reference controller, closed loop: the
engine answers every cut. A scenario names a car, a calibration, what the driver
does, the surface, the weather and a seed.

The same scenario and seed give the same result on every machine.`

type runOptions struct {
	out         string
	force, json bool
	truth       bool
	require     []string
	strict      bool
	seed        int64
	repeats     int
	workers     int
}

func runCommand() *cobra.Command {
	var o runOptions
	c := &cobra.Command{
		Use:     "run SCENARIO...",
		Short:   "Launch simulated cars",
		Long:    runLong,
		Example: "  holdline run examples/scenarios/saltmarsh-launch.toml -o out",
		Args:    cobra.MinimumNArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runScenarios(cmd, args, o) },
	}
	f := c.Flags()
	f.StringVarP(&o.out, "out", "o", "", "write results, and trace, events and picture of every run, to `DIR`")
	f.BoolVar(&o.force, "force", false, "overwrite results of an earlier run in DIR")
	f.BoolVar(&o.json, "json", false, "print the results as JSON instead of a summary")
	f.BoolVar(&o.truth, "truth", false, "write truth.csv too: every channel of the simulated car itself")
	f.StringArrayVar(&o.require, "require", nil, "judge every run by a requirement `SET`: standard, standard/NAME, or a requirements file")
	f.BoolVar(&o.strict, "strict", false, "fail if a requirement was never put to the test")
	f.Int64Var(&o.seed, "seed", -1, "first seed, instead of the scenario's")
	f.IntVar(&o.repeats, "repeats", 0, "runs of each scenario, instead of the scenario's")
	f.IntVar(&o.workers, "workers", 0, "runs at a time (0: one a core)")
	return c
}

func runScenarios(cmd *cobra.Command, paths []string, o runOptions) error {
	jobs, findings := scenarioJobs(paths, o)
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return errors.New("nothing was run: mend the errors above")
	}
	if o.out != "" {
		if err := prepareDir(o.out, o.force); err != nil {
			return err
		}
	}
	if o.workers < 1 {
		o.workers = defaultWorkers()
	}
	results, runErr := runAll(cmd.Context(), jobs, o.workers, countLine(cmd.ErrOrStderr(), "run"))
	all := &results[0]
	if len(results) > 1 {
		all = together("run", runCommandLine(paths, o), results)
		all.Verdict = verdictOf(results)
	}
	if o.out != "" {
		if err := errors.Join(saveResults(o.out, all), saveSummary(o.out, results), saveJUnit(o.out, results)); err != nil {
			return errors.Join(runErr, err)
		}
	}
	if err := tellRuns(cmd.OutOrStdout(), all, results, o); err != nil {
		return err
	}
	if slices.ContainsFunc(jobs, func(j *launchJob) bool { return hot(j.cal) }) && !o.json {
		printWrapped(cmd.OutOrStdout(), "caution: ", cautionText)
	}
	if runErr != nil {
		return interrupted(runErr)
	}
	return verdictStatus(all.Verdict, o.strict, anyVacuous(results))
}

// scenarioJobs loads every scenario and lists its runs.
func scenarioJobs(paths []string, o runOptions) (jobs []*launchJob, all harness.Findings) {
	for _, path := range paths {
		s, findings := files.LoadScenario(path)
		all = append(all, findings...)
		if s == nil {
			continue
		}
		if o.seed >= 0 {
			s.Seed = o.seed
		}
		if o.repeats > 0 {
			s.Repeats = o.repeats
		}
		reqs, findings := requirementsFor(s.Cal, o.require)
		all = append(all, findings...)
		for run := range s.Repeats {
			j := scenarioJob(s, run, o)
			j.required = reqs
			jobs = append(jobs, j)
		}
	}
	return jobs, all
}

func scenarioJob(s *files.LoadedScenario, run int, o runOptions) *launchJob {
	j := &launchJob{
		name: s.Name, verb: "run", model: s.Model, cal: s.Cal, cond: s.Conditions(run), script: &s.Script,
		shift: s.ShiftRPM, until: s.DistanceM, most: s.LongestS, target: s.Target, teeth: s.DecodeTeeth, truth: o.truth, overwrite: o.force,
	}
	j.repeat = fmt.Sprintf("holdline run %s --seed %d --repeats 1%s", quote(filepath.ToSlash(s.File)), j.cond.Seed, requireWords(o))
	if o.out != "" {
		name := strings.TrimSuffix(filepath.Base(s.File), filepath.Ext(s.File))
		j.folder = filepath.Join(o.out, fmt.Sprintf("%s-%d", harness.Slug(name), j.cond.Seed))
	}
	return j
}

func requireWords(o runOptions) (text string) {
	for _, r := range o.require {
		text += " --require " + quote(r)
	}
	return text
}

func runCommandLine(paths []string, o runOptions) string {
	parts := []string{"holdline", "run"}
	for _, p := range paths {
		parts = append(parts, quote(filepath.ToSlash(p)))
	}
	if o.seed >= 0 {
		parts = append(parts, "--seed", fmt.Sprint(o.seed))
	}
	if o.repeats > 0 {
		parts = append(parts, "--repeats", fmt.Sprint(o.repeats))
	}
	return strings.Join(parts, " ") + requireWords(o)
}

// tellRuns prints the JSON, the summary of one run, or a line for each of
// several.
func tellRuns(w io.Writer, all *harness.Results, runs []harness.Results, o runOptions) error {
	if o.json {
		text, err := all.JSON()
		if err != nil {
			return err
		}
		_, err = w.Write(text)
		return err
	}
	if len(runs) == 1 {
		printSummary(w, &runs[0])
		fmt.Fprintln(w)
	}
	printLaunches(w, runs)
	printVerdicts(w, runs)
	if o.out != "" {
		fmt.Fprintf(w, "\nresults in %s\n", o.out)
	}
	return nil
}

const launchNameWidth = 16

// printLaunches is a line a run, with the words of the demo's tables.
func printLaunches(w io.Writer, runs []harness.Results) {
	fmt.Fprintf(w, "%-*s %4s %5s %5s %4s %6s %6s %6s %6s  %s\n", launchNameWidth, "launch", "seed", "hold", "+-rpm", "kPa", "target", "60 ft", "1/8", "1/4", "limited by")
	for i := range runs {
		r := &runs[i]
		if r.Launch == nil {
			fmt.Fprintf(w, "%-*s %4d stopped: %s\n", launchNameWidth, cutTo(r.Source, launchNameWidth), r.Seed, r.Stopped)
			continue
		}
		l := r.Launch
		fmt.Fprintf(w, "%-*s %4d %5.0f %5.0f %4.0f %6s %6s %6s %6s  %s\n", launchNameWidth, cutTo(r.Source, launchNameWidth), r.Seed,
			l.HoldSpeed, l.HoldSD, l.Pressure, clock(l.ToTarget, 2), clock(l.Feet60, 2), clock(l.Eighth, 2), clock(l.Quarter, 2), l.Limit)
	}
}
