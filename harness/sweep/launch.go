package sweep

import (
	"context"
	"errors"
	"path/filepath"
	"strings"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

// settings is all that one launch is made of.
type settings struct {
	launch int64
	seed   uint64
	point  point
	z      []float64 // scatter, in units of its spread; nil: none
}

func (p *Plan) settingsOf(launch int64) settings {
	seed := LaunchSeed(uint64(p.Seed), uint64(launch))
	return settings{launch: launch, seed: seed, point: p.design.at(&p.PlanFile, launch), z: deviations(seed, p.Scatter)}
}

// launcher runs launches one after the other. Each worker has its own; what it
// has compiled for one launch is used again by the next with the same values.
type launcher struct {
	plan   *Plan
	docs   map[string]*files.Document
	models memo[*sim.Model]
	cals   memo[*calibrated]
	unit   harness.Reference
}

// calibrated is a calibration with what judges it, buffers included.
type calibrated struct {
	cal      *controller.Calibration
	required []require.Requirement
	court    *require.Court // nil: nothing is required
	trace    *harness.Trace
}

// prepared is a launch that is ready to run.
type prepared struct {
	scenario *scenario.Scenario
	model    *sim.Model
	cal      *calibrated
	drawn    []string // scattered values
}

func newLauncher(p *Plan) *launcher { return &launcher{plan: p, docs: map[string]*files.Document{}} }

// prepare puts all values in their places and reads the files.
func (l *launcher) prepare(s settings) (*prepared, harness.Findings) {
	b := &l.plan.bases[s.point.scenario]
	all, drawn, err := l.changes(s)
	if err != nil {
		return nil, l.plan.cannotScatter(err)
	}
	ofCar, rest := files.Under(intoCar, all)
	ofCal, own := files.Under(intoCalibration, rest)
	sc, _, fs := scenario.Kind.Decode(b.path, b.text, own...)
	fs = append(l.plan.attribute("", fs), l.plan.unfit(b, sc)...)
	if fs.Failed() {
		return nil, fs
	}
	carFile, calFile := files.Beside(b.path, sc.Car), files.Beside(b.path, sc.Calibration)
	model, more := l.models.get(key(carFile, ofCar), func() (*sim.Model, harness.Findings) {
		return compileCar(carFile, l.plan.texts[carFile], ofCar)
	})
	fs = append(fs, l.plan.attribute(intoCar, more)...)
	cal, more := l.cals.get(key(calFile, ofCal)+key("", []files.Change{{Path: "sets", Value: strings.Join(b.sets, " ")}}), func() (*calibrated, harness.Findings) {
		return calibrate(calFile, l.plan.texts[calFile], ofCal, b.sets)
	})
	if fs = append(fs, l.plan.attribute(intoCalibration, more)...); fs.Failed() {
		return nil, fs
	}
	fs = append(fs, l.plan.attribute(intoCalibration, harness.MatchCar(model.Car(), cal.cal))...)
	return &prepared{sc, model, cal, drawn}, fs
}

// key names a file with the values that are put into it.
func key(file string, changes []files.Change) string {
	for _, c := range changes {
		file += "\n" + c.Path + "=" + c.Value
	}
	return file
}

func compileCar(file string, text []byte, changes []files.Change) (*sim.Model, harness.Findings) {
	car, fs := files.DecodeCar(file, text, changes...)
	if fs.Failed() {
		return nil, fs
	}
	model, bad := sim.Compile(*car)
	for _, f := range bad {
		fs = append(fs, harness.Finding{Severity: harness.Error, File: file, Field: f.Field, Value: f.Value, Allowed: f.Allowed, Reason: f.Reason})
	}
	return model, fs
}

func calibrate(file string, text []byte, changes []files.Change, sets []string) (*calibrated, harness.Findings) {
	cal, fs := files.DecodeCalibration(file, text, changes...)
	if fs.Failed() {
		return nil, fs
	}
	c := &calibrated{cal: cal}
	if len(sets) == 0 {
		return c, fs
	}
	reqs, err := require.Include(cal, sets...)
	if err == nil {
		c.required, c.trace = reqs, harness.NewTrace(cal)
		c.court, err = require.NewCourt(cal, reqs)
	}
	var more harness.Findings
	switch {
	case errors.As(err, &more):
		fs = append(fs, more...)
	case err != nil:
		fs = append(fs, harness.Finding{Severity: harness.Error, File: file, Reason: err.Error()})
	}
	return c, fs
}

// Outcomes of a launch.
const (
	Ran     = "ran"
	Stopped = "stopped" // the simulated car left the range of its equations
	Refused = "refused" // the values do not make a valid file
)

// outcome is what came of one launch.
type outcome struct {
	settings
	drawn   []string
	word    string
	why     string
	results harness.Results
}

// run drives one launch with the reference controller; a watcher may be nil.
func (l *launcher) run(ctx context.Context, s settings, watch scenario.Watch) (outcome, error) {
	out := outcome{settings: s, drawn: make([]string, len(l.plan.Scatter)), word: Refused}
	out.results.Verdict = harness.VerdictNone
	r, fs := l.prepare(s)
	if fs.Failed() {
		out.why = firstError(fs).String()
		return out, nil
	}
	out.drawn = r.drawn
	res, err := r.job(s.seed).Run(ctx, &l.unit, r.watch(watch))
	out.results = res
	var diverged *harness.DivergedError
	switch {
	case ctx.Err() != nil:
		return out, ctx.Err()
	case err == nil:
		out.word = Ran
	case errors.As(err, &diverged):
		out.word, out.why = Stopped, res.Stopped
	default:
		return out, err
	}
	return out, r.judge(&out.results)
}

// job is the launch as holdline run makes it, but for requirements: their court
// and the trace it reads are the worker's own.
func (r *prepared) job(seed uint64) *scenario.Job {
	s := *r.scenario
	s.Seed = int64(seed)
	return &scenario.Job{
		Name: s.Name, Verb: "sweep", Seed: seed, Cal: r.cal.cal, Faults: s.Faults,
		Launch: &scenario.Launch{
			Model: r.model, Cond: s.Conditions(0), Script: &s.Script, Shift: s.ShiftRPM,
			Until: s.DistanceM, Longest: s.LongestS, Target: s.Target, Teeth: s.DecodeTeeth,
		},
	}
}

// watch records what the court will read, beside what else is watched.
func (r *prepared) watch(more scenario.Watch) scenario.Watch {
	return func(ride *scenario.Ride) (sinks []harness.Sink, err error) {
		if r.cal.court != nil {
			r.cal.trace.Reset()
			sinks = append(sinks, r.cal.trace)
		}
		if more == nil {
			return sinks, nil
		}
		extra, err := more(ride)
		return append(sinks, extra...), err
	}
}

func (r *prepared) judge(res *harness.Results) (err error) {
	if r.cal.court == nil {
		return nil
	}
	if res.Requirements, err = r.cal.court.Judge(r.cal.trace, res.Complete); err != nil {
		return err
	}
	res.Verdict = require.Overall(res.Requirements)
	return nil
}

// memo keeps the last few things that were made under a key.
type memo[T any] struct {
	keys   []string
	values []T
	next   int
}

const memoSize = 8

// get gives what was made under a key, or makes it. Warnings are told once.
func (m *memo[T]) get(key string, build func() (T, harness.Findings)) (T, harness.Findings) {
	for i := range m.keys {
		if m.keys[i] == key {
			return m.values[i], nil
		}
	}
	v, fs := build()
	if fs.Failed() {
		return v, fs
	}
	if len(m.keys) < memoSize {
		m.keys, m.values = append(m.keys, key), append(m.values, v)
		return v, fs
	}
	m.keys[m.next], m.values[m.next] = key, v
	m.next = (m.next + 1) % memoSize
	return v, fs
}

func firstError(fs harness.Findings) harness.Finding {
	for _, f := range fs {
		if f.Severity == harness.Error {
			return f
		}
	}
	return harness.Finding{}
}

// shownFile is a path as rows show it.
func shownFile(path string) string { return filepath.ToSlash(filepath.Base(path)) }
