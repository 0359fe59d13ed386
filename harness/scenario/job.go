package scenario

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"path/filepath"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/crank"
	"github.com/holdline/holdline/harness/faults"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/sim"
)

// Job is one run, ready to start. Models, calibrations, scripts and recordings
// are shared between jobs and only read.
type Job struct {
	Name   string // for people
	Varied string // the values of its combination, for people
	Verb   string // of the command
	Repeat string // the command that repeats it
	Seed   uint64
	Cal    *controller.Calibration

	Launch *Launch // a simulated car,
	Replay *Replay // or a recording

	Faults   []faults.Fault
	Required []require.Requirement
	Notes    []string // further ones for its results
	Trace    bool     // keep the whole trace in memory, also if nothing is required

	Before func(harness.Stimulus) harness.Stimulus // wraps the stimulus of an open loop; nil: nothing does
}

// Title names the job for people, with what varies.
func (j *Job) Title() string {
	r := harness.Results{Source: j.Name, Varied: j.Varied}
	return r.Title()
}

// Launch is a simulated car with its driver and circumstances.
type Launch struct {
	Model   *sim.Model
	Cond    sim.Conditions
	Script  *files.Script
	Shift   controller.Speed // the driver takes the next gear here; 0: never
	Trim    int32            // position of the surface trim, until a phrase turns it
	Until   float64          // m: the run ends here,
	Longest float64          // s: or here
	Target  harness.Target
	Teeth   bool // engine speed and sync from tooth times
}

// Ride is a job under way, for those who watch it.
type Ride struct {
	Job    *Job
	Plant  *harness.Plant        // nil with a recording
	Launch *harness.LaunchDigest // nil with a recording
	Trace  *harness.Trace        // nil unless something is required or Job.Trace is set
	Ticks  int64                 // at most
}

// Watch gives further sinks for a ride; nil watches nothing.
type Watch func(*Ride) ([]harness.Sink, error)

// Jobs lists the runs of a combination, one a seed.
func (l *Loaded) Jobs(verb string) (jobs []*Job) {
	for run := range l.Repeats {
		j := &Job{Name: l.Name, Verb: verb, Seed: uint64(l.Seed) + uint64(run), Cal: l.Cal, Replay: l.Replay, Faults: l.Faults, Required: l.Required}
		if l.Model != nil {
			j.Launch = &Launch{
				Model: l.Model, Cond: l.Conditions(run), Script: &l.Script, Shift: l.ShiftRPM, Trim: l.Trim,
				Until: l.DistanceM, Longest: l.LongestS, Target: l.Target, Teeth: l.DecodeTeeth,
			}
		}
		for i, c := range l.Point {
			if i > 0 {
				j.Varied += ", "
			}
			j.Varied += short(c)
		}
		j.Repeat = l.command(verb, j.Seed)
		jobs = append(jobs, j)
	}
	return jobs
}

// short names a varied value by the end of its path.
func short(c files.Change) string {
	return c.Path[strings.LastIndexByte(c.Path, '.')+1:] + " " + c.Value
}

// command is the one that repeats a run.
func (l *Loaded) command(verb string, seed uint64) string {
	text := fmt.Sprintf("holdline %s %s", verb, ShellWord(filepath.ToSlash(l.File)))
	for _, c := range append(append([]files.Change{}, l.Point...), l.Changes...) {
		text += " --set " + ShellWord(c.String())
	}
	text += fmt.Sprintf(" --seed %d --repeats 1", seed)
	for _, r := range l.asked {
		text += " --require " + ShellWord(r)
	}
	return text
}

// Run drives a unit through the job. Whatever happens, the results hold what was
// seen so far; a run that stopped early leaves what was still open inconclusive.
func (j *Job) Run(ctx context.Context, unit harness.Unit, watch Watch) (harness.Results, error) {
	results := harness.Results{Verb: j.Verb, Source: j.Name, Varied: j.Varied, Repeat: j.Repeat, Seed: j.Seed, Verdict: harness.VerdictNone, Notes: j.Notes}
	ride := &Ride{Job: j}
	if len(j.Required) > 0 || j.Trace {
		ride.Trace = harness.NewTrace(j.Cal)
	}
	stim, teeth, err := j.stimulus(ride, &results)
	if err != nil {
		return results, err
	}
	stim, unit, err = faults.Wrap(stim, unit, j.Cal, j.Seed, j.Faults)
	if err != nil {
		return results, err
	}
	if j.Before != nil && j.Replay != nil {
		stim = j.Before(stim)
	}
	digest := harness.NewDigest(j.Cal)
	sinks, err := ride.sinks(digest, watch)
	if err != nil {
		return results, err
	}
	caps, runErr := harness.Run(ctx, stim, unit, harness.Session{Calibration: j.Cal}, sinks...)
	digest.Fill(&results)
	results.Unit, results.Complete = caps.Name, runErr == nil
	if ride.Launch != nil {
		measured := ride.Launch.Result()
		results.Launch = &measured
	}
	results.Notes = append(results.Notes, toothNotes(teeth)...)
	if runErr != nil {
		results.Stopped = runErr.Error()
	}
	if caps.OutputLess {
		j.ofCommits(&results)
	}
	return results, errors.Join(runErr, j.judge(ride.Trace, &results))
}

// stimulus makes the job's own, before faults.
func (j *Job) stimulus(ride *Ride, r *harness.Results) (harness.Stimulus, *crank.Decoder, error) {
	for _, f := range j.Faults {
		r.Notes = append(r.Notes, "fault: "+f.String())
	}
	if j.Launch == nil {
		s := j.Replay.Stimulus()
		ride.Ticks = s.Ticks()
		r.Notes = append(append(r.Notes, OpenLoop), j.Replay.Notes...)
		return s, nil, nil
	}
	r.Notes = append(r.Notes, "a simulated car of our own invention: it shows directions, not your numbers")
	r.Facts = conditionFacts(j.Launch.Cond)
	plant, teeth, ticks, err := j.Launch.plant(j.Cal, j.Seed)
	if err != nil {
		return nil, nil, err
	}
	ride.Plant, ride.Launch, ride.Ticks = plant, harness.NewLaunchDigest(plant, j.Launch.Target), ticks
	return plant, teeth, nil
}

// driverStream keeps the driver's scatter apart from the plant's noise.
const driverStream = 0x6472697665

func (l *Launch) plant(cal *controller.Calibration, seed uint64) (*harness.Plant, *crank.Decoder, int64, error) {
	car := l.Model.Car()
	ticks := int64(l.Longest * float64(controller.Second) / float64(cal.Period))
	o := harness.PlantOptions{
		Driver: files.NewScriptDriver(l.Script, rand.New(rand.NewPCG(seed, driverStream)), files.ShiftsOf(&car, l.Shift)), Trim: l.Trim,
		Until: l.Until, Ticks: uint32(ticks),
	}
	teeth := l.decoder(&car)
	if teeth != nil {
		o.Crank = teeth
	}
	p, err := harness.NewPlant(l.Model, l.Cond, cal, o)
	return p, teeth, ticks, err
}

// decoder follows the car's own crank wheel, in sync from the start, as that of
// an engine which has been running. A wheel without a gap has none.
func (l *Launch) decoder(car *sim.Car) *crank.Decoder {
	if !l.Teeth {
		return nil
	}
	d := crank.New(crank.WheelOf(car), len(car.Engine.Order))
	if d == nil {
		return nil
	}
	d.Running(0, controller.Speed(l.Cond.StartRPM*float64(controller.RPM)))
	return d
}

func toothNotes(d *crank.Decoder) []string {
	if d == nil || d.Bridged+d.False+d.Losses+d.CamFaults == 0 {
		return nil
	}
	return []string{fmt.Sprintf("crank decoder: %d missing teeth bridged, %d false edges, %d losses of sync, %d cam edges out of place",
		d.Bridged, d.False, d.Losses, d.CamFaults)}
}

// sinks puts together all that takes note. The watcher comes last: a trace that
// it reads in Record holds the present frame.
func (r *Ride) sinks(digest harness.Sink, watch Watch) ([]harness.Sink, error) {
	sinks := []harness.Sink{digest}
	if r.Launch != nil {
		sinks = append(sinks, r.Launch)
	}
	if r.Trace != nil {
		sinks = append(sinks, r.Trace)
	}
	if watch == nil {
		return sinks, nil
	}
	more, err := watch(r)
	return append(sinks, more...), err
}

// ofCommits leaves only what a unit that reports no outputs can be judged by, and
// says what was left out.
func (j *Job) ofCommits(r *harness.Results) {
	var kept []require.Requirement
	for _, q := range j.Required {
		if q.OfCommits {
			kept = append(kept, q)
		}
	}
	if n := len(j.Required) - len(kept); n > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("the unit answers commits only: %d requirements about what it would report were not asked, %d were", n, len(kept)))
	}
	j.Required = kept
}

// judge fills in verdicts from a trace.
func (j *Job) judge(trace *harness.Trace, r *harness.Results) error {
	if len(j.Required) == 0 {
		return nil
	}
	court, err := require.NewCourt(j.Cal, j.Required)
	if err != nil {
		return err
	}
	if r.Requirements, err = court.Judge(trace, r.Complete); err != nil {
		return err
	}
	r.Verdict = require.Overall(r.Requirements)
	return nil
}

// ShellWord puts a word in single quotes where a shell would split it.
func ShellWord(s string) string {
	if s != "" && !strings.ContainsAny(s, " \t\n'\"\\;&|<>()$`*?[]#~%!{}") {
		return s
	}
	return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
}
