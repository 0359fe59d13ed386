package advise

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/harness/scenario"
	"github.com/holdline/holdline/sim"
)

// A launch of the search ends a moment after the 60 ft mark, or where it is plain
// that it will not come there.
var toSixtyFeet = []files.Change{{Path: "distance_m", Value: "18.7"}, {Path: "longest_s", Value: "14"}}

// neverLeft is the time that stands for a launch which did not come to 60 ft, s.
const neverLeft = 14

// Run is one launch of the search.
type Run struct {
	Seed  uint64
	Time  float64 // to 60 ft from the beam, s; neverLeft if it never came there
	Bad   string  // why it does not count as a good launch; "": it does
	Limit string  // what limited it
	Heat
}

// Heat is what a launch asks of the car.
type Heat struct {
	Exhaust   float64 // degC, hottest gas before the turbine or in the manifold, up to let-go
	Driveline float64 // N m, largest through the launch device
	OnLimit   float64 // s, cut while held
	Late      float64 // s, ignition after top dead centre
	Oxidiser  float64 // kg of nitrous used
	ToReady   float64 // s from open throttle to the target, or to a hold that counts; 0: never
	Held      float64 // rpm, as held
	Pressure  float64 // kPa, at let-go
}

// sample is one set of values with the launches made of it.
type sample struct {
	x       []float64
	changes []files.Change
	refused string // why it makes no valid calibration
	runs    map[uint64]*Run
}

// bench makes launches. What it makes depends on values and seed alone.
type bench struct {
	ctx  context.Context
	q    *Question
	n    atomic.Int64 // launches made
	seen map[string]*sample
	make func(*scenario.Job) (*Run, error)
}

func newBench(ctx context.Context, q *Question) *bench {
	b := &bench{ctx: ctx, q: q, seen: map[string]*sample{}}
	b.make = b.launch
	return b
}

// sample finds or makes the sample of a set of changes.
func (b *bench) sample(x []float64, changes []files.Change) *sample {
	key := ""
	for _, c := range changes {
		key += c.String() + "\n"
	}
	s := b.seen[key]
	if s == nil {
		s = &sample{x: x, changes: changes, runs: map[uint64]*Run{}}
		b.seen[key] = s
	}
	return s
}

// errBudget ends a search whose launches are used up.
var errBudget = errors.New("the launches that were allowed are used up")

// measure makes the launches that are missing of some samples on n seeds.
func (b *bench) measure(list []*sample, seed uint64, n int) error {
	type task struct {
		s    *sample
		jobs []*scenario.Job
	}
	var tasks []task
	missing := 0
	for _, s := range list {
		if s.refused != "" || s.runs[seed] != nil && s.runs[seed+uint64(n)-1] != nil {
			continue
		}
		l, findings := b.q.load(append(append([]files.Change{}, s.changes...), toSixtyFeet...), seed, n)
		if findings.Failed() {
			s.refused = firstError(findings)
			continue
		}
		tasks = append(tasks, task{s, l.Jobs("advise")})
		missing += n
	}
	if b.n.Load()+int64(missing) > int64(b.q.Launches) {
		return errBudget
	}
	type made struct {
		s   *sample
		run *Run
	}
	type order struct {
		s *sample
		j *scenario.Job
	}
	orders, out := make(chan order), make(chan made)
	var workers sync.WaitGroup
	var failed atomic.Pointer[error]
	for range b.q.Workers {
		workers.Go(func() {
			for o := range orders {
				run, err := b.make(o.j)
				b.n.Add(1)
				if err != nil {
					failed.CompareAndSwap(nil, &err)
				}
				out <- made{o.s, run}
			}
		})
	}
	go func() {
		for _, t := range tasks {
			for _, j := range t.jobs {
				if b.ctx.Err() == nil && t.s.runs[j.Seed] == nil {
					orders <- order{t.s, j}
				}
			}
		}
		close(orders)
		workers.Wait()
		close(out)
	}()
	done := map[*sample][]*Run{}
	for m := range out {
		if m.run != nil {
			done[m.s] = append(done[m.s], m.run)
		}
		if b.q.Progress != nil {
			b.q.Progress(int(b.n.Load()))
		}
	}
	for s, runs := range done {
		for _, r := range runs {
			s.runs[r.Seed] = r
		}
	}
	if err := failed.Load(); err != nil {
		return *err
	}
	return b.ctx.Err()
}

func firstError(list harness.Findings) string {
	for _, f := range list {
		if f.Severity == harness.Error {
			return strings.TrimSpace(f.Field + " " + f.Reason)
		}
	}
	return ""
}

// launch makes one launch.
func (b *bench) launch(j *scenario.Job) (*Run, error) {
	var w *warmth
	r, err := j.Run(b.ctx, &harness.Reference{}, func(ride *scenario.Ride) ([]harness.Sink, error) {
		w = newWarmth(ride)
		return []harness.Sink{w}, nil
	})
	var diverged *harness.DivergedError
	if err != nil && !errors.As(err, &diverged) {
		return nil, err
	}
	run := &Run{Seed: j.Seed, Time: neverLeft}
	if r.Launch != nil {
		w.finish(&run.Heat, r.Launch)
		run.Limit = r.Launch.Limit
		if r.Launch.Feet60 > 0 {
			run.Time = r.Launch.Feet60
		}
	}
	run.Bad = b.bad(&r, run, err)
	return run, nil
}

// bad says why a launch is no good one.
func (b *bench) bad(r *harness.Results, run *Run, err error) string {
	l := &b.q.Limits
	switch {
	case err != nil:
		return err.Error()
	case run.Time == neverLeft && r.Launch != nil:
		return r.Launch.Limit
	case r.Verdict == harness.VerdictFails:
		for _, q := range r.Requirements {
			if q.Verdict == harness.VerdictFails {
				return q.ID
			}
		}
	case l.MostExhaust > 0 && run.Exhaust > l.MostExhaust:
		return fmt.Sprintf("exhaust gas %.0f degC", run.Exhaust)
	case l.MostDriveline > 0 && run.Driveline > l.MostDriveline:
		return fmt.Sprintf("driveline %.0f N m", run.Driveline)
	case l.LongestLimit > 0 && run.OnLimit > l.LongestLimit:
		return fmt.Sprintf("%.1f s on the limiter", run.OnLimit)
	}
	return ""
}

// warmth is a sink that measures what a launch asks of the car.
type warmth struct {
	ride   *scenario.Ride
	tick   float64
	row    [sim.ChannelCount]float64
	heat   Heat
	bottle float64
}

// Places of the truth channels that it reads.
var (
	exhaustAt = truthAt("exhaust_temperature")
	deviceAt  = truthAt("device_torque")
	bottleAt  = truthAt("bottle_mass")
)

func truthAt(name string) int {
	for i, c := range sim.Channels() {
		if c.Name == name {
			return i
		}
	}
	panic("no truth channel " + name)
}

func newWarmth(ride *scenario.Ride) *warmth {
	return &warmth{ride: ride, tick: float64(ride.Job.Cal.Period) / float64(controller.Second)}
}

// truthEvery is how many ticks lie between two looks at the plant's truth.
const truthEvery = 5

// Record implements harness.Sink.
func (w *warmth) Record(f *harness.Frame) error {
	if f.EventsOnly {
		return nil
	}
	held := f.Out.Sequence == controller.Held || f.Out.Sequence == controller.Idle
	if held && f.Out.Demand > 0 {
		w.heat.OnLimit += w.tick
	}
	if f.Out.Timing < 0 {
		w.heat.Late += w.tick
	}
	if f.Tick%truthEvery != 0 {
		return nil
	}
	w.ride.Plant.Sim().Truth(w.row[:])
	if held {
		w.heat.Exhaust = max(w.heat.Exhaust, w.row[exhaustAt]-273.15)
	}
	w.heat.Driveline = max(w.heat.Driveline, w.row[deviceAt])
	if w.bottle == 0 {
		w.bottle = w.row[bottleAt]
	}
	w.heat.Oxidiser = max(w.bottle-w.row[bottleAt], 0)
	return nil
}

func (w *warmth) finish(h *Heat, l *harness.LaunchResult) {
	*h = w.heat
	h.ToReady, h.Held, h.Pressure = l.ToTarget, l.HoldSpeed, l.Pressure
}
