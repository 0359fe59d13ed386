package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
)

const runLong = `Run launches simulated cars under the reference controller, closed loop: the
engine answers every cut. A scenario names a car, a calibration, what the driver
does, the surface, the weather and a seed; or a recording, an open loop. It can
ask for faults, for requirements, and for values to vary.

The same scenario and seed give the same result on every machine.`

type runOptions struct {
	out         string
	force, json bool
	truth       bool
	require     []string
	set         []string
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
		Args:    takes(1, -1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runScenarios(cmd, args, o) },
	}
	o.flags(c.Flags())
	numberFlag(c.Flags(), &o.workers, "workers", 0, mostWorkers, "runs at a time (0: one a core)")
	return c
}

// flags are those of every verb that runs scenarios.
func (o *runOptions) flags(f *pflag.FlagSet) {
	f.StringVarP(&o.out, "out", "o", "", "write results, and trace, events and picture of every run, to `DIR`")
	f.BoolVar(&o.force, "force", false, "overwrite results of an earlier run in DIR")
	f.BoolVar(&o.json, "json", false, "print the results as JSON instead of a summary")
	f.BoolVar(&o.truth, "truth", false, "write truth.csv too: every channel of the simulated car itself")
	f.StringArrayVar(&o.require, "require", nil, "judge every run by a requirement `SET`: standard, standard/NAME, or a requirements file")
	f.StringArrayVar(&o.set, "set", nil, "change one value of the scenario: `PATH=VALUE`, such as surface.grip=1.4, calibration.stage.launch.ceiling_rpm=4200, car.launch.k0=40")
	f.BoolVar(&o.strict, "strict", false, "fail if a requirement was never put to the test")
	o.seed = -1
	numberFlag(f, &o.seed, "seed", 0, mostSeed, "first seed, instead of the scenario's")
	numberFlag(f, &o.repeats, "repeats", 1, 100000, "runs of each scenario, instead of the scenario's")
}

func runScenarios(cmd *cobra.Command, paths []string, o runOptions) error {
	if o.out == "" {
		if err := idle(cmd, "only with --out DIR, where results are kept", "truth", "force"); err != nil {
			return err
		}
	}
	jobs, findings := scenarioJobs("run", paths, o)
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
		if err := saveRuns(o.out, all, results, foldersOf(jobs, len(results))); err != nil {
			return errors.Join(runErr, err)
		}
	}
	if err := tellRuns(cmd.OutOrStdout(), all, results, jobs, o); err != nil {
		return err
	}
	caution(cmd.OutOrStdout(), jobs, o.json)
	if runErr != nil {
		return interrupted(runErr)
	}
	return verdictStatus(all.Verdict, o.strict, anyVacuous(results))
}

// caution warns where late ignition or a shot is in play.
func caution(w io.Writer, jobs []*job, asJSON bool) {
	if slices.ContainsFunc(jobs, func(j *job) bool { return hot(j.Cal) }) && !asJSON {
		harness.Wrap(w, "caution: ", cautionText)
	}
}

// scenarioJobs loads every scenario and lists its runs.
func scenarioJobs(verb string, paths []string, o runOptions) (jobs []*job, all harness.Findings) {
	options := scenario.Options{Require: o.require, Seed: o.seed, Repeats: o.repeats}
	for _, text := range o.set {
		c, err := files.ParseChange(text)
		if err != nil {
			all = append(all, harness.Finding{Severity: harness.Error, Field: "--set", Reason: err.Error()})
		}
		options.Changes = append(options.Changes, c)
	}
	if all.Failed() {
		return nil, all
	}
	taken := map[string]int{} // folders: two scenarios may have one name, or be one
	for _, path := range paths {
		loaded, findings := scenario.Load(path, options)
		all = append(all, findings...)
		for i, s := range loaded {
			if o.truth && s.Model == nil {
				all = append(all, harness.Finding{Severity: harness.Error, File: path, Field: "--truth", Reason: "a recording has no simulated car whose truth could be written"})
			}
			for _, one := range s.Jobs(verb) {
				folder := o.folder(s, i, one.Seed)
				if taken[folder]++; folder != "" && taken[folder] > 1 {
					folder = fmt.Sprintf("%s.%d", folder, taken[folder])
				}
				jobs = append(jobs, &job{Job: one, folder: folder, truth: o.truth, overwrite: o.force})
			}
		}
	}
	return jobs, all
}

// folder names a run's folder by its scenario, its combination of varied values
// if there are several, and its seed.
func (o *runOptions) folder(s *scenario.Loaded, point int, seed uint64) string {
	if o.out == "" {
		return ""
	}
	name := harness.Slug(strings.TrimSuffix(filepath.Base(s.File), filepath.Ext(s.File)))
	if len(s.Point) > 0 {
		name = fmt.Sprintf("%s-%03d", name, point+1)
	}
	return filepath.Join(o.out, fmt.Sprintf("%s-%d", name, seed))
}

func runCommandLine(paths []string, o runOptions) string {
	parts := []string{"holdline", "run"}
	for _, p := range paths {
		parts = append(parts, scenario.ShellWord(filepath.ToSlash(p)))
	}
	for _, c := range o.set {
		parts = append(parts, "--set", scenario.ShellWord(c))
	}
	if o.seed >= 0 {
		parts = append(parts, "--seed", fmt.Sprint(o.seed))
	}
	if o.repeats > 0 {
		parts = append(parts, "--repeats", fmt.Sprint(o.repeats))
	}
	for _, r := range o.require {
		parts = append(parts, "--require", scenario.ShellWord(r))
	}
	return strings.Join(parts, " ")
}

// tellRuns prints the JSON, the summary of one run, or a line for each of
// several.
func tellRuns(w io.Writer, all *harness.Results, runs []harness.Results, jobs []*job, o runOptions) error {
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
		fmt.Fprintf(w, "\nresults in %s, page: %s\n", o.out, pageOf(o.out, foldersOf(jobs, len(runs))))
	}
	return nil
}

// labelWidth is that of the values that a scenario varies.
const labelWidth = 26

// printHeading names a scenario above its first run.
func printHeading(w io.Writer, runs []harness.Results, i int) {
	if i == 0 || runs[i].Source != runs[i-1].Source {
		fmt.Fprintln(w, cutTo(runs[i].Source, screenWidth))
	}
}

// printLaunches is a line a launch, with the words of the demo's tables.
func printLaunches(w io.Writer, runs []harness.Results) {
	if !slices.ContainsFunc(runs, func(r harness.Results) bool { return r.Launch != nil }) {
		return
	}
	fmt.Fprintf(w, "%-*s %4s %5s %5s %4s %6s %6s %6s  %s\n", labelWidth, "launch", "seed", "hold", "+-rpm", "kPa", "60 ft", "1/8", "1/4", "limit")
	for i := range runs {
		r := &runs[i]
		printHeading(w, runs, i)
		label := cutTo(r.Varied, labelWidth)
		switch l := r.Launch; {
		case !r.Complete:
			fmt.Fprintf(w, "%-*s %4d stopped: %s\n", labelWidth, label, r.Seed, r.Stopped)
		case l == nil:
			fmt.Fprintf(w, "%-*s %4d a recording of %.0f s, %s\n", labelWidth, label, r.Seed, r.Seconds, harness.Count(r.Launches, "launch"))
		default:
			fmt.Fprintf(w, "%-*s %4d %5.0f %5.0f %4.0f %6s %6s %6s  %s\n", labelWidth, label, r.Seed,
				l.HoldSpeed, l.HoldSD, l.Pressure, clock(l.Feet60, 2), clock(l.Eighth, 2), clock(l.Quarter, 2), l.Limit)
		}
	}
	fmt.Fprintln(w)
}
