package fit

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/sim"
)

// Parameter is one value of a car file that a launch may tell.
type Parameter struct {
	Path string // in the car file; of several values that are moved together the first
	Name string
	Unit string
	Was  float64 // in the car file
	put  func(*sim.Car, float64)
}

// clutchPath is what a launch with a clutch does not tell from the clutch's switches
// alone: it takes the travel of its pedal.
const clutchPath = "launch.clutch_nm"

// parametersOf lists what is asked of a launch of a car.
func parametersOf(car *sim.Car) (list []Parameter) {
	add := func(path, name, unit string, most float64, at func(*sim.Car) *float64) {
		c := *car
		list = append(list, Parameter{Path: path, Name: name, Unit: unit, Was: *at(&c), put: func(c *sim.Car, factor float64) {
			*at(c) = min(*at(c)*factor, most) // what a car file allows
		}})
	}
	list = append(list, Parameter{Path: "engine.volumetric", Name: "torque scale", Was: 1, put: func(c *sim.Car, factor float64) {
		eta := make([]float64, len(c.Engine.Eta))
		for i, x := range c.Engine.Eta {
			eta[i] = min(max(x*factor, 0.2), 1.4) // what a car file allows
		}
		c.Engine.Eta = eta
	}})
	add("engine.inertia_kgm2", "engine inertia", "kg m2", 3, func(c *sim.Car) *float64 { return &c.Engine.InertiaKgM2 })
	add("tyre.mu", "grip", "", 5, func(c *sim.Car) *float64 { return &c.Tyre.Mu0 })
	add("body.drag_m2", "drag", "m2", 5, func(c *sim.Car) *float64 { return &c.Body.CdA })
	if car.Launch.Kind == "converter" {
		add("launch.stall_k", "converter", "rad/s/\u221a(N m)", 60, func(c *sim.Car) *float64 { return &c.Launch.K0 })
	} else {
		add(clutchPath, "clutch capacity", "N m", 10000, func(c *sim.Car) *float64 { return &c.Launch.ClutchNm })
	}
	if car.Turbo.Fitted {
		add("turbo.inertia_kgm2", "turbo inertia", "kg m2", 0.02, func(c *sim.Car) *float64 { return &c.Turbo.InertiaKgM2 })
	}
	return list
}

// Question is a launch to be learnt from.
type Question struct {
	Log   *Log
	Model *sim.Model // the car as its file says
	Cal   *controller.Calibration
	Cond  sim.Conditions // weather and surface; scatter and noise are left out
	// Workers is how many plants run at a time; below 1: one.
	Workers int
	// Tell, if set, is told what the fit is at, a few times a minute, from one
	// goroutine at a time.
	Tell func(what string)
}

// tell says what the fit is at.
func (q *Question) tell(format string, args ...any) {
	if q.Tell != nil {
		q.Tell(fmt.Sprintf(format, args...))
	}
}

// problem is a question with what is moved now.
type problem struct {
	*Question
	ctx    context.Context
	window window
	all    []Parameter
	free   []int // of all
	clutch bool
	scale  [len(compared)]float64
	use    [len(compared)]bool
	runs   int
	step   float64    // of derivatives, in logarithms
	rough  *roughness // nil: the plant runs without scatter
	// trust is what a car file counts for beside the recording: one over the standard
	// deviation that the logarithms of its values are taken to have. 0: nothing.
	trust float64
}

// roughness is the scatter of a launch.
type roughness struct{ seed uint64 }

// measured is what the plant's sensors said, tick by tick.
type measured struct {
	values [len(compared)][]float64
	plate  []controller.Ratio
}

// throttle is the log's, with what was measured in the window.
func (m *measured) throttle(l *Log, w window) []controller.Ratio {
	out := append([]controller.Ratio(nil), l.Throttle...)
	for t := w.from; t < w.to && t-w.from < len(m.plate); t++ {
		out[t] = m.plate[t-w.from]
	}
	return out
}

// point is a set of logarithms of factors, of the free parameters, then what is
// added to the clock, in units of clockStep, and for a clutch the logarithm of the
// driver's time.
type point []float64

// Steps of derivatives: wide ones first, which see over the roughness that events
// make and over local minima, then narrow ones.
var logSteps = [...]float64{0.08, 0.04, 0.02}

const clockStep = 0.02 // s

func (p *problem) size() int {
	n := len(p.free) + 1
	if p.clutch {
		n++
	}
	return n
}

// replayDriver does what the recording's driver did.
type replayDriver struct {
	p      *problem
	start  int // tick of the log at the plant's start
	clutch float64
	up     int // ticks since the pedal left the floor; -1: not yet
}

// clutchRamp is a driver's pedal after let-go: time in s, travel.
var clutchRamp = [][2]float64{{0, 0.94}, {0.03, 0.70}, {0.15, 0.22}, {0.6, 0}}

// Drive implements harness.Driver.
func (d *replayDriver) Drive(see *harness.Seen, do *harness.Controls) {
	t := d.start + int(see.NowUS/see.PeriodUS)
	log := d.p.Log
	on := at(log.On, t)
	do.Throttle, do.Switches, do.TransBrake = at(log.Throttle, t), on, on.Has(controller.TransBrake)
	do.FootBrake = 0
	if on.Has(controller.FootBrake) {
		do.FootBrake = controller.One
	}
	if log.Clutch == nil && !d.p.clutch {
		return
	}
	if on.Has(controller.ClutchDown) {
		do.Clutch, d.up = controller.One, 0
		return
	}
	if log.Clutch != nil {
		do.Clutch = harness.PedalFor(at(log.Clutch, t))
		return
	}
	d.up++
	do.Clutch = controller.Ratio(travel(float64(d.up)*float64(see.PeriodUS)/1e6/d.clutch) * float64(controller.One))
}

func travel(t float64) float64 {
	for i := 1; i < len(clutchRamp); i++ {
		if a, b := clutchRamp[i-1], clutchRamp[i]; t < b[0] {
			return a[1] + (b[1]-a[1])*(t-a[0])/(b[0]-a[0])
		}
	}
	return 0
}

// series is what the plant measured, at the samples of the log.
type series [len(compared)][]float64

// run drives the plant from a point. It is a pure function of it.
func (p *problem) run(x point) (out series, all measured, err error) {
	car := p.Model.Car()
	for i, k := range p.free {
		p.all[k].put(&car, math.Exp(x[i]))
	}
	model, bad := sim.Compile(car)
	if len(bad) > 0 {
		return out, all, errors.New(bad[0].String())
	}
	clock := x[len(p.free)] * clockStep
	clutch := 1.0
	if p.clutch {
		clutch = math.Exp(x[len(p.free)+1])
	}
	cond := p.Cond
	cond.LoseTooth, cond.ExtraTooth, cond.JitterDeg = 0, 0, 0
	if cond.CycleNoise, cond.SensorNoise = 0, 0; p.rough != nil {
		cond.CycleNoise, cond.Seed = 1, p.rough.seed
	}
	if v := at(p.Log.Values[0], p.window.from); v > 300 {
		cond.StartRPM = v
	}
	n := p.window.to - p.window.from
	plant, err := harness.NewPlant(model, cond, p.Cal, harness.PlantOptions{Driver: &replayDriver{p: p, start: p.window.from, clutch: clutch}, Until: 400, Ticks: uint32(n + p.late())})
	if err != nil {
		return out, all, err
	}
	take := recorder(func(f *harness.Frame) {
		for i, c := range compared {
			all.values[i] = append(all.values[i], harness.Channels[c].Units(f.In.Channels[c].Value))
		}
		all.plate = append(all.plate, controller.Ratio(f.In.Channels[controller.Throttle].Value))
	})
	_, err = harness.Run(p.ctx, plant, &harness.Reference{}, harness.Session{Calibration: p.Cal}, take)
	var diverged *harness.DivergedError
	if err != nil && !errors.As(err, &diverged) {
		return out, all, err
	}
	shift := clock * 1e6 / float64(p.Log.PeriodUS)
	for t := p.window.from; t < p.window.to; t += p.Log.Every {
		for i := range compared {
			out[i] = append(out[i], between(all.values[i], float64(t-p.window.from)-shift))
		}
	}
	return out, all, nil
}

// late is for how many ticks more the plant runs, so that the clock may move.
func (p *problem) late() int { return int(0.3 * 1e6 / float64(p.Log.PeriodUS)) }

func between(list []float64, at float64) float64 {
	if len(list) == 0 {
		return math.NaN()
	}
	i := int(math.Floor(at))
	switch {
	case i < 0:
		return list[0]
	case i >= len(list)-1:
		return list[len(list)-1]
	}
	return list[i] + (list[i+1]-list[i])*(at-float64(i))
}

type recorder func(*harness.Frame)

// Record implements harness.Sink.
func (r recorder) Record(f *harness.Frame) error {
	if !f.EventsOnly {
		r(f)
	}
	return nil
}

// runAll runs several points at a time.
func (p *problem) runAll(points []point) ([]series, error) {
	out, errs := make([]series, len(points)), make([]error, len(points))
	p.parallel(len(points), func(i int) { out[i], _, errs[i] = p.run(points[i]) })
	p.runs += len(points)
	return out, errors.Join(errs...)
}

// parallel does n things, some at a time.
func (p *problem) parallel(n int, do func(i int)) {
	next := make(chan int)
	var wait sync.WaitGroup
	for range max(p.Workers, 1) {
		wait.Go(func() {
			for i := range next {
				do(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wait.Wait()
}

// residuals are recorded minus plant at x, over the scale of each signal; series after
// series, with what is missing left at zero; then how far x is from the car file.
func (p *problem) residuals(s *series, x point) []float64 {
	var out []float64
	for i := range compared {
		if !p.use[i] {
			continue
		}
		k := 0
		for t := p.window.from; t < p.window.to; t += p.Log.Every {
			r := (p.Log.Values[i][t] - s[i][k]) / p.scale[i]
			if math.IsNaN(r) || p.skipped(i, t) {
				r = 0
			}
			out = append(out, r)
			k++
		}
	}
	for i := range p.free {
		out = append(out, -p.trust*x[i])
	}
	return out
}

// skipped leaves engine speed out while it hunts on the limiter: in what order
// events were cut is not what is asked.
func (p *problem) skipped(signal, t int) bool {
	return signal == 0 && t < p.window.release && p.onLimiter(t)
}

func (p *problem) onLimiter(t int) bool {
	ceiling := 0.0
	for i := range p.Cal.Stages {
		if st := &p.Cal.Stages[i]; st.Kind == controller.Launch && st.Ceiling.Table == 0 {
			ceiling = float64(st.Ceiling.Const) / float64(controller.RPM)
		}
	}
	return ceiling > 0 && p.Log.Values[0][t] > ceiling-300
}

func newProblem(ctx context.Context, q *Question) (*problem, error) {
	w, err := q.Log.launchWindow(q.Cal)
	if err != nil {
		return nil, err
	}
	car := q.Model.Car()
	p := &problem{Question: q, ctx: ctx, window: w, all: parametersOf(&car), clutch: q.Cal.Sequence.Hold == controller.HoldClutch && q.Log.Clutch == nil, scale: scales, step: logSteps[len(logSteps)-1]}
	for i := range p.all {
		if p.all[i].Path != clutchPath || q.Log.Clutch != nil {
			p.free = append(p.free, i)
		}
	}
	for i := range compared {
		n := 0
		for t := w.from; t < w.to; t += q.Log.Every {
			if !math.IsNaN(q.Log.Values[i][t]) {
				n++
			}
		}
		p.use[i] = n > (w.to-w.from)/q.Log.Every/2
	}
	if !p.use[0] || !p.use[1] && !p.use[2] {
		return nil, noLaunch("it needs engine speed and a road speed; the recording lacks %s there", lacking(p))
	}
	return p, nil
}

func lacking(p *problem) string {
	if !p.use[0] {
		return harness.Channels[controller.EngineSpeed].Name
	}
	return harness.Channels[controller.RoadSpeedMain].Name
}
