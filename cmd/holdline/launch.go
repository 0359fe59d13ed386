package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"sync/atomic"
	"time"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/record"
	"github.com/holdline/holdline/harness/scenario"
)

// job is one run of the command line: a scenario's job with a place for its
// files.
type job struct {
	*scenario.Job
	folder     string  // "" keeps no files
	truth      bool    // keep the plant's own channels too
	traceAfter float64 // s that the trace goes on after let-go; 0: to the end
	overwrite  bool
}

// run drives the job with the reference controller and keeps its files.
func (j *job) run(ctx context.Context) (harness.Results, error) {
	return j.drive(ctx, &harness.Reference{}, nil, nil)
}

// drive is run with any unit. more gives a further sink, fill adds to results
// before they are written; both may be nil.
func (j *job) drive(ctx context.Context, unit harness.Unit, more func(*scenario.Ride) harness.Sink, fill func(*harness.Results)) (harness.Results, error) {
	var keep *kept
	results, err := j.Run(ctx, unit, func(r *scenario.Ride) (sinks []harness.Sink, err error) {
		keep, err = j.keep(r)
		sinks = keep.sinks()
		if more != nil {
			sinks = append(sinks, more(r))
		}
		return sinks, err
	})
	if fill != nil {
		fill(&results)
	}
	return results, errors.Join(err, keep.finish(&results, err))
}

// kept is what a run leaves in its folder: trace, events, picture, results.
type kept struct {
	*job
	dir   string
	files *record.TraceFiles
	trace *harness.Trace
	truth *truthFile // nil: not asked for
	until *untilLetGo
}

func (j *job) keep(r *scenario.Ride) (*kept, error) {
	if j.folder == "" {
		return nil, nil
	}
	if err := os.MkdirAll(j.folder, 0o755); err != nil {
		return nil, err
	}
	out, err := record.CreateTraceFiles(j.folder, j.Cal, j.overwrite)
	if err != nil {
		return nil, err
	}
	k := &kept{job: j, dir: j.folder, files: out}
	sinks := []harness.Sink{k.files}
	if r.Ticks <= mostPageTicks {
		k.trace = harness.NewTrace(j.Cal)
		sinks = append(sinks, k.trace)
	}
	if j.truth && r.Plant != nil {
		if k.truth, err = createTruthFile(j.folder, r.Plant, j.overwrite); err != nil {
			return nil, errors.Join(err, fmt.Errorf("started: %s", out.Abort(err)))
		}
		sinks = append(sinks, k.truth)
	}
	k.until = &untilLetGo{launch: r.Launch, period: float64(j.Cal.Period) / float64(controller.Second), after: j.traceAfter, sinks: sinks}
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
	return errors.Join(
		k.files.Close(),
		k.truth.close(),
		k.picture(r),
		saveRun(k.dir, r, k.trace, k.Cal, k.Required),
	)
}

// picture draws a launch; a replay has none.
func (k *kept) picture(r *harness.Results) error {
	if r.Launch == nil || k.trace == nil {
		return nil
	}
	return files.WriteFile(filepath.Join(k.dir, pictureFile), picture(k.trace, r), true)
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
	if u.after > 0 && u.launch != nil {
		if at := u.launch.LetGo(); at > 0 && float64(f.Tick)*u.period > at+u.after {
			return nil
		}
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
func runAll(ctx context.Context, jobs []*job, workers int, tell func(done, all int)) ([]harness.Results, error) {
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
			return results, fmt.Errorf("%s: %w", jobs[i].Name, err)
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
