package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/crank"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/sim"
)

// launchJob is one simulated launch, ready to run. Models, calibrations and
// scripts are shared between jobs and only read.
type launchJob struct {
	name   string // of the run, for people
	folder string // below the results folder; "" keeps no files
	repeat string // the command that repeats it
	verb   string

	model  *sim.Model
	cal    *controller.Calibration
	cond   sim.Conditions
	script *files.Script
	shift  controller.Speed
	until  float64 // m
	most   float64 // s
	target harness.Target
	teeth  bool // engine speed and sync from tooth times

	required []require.Requirement

	truth      bool    // keep the plant's own channels too
	traceAfter float64 // s that the trace goes on after let-go; 0: to the end
	overwrite  bool
}

// run drives one launch with the reference controller and keeps its files.
func (j *launchJob) run(ctx context.Context) (harness.Results, error) {
	car := j.model.Car()
	results := harness.Results{
		Verb: j.verb, Source: j.name, Repeat: j.repeat, Seed: j.cond.Seed, Verdict: harness.VerdictNone,
		Notes: []string{"a simulated car of our own invention: it shows directions, not your numbers"},
	}
	teeth := j.decoder(&car)
	driver := files.NewScriptDriver(j.script, rand.New(rand.NewPCG(j.cond.Seed, driverStream)), files.ShiftsOf(&car, j.shift))
	options := harness.PlantOptions{
		Driver: driver, Until: j.until, Ticks: uint32(j.most * float64(controller.Second) / float64(j.cal.Period)),
	}
	if teeth != nil {
		options.Crank = teeth
	}
	plant, err := harness.NewPlant(j.model, j.cond, j.cal, options)
	if err != nil {
		return results, err
	}
	launch, digest := harness.NewLaunchDigest(plant, j.target), harness.NewDigest(j.cal)
	keep, err := j.keep(plant, launch)
	if err != nil {
		return results, err
	}
	sinks := append([]harness.Sink{launch, digest}, keep.sinks()...)
	var judged *harness.Trace
	if len(j.required) > 0 {
		judged = harness.NewTrace(j.cal)
		sinks = append(sinks, judged)
	}
	caps, runErr := harness.Run(ctx, plant, &harness.Reference{}, harness.Session{Calibration: j.cal}, sinks...)
	digest.Fill(&results)
	measured := launch.Result()
	results.Launch, results.Unit, results.Complete = &measured, caps.Name, runErr == nil
	if teeth != nil && teeth.Bridged+teeth.False+teeth.Losses+teeth.CamFaults > 0 {
		results.Notes = append(results.Notes, fmt.Sprintf("crank decoder: %d missing teeth bridged, %d false edges, %d losses of sync, %d cam edges out of place",
			teeth.Bridged, teeth.False, teeth.Losses, teeth.CamFaults))
	}
	if runErr != nil {
		results.Stopped = runErr.Error()
	}
	return results, errors.Join(runErr, j.judge(judged, &results), keep.finish(&results, runErr))
}

// decoder follows the car's own crank wheel, in sync from the start, as that of
// an engine which has been running. A wheel without a gap has none.
func (j *launchJob) decoder(car *sim.Car) *crank.Decoder {
	if !j.teeth {
		return nil
	}
	d := crank.New(crank.WheelOf(car), len(car.Engine.Order))
	if d == nil {
		return nil
	}
	d.Running(0, controller.Speed(j.cond.StartRPM*float64(controller.RPM)))
	return d
}

// driverStream keeps the driver's scatter apart from the plant's noise.
const driverStream = 0x6472697665

// kept is what a run leaves in its folder: trace, events, picture, results.
type kept struct {
	dir   string
	files *record.TraceFiles
	trace *harness.Trace
	truth *truthFile // nil: not asked for
	until *untilLetGo
}

func (j *launchJob) keep(plant *harness.Plant, launch *harness.LaunchDigest) (*kept, error) {
	if j.folder == "" {
		return nil, nil
	}
	if err := os.MkdirAll(j.folder, 0o755); err != nil {
		return nil, err
	}
	out, err := record.CreateTraceFiles(j.folder, j.cal, j.overwrite)
	if err != nil {
		return nil, err
	}
	k := &kept{dir: j.folder, files: out, trace: harness.NewTrace(j.cal)}
	sinks := []harness.Sink{k.files, k.trace}
	if j.truth {
		if k.truth, err = createTruthFile(j.folder, plant, j.overwrite); err != nil {
			return nil, errors.Join(err, fmt.Errorf("started: %s", out.Abort(err)))
		}
		sinks = append(sinks, k.truth)
	}
	k.until = &untilLetGo{launch: launch, period: float64(j.cal.Period) / float64(controller.Second), after: j.traceAfter, sinks: sinks}
	return k, nil
}

func (k *kept) sinks() []harness.Sink {
	if k == nil {
		return nil
	}
	return []harness.Sink{k.until}
}

func (k *kept) finish(r *harness.Results, runErr error) error {
	if k == nil {
		return nil
	}
	if runErr != nil {
		k.truth.abort(runErr)
		return fmt.Errorf("what was recorded is kept in %s", k.files.Abort(runErr))
	}
	text, err := r.JSON()
	if err != nil {
		return err
	}
	return errors.Join(
		k.files.Close(),
		k.truth.close(),
		files.WriteFile(filepath.Join(k.dir, pictureFile), picture(k.trace, r), true),
		files.WriteFile(filepath.Join(k.dir, resultsFile), text, true),
	)
}

// Names of files that a run leaves beside its trace.
const (
	resultsFile = "results.json"
	summaryFile = "summary.csv"
	pictureFile = "launch.svg"
)

// untilLetGo hands frames on until a time after the launch device was let go.
type untilLetGo struct {
	launch *harness.LaunchDigest
	period float64
	after  float64
	sinks  []harness.Sink
}

// Record implements harness.Sink.
func (u *untilLetGo) Record(f *harness.Frame) error {
	if at := u.launch.LetGo(); u.after > 0 && at > 0 && float64(f.Tick)*u.period > at+u.after {
		return nil
	}
	for _, s := range u.sinks {
		if err := s.Record(f); err != nil {
			return err
		}
	}
	return nil
}

// runAll runs jobs on a bounded number of workers. Results stand in the order of
// the jobs whatever finishes first; the first error of that order is returned,
// and every other run has still been made.
func runAll(ctx context.Context, jobs []*launchJob, workers int, tell func(done, all int)) ([]harness.Results, error) {
	results, errs := make([]harness.Results, len(jobs)), make([]error, len(jobs))
	var next, done atomic.Int64
	var wg sync.WaitGroup
	for range min(max(workers, 1), max(len(jobs), 1)) {
		wg.Go(func() {
			for i := next.Add(1) - 1; i < int64(len(jobs)); i = next.Add(1) - 1 {
				if ctx.Err() != nil {
					errs[i] = ctx.Err()
					continue
				}
				results[i], errs[i] = jobs[i].run(ctx)
				tell(int(done.Add(1)), len(jobs))
			}
		})
	}
	wg.Wait()
	for i, err := range errs {
		if err != nil && !errors.Is(err, context.Canceled) {
			return results, fmt.Errorf("%s: %w", jobs[i].name, err)
		}
	}
	return results, ctx.Err()
}

// countLine tells how many of several runs are done, on a terminal only.
func countLine(w io.Writer, label string) func(done, all int) {
	if !isTerminal(w) {
		return func(int, int) {}
	}
	var mu sync.Mutex
	last := time.Now()
	return func(done, all int) {
		mu.Lock()
		defer mu.Unlock()
		if done == all {
			fmt.Fprintf(w, "\r%-*s\r", screenWidth-1, "")
			return
		}
		if time.Since(last) < time.Second/4 {
			return
		}
		last = time.Now()
		fmt.Fprintf(w, "\r%-*s", screenWidth-1, fmt.Sprintf("%s: %d of %d launches", label, done, all))
	}
}

// defaultWorkers is one worker a core.
func defaultWorkers() int { return runtime.GOMAXPROCS(0) }
