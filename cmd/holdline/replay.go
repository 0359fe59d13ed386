package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/report"
	"github.com/holdline/holdline/harness/scenario"
)

const replayLong = `Replay runs a recording through the reference controller and shows what a
correct controller would have decided, stage by stage and cycle by cycle.

A replay is an open loop: the recorded engine speed does not answer the cuts.
Logs below about 100 Hz are too slow to judge cuts or interlocks.

The byte log of a rig is a recording too: with the scenario that it answered, the
same verdict comes from the log.

The columns file says which column of the recording feeds which input;
--suggest-columns writes a first one. A trace.csv of ours needs none: what another
calibration would have done with it is one command. Switches that a log lacks are
scripted in the columns file, or here with --script, in plain phrases:

  --script "clutch down on at 12 s; clutch down off at 14.5 s; arm on at 1 s"`

type replayOptions struct {
	cal, columns, out string
	scenario          string // of a byte log
	set               []string
	seed              int64
	scripts           []string
	from, to          float64
	json, force       bool
	noTrace, suggest  bool
}

func replayCommand() *cobra.Command {
	o := replayOptions{from: -1, to: -1, seed: -1}
	c := &cobra.Command{
		Use:     "replay RECORDING --cal FILE [--columns FILE]",
		Short:   "Run a recording through the reference controller",
		Long:    replayLong,
		Example: "  holdline replay examples/recordings/obd-drive-1hz.csv \\\n    --cal examples/calibrations/street-four.toml \\\n    --columns examples/columns/obd-drive.toml -o out",
		Args:    takes(1, 1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runReplay(cmd, args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.cal, "cal", "", "calibration `FILE`")
	f.StringVar(&o.columns, "columns", "", "columns `FILE`")
	f.StringVarP(&o.out, "out", "o", "", "write results.json, trace.csv and events.csv to `DIR`")
	f.StringArrayVar(&o.scripts, "script", nil, "`PHRASES` for switches and channels, after those of the columns file")
	numberFlag(f, &o.from, "from", 0, mostSeconds, "start at this `SECOND` of the recording")
	numberFlag(f, &o.to, "to", 0, mostSeconds, "stop at this `SECOND` of the recording")
	f.BoolVar(&o.json, "json", false, "print the results as JSON instead of a summary")
	f.BoolVar(&o.force, "force", false, "overwrite results of an earlier run in DIR")
	f.BoolVar(&o.noTrace, "no-trace", false, "write results.json only")
	f.StringVar(&o.scenario, "scenario", "", "of a rig's byte log: the scenario `FILE` that it answered")
	f.StringArrayVar(&o.set, "set", nil, "of a rig's byte log: `PATH=VALUE` that was changed in the scenario")
	numberFlag(f, &o.seed, "seed", 0, mostSeed, "of a rig's byte log: seed, instead of the scenario's")
	f.BoolVar(&o.suggest, "suggest-columns", false, "print a first columns file for this recording, and stop")
	return c
}

func runReplay(cmd *cobra.Command, path string, o replayOptions) error {
	if isByteLog(path) {
		return replayLog(cmd, path, o)
	}
	if o.suggest && o.columns == "" && record.IsTrace(path) {
		return fmt.Errorf("%s is a trace of ours and needs no columns file: leave out --suggest-columns", path)
	}
	if o.suggest {
		return suggestColumns(cmd, path, o.columns)
	}
	if o.cal == "" || o.columns == "" && !record.IsTrace(path) {
		return errors.New("replay needs --cal FILE and --columns FILE (a trace of ours needs no --columns); --suggest-columns writes a first columns file for a recording")
	}
	if err := idle(cmd, "only with a rig's byte log, and "+path+" is a recording", "scenario", "set", "seed"); err != nil {
		return err
	}
	job, findings := prepareReplay(path, o)
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return errors.New("nothing was run: mend the errors above")
	}
	job.results.Repeat = repeatCommand(path, o)
	return job.run(cmd, o)
}

// replayJob is a replay that is ready to run.
type replayJob struct {
	cal      *controller.Calibration
	stimulus *record.Stimulus
	results  harness.Results
	trace    *harness.Trace // for the page; nil: none is written, or too long for charts
}

// prepareReplay reads everything and gives all findings at once.
func prepareReplay(path string, o replayOptions) (*replayJob, harness.Findings) {
	cal, findings := files.LoadCalibration(o.cal)
	r, more := scenario.LoadReplay(cal, path, o.columns, scenario.ReplayOptions{Scripts: o.scripts, From: o.from, To: o.to})
	findings = append(findings, more...)
	if findings.Failed() {
		return nil, findings
	}
	return &replayJob{cal: cal, stimulus: r.Stimulus(), results: harness.Results{
		Verb: "replay", Source: filepath.ToSlash(r.Recording.File), Verdict: harness.VerdictNone,
		Notes: append([]string{scenario.OpenLoop}, r.Notes...), Findings: findings.Sorted(),
	}}, findings
}

// run drives the reference, shows how far it is, and leaves results behind,
// also when it is interrupted.
func (j *replayJob) run(cmd *cobra.Command, o replayOptions) error {
	digest := harness.NewDigest(j.cal)
	sinks := []harness.Sink{digest, newProgress(cmd.ErrOrStderr(), "replay", j.stimulus.Ticks())}
	var trace *record.TraceFiles
	if o.out != "" {
		if err := prepareDir(o.out, o.force); err != nil {
			return err
		}
		if !o.noTrace {
			var err error
			if trace, err = record.CreateTraceFiles(o.out, j.cal, o.force); err != nil {
				return err
			}
			sinks = append(sinks, trace)
			if j.stimulus.Ticks() <= mostPageTicks {
				j.trace = harness.NewTrace(j.cal)
				sinks = append(sinks, j.trace)
			}
		}
	}
	caps, runErr := harness.Run(cmd.Context(), j.stimulus, &harness.Reference{}, harness.Session{Calibration: j.cal}, sinks...)
	digest.Fill(&j.results)
	j.results.Unit, j.results.Complete = caps.Name, runErr == nil
	if runErr != nil {
		j.results.Stopped = runErr.Error()
	}
	return errors.Join(interrupted(runErr), closeTrace(trace, runErr), j.tell(cmd, o))
}

// interrupted gives a cancelled run its status.
func interrupted(err error) error {
	if errors.Is(err, context.Canceled) {
		return withStatus(exitInterrupted, err)
	}
	return err
}

func closeTrace(t *record.TraceFiles, runErr error) error {
	if t == nil {
		return nil
	}
	if runErr == nil {
		return t.Close()
	}
	return fmt.Errorf("what was recorded is kept in %s", t.Abort(runErr))
}

// tell writes results.json and prints the summary or the JSON.
func (j *replayJob) tell(cmd *cobra.Command, o replayOptions) error {
	if o.out != "" {
		if err := saveRun(o.out, &j.results, j.trace, j.cal, nil); err != nil {
			return err
		}
	}
	if o.json {
		text, err := j.results.JSON()
		if err == nil {
			_, err = cmd.OutOrStdout().Write(text)
		}
		return err
	}
	printSummary(cmd.OutOrStdout(), &j.results)
	if o.out != "" {
		fmt.Fprintf(cmd.OutOrStdout(), "\nresults in %s, page: %s\n", o.out, filepath.Join(o.out, report.PageFile))
		if j.trace == nil && !o.noTrace {
			fmt.Fprintf(cmd.OutOrStdout(), "the page has no charts: they go up to %d ticks; replay a part, with --from and --to\n", mostPageTicks)
		}
	}
	return nil
}

// resultNames are the files of a run; a folder that holds one is not
// overwritten without --force.
var resultNames = []string{"results.json", record.TraceFile, record.EventsFile}

// prepareDir makes a folder for results, or refuses one that has some.
func prepareDir(dir string, force bool) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, name := range resultNames {
		if _, err := os.Lstat(filepath.Join(dir, name)); err == nil && !force {
			return fmt.Errorf("%s holds %s of an earlier run: choose another folder, or add --force", dir, name)
		}
	}
	return nil
}

// repeatCommand spells the command that repeats a replay.
func repeatCommand(path string, o replayOptions) string {
	parts := []string{"holdline", "replay", scenario.ShellWord(path), "--cal", scenario.ShellWord(o.cal)}
	if o.columns != "" {
		parts = append(parts, "--columns", scenario.ShellWord(o.columns))
	}
	for _, s := range o.scripts {
		parts = append(parts, "--script", scenario.ShellWord(s))
	}
	if o.from >= 0 {
		parts = append(parts, "--from", fmt.Sprint(o.from))
	}
	if o.to >= 0 {
		parts = append(parts, "--to", fmt.Sprint(o.to))
	}
	return strings.Join(parts, " ")
}
