package advise

import (
	"context"
	"errors"
	"fmt"
	"slices"
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

	telling sync.Mutex
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

// order is a launch to be made of a sample.
type order struct {
	s   *sample
	j   *scenario.Job
	run *Run
	err error
}

// measure makes the launches that are missing of some samples on n seeds.
func (b *bench) measure(list []*sample, seed uint64, n int) error {
	orders := b.missing(list, seed, n)
	if b.n.Load()+int64(len(orders)) > int64(b.q.Launches) {
		return errBudget
	}
	next := make(chan *order)
	var workers sync.WaitGroup
	for range b.q.Workers {
		workers.Go(func() {
			for o := range next {
				o.run, o.err = b.make(o.j)
				b.tell(int(b.n.Add(1)))
			}
		})
	}
	for i := range orders {
		if b.ctx.Err() == nil {
			next <- &orders[i]
		}
	}
	close(next)
	workers.Wait()
	for _, o := range orders {
		if o.err != nil {
			return o.err
		}
		if o.run != nil {
			o.s.runs[o.j.Seed] = o.run
		}
	}
	return b.ctx.Err()
}

// missing lists the launches that samples lack; a sample that makes no valid
// calibration is marked.
func (b *bench) missing(list []*sample, seed uint64, n int) (orders []order) {
	for k, s := range list {
		if s.refused != "" || slices.Contains(list[:k], s) || s.runs[seed] != nil && s.runs[seed+uint64(n)-1] != nil {
			continue
		}
		l, findings := b.q.allowed(append(slices.Clone(s.changes), toSixtyFeet...), seed, n)
		if findings.Failed() {
			s.refused = firstError(findings)
			continue
		}
		for _, j := range l.Jobs("advise") {
			if s.runs[j.Seed] == nil {
				orders = append(orders, order{s: s, j: j})
			}
		}
	}
	return orders
}

// tell says how many launches are done, from one goroutine at a time.
func (b *bench) tell(n int) {
	if b.q.Progress == nil {
		return
	}
	b.telling.Lock()
	defer b.telling.Unlock()
	b.q.Progress(n)
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
	exhaustAt = sim.ChannelAt("exhaust_temperature")
	deviceAt  = sim.ChannelAt("device_torque")
	bottleAt  = sim.ChannelAt("bottle_mass")
)

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
