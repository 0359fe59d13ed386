package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/sweep"
)

const sweepLong = `Sweep runs the launches of a plan: values by their paths over lists, ranges and
space-filling samples, with scatter, judged by requirements. It leaves a line a
launch, a summary and a page with pictures.

It can be stopped at any time; the same command goes on from there. Many tasks of
a scheduler can run a part each, with --shard; merge puts the parts together.
Every launch follows from plan, number and seed alone.

Results are those of a model: they show directions, not the numbers of your car.`

type sweepOptions struct {
	out, shard     string
	workers        int
	launch         int64
	suggest, force bool
}

func sweepCommand() *cobra.Command {
	o := sweepOptions{launch: -1}
	c := &cobra.Command{
		Use:     "sweep PLAN",
		Short:   "Run many launches over values of your choice",
		Long:    sweepLong,
		Example: "  holdline sweep examples/sweeps/saltmarsh-ceiling.toml -o out",
		Args:    takes(1, 1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runSweep(cmd, args[0], o) },
	}
	f := c.Flags()
	f.StringVarP(&o.out, "out", "o", "", "write results to `DIR`")
	f.StringVar(&o.shard, "shard", "", "run part `I/N` only; auto: what the scheduler's variables say")
	numberFlag(f, &o.workers, "workers", 0, mostWorkers, "launches at a time (0: one a core)")
	numberFlag(f, &o.launch, "launch", 0, mostSeed, "run launch `N` of the plan alone, and keep its trace")
	f.BoolVar(&o.suggest, "suggest", false, "measure into how many tasks the plan should be cut, and stop")
	f.BoolVar(&o.force, "force", false, "overwrite an earlier --launch in DIR")
	return c
}

func runSweep(cmd *cobra.Command, path string, o sweepOptions) error {
	p, findings := sweep.Load(path)
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return errors.New("nothing was run: mend the errors above")
	}
	if o.suggest {
		if err := idle(cmd, "not with --suggest, which measures and stops", "out", "shard", "launch", "force"); err != nil {
			return err
		}
	}
	if o.launch >= 0 {
		if err := idle(cmd, "not with --launch, which runs one alone", "shard", "workers"); err != nil {
			return err
		}
	}
	workers := sweep.Workers(o.workers, runtime.GOMAXPROCS(0), os.LookupEnv)
	switch {
	case o.suggest:
		s, err := sweep.Suggest(cmd.Context(), p, workers)
		if err != nil {
			return interrupted(err)
		}
		fmt.Fprintln(cmd.OutOrStdout(), s)
		return nil
	case o.out == "":
		return errors.New("name a folder for the results with --out DIR; stopped, the sweep goes on from what is there")
	case o.launch >= 0:
		return sweepLaunch(cmd, p, o)
	}
	task, err := sweep.DetectShard(o.shard, p.Shards, os.LookupEnv)
	if err != nil {
		return err
	}
	if task.Shard != sweep.Whole {
		fmt.Fprintf(cmd.ErrOrStderr(), "part %s, from %s\n", task.Shard, task.From)
	}
	report, err := sweep.Run(cmd.Context(), p, sweep.Options{Out: o.out, Shard: task.Shard, Workers: workers, Progress: sweepLine(cmd.ErrOrStderr())})
	if err := sweepStatus(err); err != nil {
		return err
	}
	if report.Already {
		fmt.Fprintf(cmd.ErrOrStderr(), "%s was done before\n", report.Path)
	}
	if task.Shard != sweep.Whole {
		fmt.Fprintf(cmd.OutOrStdout(), "part %s done: %s in %s\n", task.Shard, harness.Count(report.Count, "launch"), report.Path)
		return nil
	}
	return sweepTogether(cmd, p, []string{o.out}, o.out, true)
}

// sweepTogether merges shards and tells what came of all; p may be nil.
func sweepTogether(cmd *cobra.Command, p *sweep.Plan, dirs []string, out string, force bool) error {
	s, err := sweep.Merge(dirs, out, force)
	if err != nil {
		return mergeStatus(err)
	}
	w := cmd.OutOrStdout()
	printSweep(w, s)
	if p != nil {
		if err := sweepStatus(sweep.KeepTraces(cmd.Context(), p, s, out)); err != nil {
			return err
		}
		printNoted(w, p, s)
	}
	fmt.Fprintf(w, "\nresults in %s, page: %s\n", out, filepath.Join(out, sweep.PageFile))
	if s.Caution != "" {
		harness.Wrap(w, "caution: ", s.Caution)
	}
	return verdictStatus(s.Verdict, false, false)
}

// sweepStatus gives trouble outside the plan its own status.
func sweepStatus(err error) error {
	var stopped *sweep.InterruptedError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &stopped), errors.Is(err, context.Canceled):
		return withStatus(exitInterrupted, err)
	}
	return withStatus(exitLink, err)
}

func mergeStatus(err error) error {
	var wrong *sweep.MergeError
	if errors.As(err, &wrong) || errors.Is(err, fs.ErrExist) {
		return err
	}
	return sweepStatus(err)
}

// sweepLine tells how far a sweep is, on a terminal only.
func sweepLine(w io.Writer) func(sweep.Progress) {
	if !isTerminal(w) {
		return nil
	}
	return func(p sweep.Progress) {
		text := cutTo(p.String(), screenWidth-1)
		if p.Done == p.All {
			text = ""
		}
		fmt.Fprintf(w, "\r%-*s\r%s", screenWidth-1, "", text)
	}
}

// sweepLaunch runs one launch of a plan again.
func sweepLaunch(cmd *cobra.Command, p *sweep.Plan, o sweepOptions) error {
	if o.launch >= p.Launches() {
		return fmt.Errorf("--launch %d is out of range: the plan has launches 0 to %d", o.launch, p.Launches()-1)
	}
	r, err := sweep.Repeat(cmd.Context(), p, o.launch, o.out, o.force)
	if err != nil {
		return interrupted(err)
	}
	if err := remakePage(o.out); err != nil {
		return err
	}
	w := cmd.OutOrStdout()
	runs := []harness.Results{r}
	printSummary(w, &r)
	fmt.Fprintln(w)
	printLaunches(w, runs)
	printVerdicts(w, runs)
	fmt.Fprintf(w, "\nresults in %s, page: %s\n", o.out, pageOf(o.out, []string{o.out}))
	if p.Hot() {
		harness.Wrap(w, "caution: ", cautionText)
	}
	return verdictStatus(r.Verdict, false, anyVacuous(runs))
}

// printSweep shows a summary on a screen of 80 columns.
func printSweep(w io.Writer, s *sweep.Summary) {
	fmt.Fprintln(w, cutTo(fmt.Sprintf("%s: %s", s.Name, harness.Count(s.Launches, "launch")), screenWidth))
	for _, n := range s.Notes {
		harness.Wrap(w, "note: ", n)
	}
	printCounts(w, "outcomes: ", s.Outcomes)
	printCounts(w, "limited by: ", s.Limits)
	printCounts(w, "verdicts: ", s.Verdicts)
	printCounts(w, "failed by: ", s.FailedBy)
	fmt.Fprintf(w, "\n%-32s %6s %8s %8s %8s %8s\n", "", "n", "mean", "sd", "10 %", "90 %")
	for _, v := range s.Values {
		name := strings.ReplaceAll(v.Name, "_", " ")
		if v.Unit != "" {
			name += " (" + v.Unit + ")"
		}
		fmt.Fprintf(w, "%-32s %6d %8.4g %8.3g %8.4g %8.4g\n", cutTo(name, 32), v.N, v.Mean, v.SD, v.P10, v.P90)
	}
}

func printCounts(w io.Writer, label string, list []sweep.Count) {
	var words []string
	for _, c := range list {
		words = append(words, fmt.Sprintf("%s %d", c.Word, c.Launches))
	}
	if len(words) > 0 {
		harness.Wrap(w, label, strings.Join(words, ", "))
	}
}

// printNoted tells how to see the worst launches again.
func printNoted(w io.Writer, p *sweep.Plan, s *sweep.Summary) {
	list := s.Failures
	if len(list) == 0 {
		list = s.Worst
	}
	for i, n := range list {
		if i == 3 {
			break
		}
		what := n.Verdict
		if n.Closest != "" {
			what += ", closest: " + n.Closest
		}
		if n.Failed != "" {
			what += ", failed: " + n.Failed
		}
		harness.Wrap(w, "  ", fmt.Sprintf("launch %d: %s. Again: %s", n.Launch, what, p.RepeatCommand(n.Launch)))
	}
}

const mergeLong = `Merge puts the parts of a sweep together that several tasks left in one folder or
more. It finds parts that are missing, there twice, of another plan or program, or
damaged, and then writes nothing. What it writes does not depend on how the sweep
was cut.`

func mergeCommand() *cobra.Command {
	var out string
	var force bool
	c := &cobra.Command{
		Use:     "merge DIR...",
		Short:   "Put the parts of a sweep together",
		Long:    mergeLong,
		Example: "  holdline merge out",
		Args:    takes(1, -1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if out == "" {
				out = args[0]
			}
			return sweepTogether(cmd, nil, args, out, force)
		},
	}
	c.Flags().StringVarP(&out, "out", "o", "", "write the results to `DIR` instead of the first folder")
	c.Flags().BoolVar(&force, "force", false, "overwrite an earlier merge")
	return c
}
