package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/compare"
	"github.com/holdline/holdline/harness/link"
	"github.com/holdline/holdline/harness/link/wire"
	"github.com/holdline/holdline/harness/scenario"
)

const rigLong = `Rig runs scenarios on your own controller behind a serial link, beside the
reference, and judges it by the same requirements as run does.

The rig file says where the rig is and what its outputs drive. Coils, injectors
and solenoids are disconnected or replaced by dummy loads, the bottle closed and
vented: a bench commands hardware. The page harness/link/wire/WIRE.md tells what
a rig has to answer; examples/rig-c is one to start from.

Exit status 3 is trouble with rig or link, apart from 1 for a failed requirement.`

type rigOptions struct {
	runOptions
	file, port string
	same       bool
}

func rigCommand() *cobra.Command {
	o := rigOptions{runOptions: runOptions{workers: 1}}
	c := &cobra.Command{
		Use:     "rig --rig FILE SCENARIO...",
		Short:   "Run scenarios on a controller behind a serial link",
		Long:    rigLong,
		Example: "  holdline rig --rig examples/rig-c/rig.toml \\\n    examples/scenarios/dray-mare-missing-teeth.toml -o out",
		Args:    takes(1, -1),
		RunE:    func(cmd *cobra.Command, args []string) error { return runRig(cmd, args, o) },
	}
	o.flags(c.Flags())
	rigFlags(c, &o)
	c.Flags().BoolVar(&o.same, "same", false, "fail where the rig decides otherwise than the reference")
	c.AddCommand(doctorCommand(), bytesCommand())
	return c
}

func rigFlags(c *cobra.Command, o *rigOptions) {
	c.Flags().StringVar(&o.file, "rig", "", "rig `FILE`: where the rig is, and what its outputs drive")
	c.Flags().StringVar(&o.port, "port", "", "`PORT` to use instead of the rig file's")
}

// loadRig reads the rig file, or says why there is no doing without.
func loadRig(cmd *cobra.Command, o rigOptions) (*link.Rig, error) {
	if o.file == "" {
		return nil, errors.New(`no rig file: add --rig FILE. It has to state what the rig's outputs drive:

  format = "holdline-rig-1"
  name = "my controller"
  outputs = "disconnected"   # or "dummy loads"
  [port]
  path = "/dev/ttyACM0"      # or the identity that holdline ports shows
  baud = 115200
  reset = "none"             # or "dtr", "rts": what opening the port does`)
	}
	rig, findings := link.LoadRig(o.file)
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return nil, errors.New("nothing was run: mend the errors above")
	}
	if o.port != "" {
		rig.Port.Wish, rig.Port.Command = link.Identity{Path: o.port}, nil
	}
	return rig, nil
}

func runRig(cmd *cobra.Command, paths []string, o rigOptions) error {
	rig, err := loadRig(cmd, o)
	if err != nil {
		return err
	}
	jobs, findings := scenarioJobs("rig", paths, o.runOptions)
	if !findings.Failed() {
		findings = append(findings, tooTight(cmd.Context(), rig, jobs)...)
	}
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return errors.New("nothing was run: mend the errors above")
	}
	if o.out != "" {
		if err := prepareDir(o.out, o.force); err != nil {
			return err
		}
	}
	var results []harness.Results
	var runErr error
	for _, j := range jobs {
		b := &rigBench{job: j, rig: rig, file: o.file, port: o.port, progress: cmd.ErrOrStderr()}
		r, err := b.run(cmd.Context())
		results = append(results, r)
		if err != nil {
			runErr = fmt.Errorf("%s: %w", j.Name, err)
			break
		}
	}
	return rigOutcome(cmd, jobs, results, runErr, paths, o)
}

// tooTight refuses requirements that the link cannot tell apart. In lockstep
// simulated time waits, so that only a paced link has to be measured.
func tooTight(ctx context.Context, rig *link.Rig, jobs []*job) (all harness.Findings) {
	resolution := map[time.Duration]time.Duration{}
	told := map[string]bool{}
	for _, j := range jobs {
		period := time.Duration(j.Cal.Period) * time.Microsecond
		if _, ok := resolution[period]; !ok {
			resolution[period] = period
			if rig.Mode == wire.Paced {
				m, err := link.Examine(ctx, rig.Dialer(), rig.Limits)
				if err != nil {
					return harness.Findings{{Severity: harness.Error, File: rig.File, Field: "port", Reason: err.Error()}}
				}
				resolution[period] = m.Resolution(rig.Mode, period)
			}
		}
		for _, f := range link.TooTight(j.Required, resolution[period]) {
			if !told[f.String()] {
				told[f.String()] = true
				all = append(all, f)
			}
		}
	}
	return all
}

// rigBench is one job on a rig, with the reference beside it.
type rigBench struct {
	job        *job
	rig        *link.Rig
	file, port string
	progress   io.Writer
	second     *harness.Trace
	trace      *harness.Trace
	less       bool // the rig answers commits only
}

const wireLogName = "wire.log"

// run drives the rig through the job. What the wire carried is kept beside the
// trace.
func (b *rigBench) run(ctx context.Context) (harness.Results, error) {
	j := b.job
	j.Repeat += " --rig " + scenario.ShellWord(filepath.ToSlash(b.file))
	if b.port != "" {
		j.Repeat += " --port " + scenario.ShellWord(b.port)
	}
	log, file, err := b.log()
	if err != nil {
		return harness.Results{}, err
	}
	results, runErr := b.drive(ctx, b.rig.Unit(link.Options{Context: ctx, Log: log}))
	if file != nil {
		runErr = errors.Join(runErr, log.Err(), file.Close())
	}
	return results, runErr
}

// drive runs the job on the unit and the reference, in step.
func (b *rigBench) drive(ctx context.Context, unit *link.Unit) (harness.Results, error) {
	j := b.job
	j.Trace, b.second = true, harness.NewTrace(j.Cal)
	pair := &compare.Pair{A: &seenUnit{Unit: unit, bench: b}, B: &harness.Reference{}, Second: b.second}
	if j.Replay != nil && len(j.Faults) == 0 {
		j.Before = unit.Ahead
	}
	return j.drive(ctx, pair, func(r *scenario.Ride) harness.Sink {
		b.trace = r.Trace
		return newProgress(b.progress, "rig", r.Ticks)
	}, func(r *harness.Results) { b.fill(r, unit) })
}

// log opens the byte log of a run that keeps files.
func (b *rigBench) log() (*link.Log, *os.File, error) {
	if b.job.folder == "" {
		return nil, nil, nil
	}
	if err := os.MkdirAll(b.job.folder, 0o755); err != nil {
		return nil, nil, err
	}
	f, err := os.Create(filepath.Join(b.job.folder, wireLogName))
	if err != nil {
		return nil, nil, err
	}
	return link.NewLog(f), f, nil
}

// seenUnit notes whether the rig reports its outputs.
type seenUnit struct {
	harness.Unit
	bench *rigBench
}

// Open implements harness.Unit.
func (s *seenUnit) Open(session harness.Session) (harness.Caps, error) {
	caps, err := s.Unit.Open(session)
	s.bench.less = caps.OutputLess
	return caps, err
}

// fill adds what the link did, and where rig and reference differ.
func (b *rigBench) fill(r *harness.Results, unit *link.Unit) {
	f, l := unit.Figures(), &r.Link
	l.Steps, l.BytesOut, l.BytesIn = f.Steps, f.BytesOut, f.BytesIn
	l.Damaged, l.Losses, l.Reopened, l.Silences = f.Damaged, f.Losses, f.Reopened, f.Silences
	if f.Latency.N > 0 {
		ms := func(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }
		l.Latency = &harness.Latency{Half: ms(f.Latency.Quantile(0.5)), Most: ms(f.Latency.Quantile(0.99)), Nearly: ms(f.Latency.Quantile(0.999)), Greatest: ms(f.Latency.Max)}
	}
	r.Notes = append(r.Notes, strings.TrimSuffix("rig "+b.rig.Name+": "+b.rig.Notes, ": "))
	var tolerances []compare.Tolerance
	if b.less {
		r.Notes = append(r.Notes, "stages, ceilings and sequence shown are those of the reference beside it")
		tolerances = []compare.Tolerance{{Column: "*", Ignore: true}}
	}
	if b.trace == nil {
		return
	}
	for _, d := range compare.Traces(b.trace, b.second, tolerances) {
		r.Differences = append(r.Differences, harness.Difference{Column: d.Column, At: d.At, Unit: d.A, Reference: d.B, Ticks: d.Ticks})
	}
}

// rigOutcome tells results and gives the exit status.
func rigOutcome(cmd *cobra.Command, jobs []*job, results []harness.Results, runErr error, paths []string, o rigOptions) error {
	all := &harness.Results{}
	if len(results) > 0 {
		all = &results[0]
	}
	if len(results) > 1 {
		all = together("rig", strings.Replace(runCommandLine(paths, o.runOptions), "holdline run", "holdline rig --rig "+scenario.ShellWord(o.file), 1), results)
		all.Verdict = verdictOf(results)
	}
	if o.out != "" {
		if err := saveRuns(o.out, all, results, foldersOf(jobs, len(results))); err != nil {
			return errors.Join(runErr, err)
		}
	}
	// Of a rig that never answered there is nothing to tell but why.
	told := slices.DeleteFunc(slices.Clone(results), func(r harness.Results) bool { return runErr != nil && r.Unit == "" })
	if len(told) > 0 || o.json {
		if err := tellRuns(cmd.OutOrStdout(), all, told, jobs, o.runOptions); err != nil {
			return err
		}
		if !o.json {
			printLink(cmd.OutOrStdout(), told)
			caution(cmd.OutOrStdout(), jobs, o.json)
		}
	}
	if err := linkStatus(runErr); err != nil {
		return err
	}
	if o.same {
		for i := range results {
			if d := results[i].Differences; len(d) > 0 {
				return withStatus(exitFailed, fmt.Errorf("%s, seed %d: the rig differs from the reference (--same), first at %.3f s: %s", results[i].Title(), results[i].Seed, d[0].At, d[0].Column))
			}
		}
	}
	return verdictStatus(all.Verdict, o.strict, anyVacuous(results))
}

// linkStatus gives trouble with rig or link its own status.
func linkStatus(err error) error {
	var trouble *link.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &trouble):
		return withStatus(exitLink, err)
	}
	return interrupted(err)
}

const differencesShown = 3

// printLink tells what the link did and where rig and reference differ.
func printLink(w io.Writer, results []harness.Results) {
	for i := range results {
		r := &results[i]
		harness.Wrap(w, "link: ", r.Link.Words())
		if len(r.Differences) == 0 && r.Complete {
			fmt.Fprintln(w, "the rig decided as the reference did")
		}
		for k, d := range r.Differences {
			if k == differencesShown {
				fmt.Fprintf(w, "  and %d more\n", len(r.Differences)-k)
				break
			}
			harness.Wrap(w, "  ", fmt.Sprintf("differs at %.3f s: %s: rig %s, reference %s; %d ticks in all", d.At, d.Column, d.Unit, d.Reference, d.Ticks))
		}
	}
}

const doctorLong = `Doctor measures a rig's link: round trip, jitter, throughput, the latency timer of
the USB chip. It starts no session, so the rig's outputs stay off. With scenarios
it says whether the link carries what they need.`

func doctorCommand() *cobra.Command {
	o := rigOptions{runOptions: runOptions{seed: -1}}
	c := &cobra.Command{
		Use:   "doctor --rig FILE [SCENARIO...]",
		Short: "Measure a rig's link",
		Long:  doctorLong,
		RunE:  func(cmd *cobra.Command, args []string) error { return runDoctor(cmd, args, o) },
	}
	rigFlags(c, &o)
	return c
}

func runDoctor(cmd *cobra.Command, paths []string, o rigOptions) error {
	rig, err := loadRig(cmd, o)
	if err != nil {
		return err
	}
	jobs, findings := scenarioJobs("rig", paths, o.runOptions)
	printFindings(cmd.ErrOrStderr(), findings)
	if findings.Failed() {
		return errors.New("nothing was measured: mend the errors above")
	}
	m, err := link.Examine(cmd.Context(), rig.Dialer(), rig.Limits)
	if err != nil {
		return linkStatus(err)
	}
	w := cmd.OutOrStdout()
	for _, line := range m.Lines() {
		fmt.Fprintln(w, line)
	}
	unfit := false
	for _, j := range jobs {
		fits := m.Fits(needOf(j, rig))
		printFindings(w, fits)
		unfit = unfit || fits.Failed()
	}
	if unfit {
		return withStatus(exitLink, errors.New("the link does not carry what was asked"))
	}
	if len(jobs) > 0 {
		fmt.Fprintln(w, "the link carries what was asked")
	}
	return nil
}

func needOf(j *job, rig *link.Rig) link.Need {
	n := link.Need{Name: j.Title(), Mode: rig.Mode, Period: time.Duration(j.Cal.Period) * time.Microsecond, Closed: j.Launch != nil, Bound: link.Tightest(j.Required)}
	if j.Launch != nil {
		n.Seconds = j.Launch.Longest
	}
	return n
}
