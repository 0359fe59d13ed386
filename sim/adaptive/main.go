// Command adaptive runs two deterministic launches of demo car 1 and prints,
// as JSON, the car's parameters, the launches and what came out. compare.py in
// this folder runs it and integrates the same launches with scipy. Nothing of
// it is needed to build or test the project.
package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

	"github.com/holdline/holdline/sim"
)

// launch is one scripted start: the car waits with the clutch pedal down, then
// the pedal comes up and the throttle moves to its driving position.
type launch struct {
	Name        string
	StartRPM    float64
	HoldS       float64 // s until the clutch starts to bite
	Throttle    float64 // opening while held
	Drive       float64 // opening after that
	Gear        int
	CeilingRPM  float64 // fuel cut while held; 0: none
	HystRPM     float64
	ClutchFirst float64 // share of capacity after FirstS, on a straight line
	FirstS      float64
	ClutchFull  float64 // s from there to the whole capacity
	Times       []float64
}

func (l *launch) clutch(t float64) float64 {
	t -= l.HoldS
	switch {
	case t <= 0:
		return 0
	case t < l.FirstS:
		return l.ClutchFirst * t / l.FirstS
	}
	return min(1, l.ClutchFirst+(1-l.ClutchFirst)*(t-l.FirstS)/l.ClutchFull)
}

// sample is engine speed and manifold pressure at one time.
type sample struct{ TimeS, RPM, ManifoldKPa, CarMS float64 }

type result struct {
	StepS                   float64 // limit asked for; the model may take shorter ones
	SixtyS                  float64
	SimS, WallS             float64 // WallS is the median of the repeats
	Steps                   int64
	FuelCommits, FuelWithhd int
	Samples                 []sample
}

const (
	repeats = 9
	longest = 8.0 // s of simulated time
)

var launches = []launch{
	{
		Name: "no cut", StartRPM: 4500, HoldS: 0.3, Throttle: 0.2, Drive: 0.35, Gear: 1,
		ClutchFirst: 0.55, FirstS: 0.12, ClutchFull: 0.8,
		Times: []float64{0.1, 0.3, 0.5, 1, 1.5, 2},
	},
	{
		Name: "fuel cut", StartRPM: 4000, HoldS: 1, Throttle: 1, Drive: 0.35, Gear: 1, CeilingRPM: 4500, HystRPM: 50,
		ClutchFirst: 0.55, FirstS: 0.12, ClutchFull: 0.8,
		Times: []float64{0.3, 0.6, 1, 1.2, 1.7, 2.2},
	},
}

func conditions(l launch, stepS float64) sim.Conditions {
	c := sim.Standard()
	c.CycleNoise, c.SensorNoise = 0, 0
	c.StartRPM, c.StepS, c.Gear = l.StartRPM, stepS, l.Gear
	return c
}

// driver decides and commands one run.
type driver struct {
	launch
	p       *sim.Plant
	cutting bool
	out     result
}

func (d *driver) decide(c sim.Commit) bool {
	p := d.p
	give := c.Kind == sim.SparkCommit || d.fuel()
	return p.Decide(c.Cylinder, c.Cycle, c.Kind, give, p.Model().BaseSpark(p.RPM(), p.ManifoldPa()))
}

func (d *driver) fuel() bool {
	d.out.FuelCommits++
	over := d.p.RPM() - d.CeilingRPM
	switch {
	case d.CeilingRPM == 0 || d.p.Time() >= d.HoldS || over < -d.HystRPM:
		d.cutting = false
	case over > 0:
		d.cutting = true
	}
	if d.cutting {
		d.out.FuelWithhd++
	}
	return !d.cutting
}

// tick runs one tick; the clutch is held at its value in the middle of it.
func (d *driver) tick(in *sim.Actuators, tickS float64) error {
	t := d.p.Time()
	in.Clutch = d.clutch(t + 0.5*tickS)
	in.Throttle = d.Throttle
	if t+1e-9 >= d.HoldS {
		in.Throttle = d.Drive
	}
	for {
		stop := d.p.Advance(in)
		switch stop.Why {
		case sim.TickEnd:
			return nil
		case sim.Diverged:
			return fmt.Errorf("launch %q left the range of the equations: %+v", d.Name, d.p.Fault())
		}
		if !d.decide(stop.Commit) {
			return fmt.Errorf("launch %q: commit %+v refused", d.Name, stop.Commit)
		}
	}
}

// run makes one pass with all truth channels read each tick.
func run(p *sim.Plant, l launch, c sim.Conditions) (result, error) {
	p.Reset(c)
	d := driver{launch: l, p: p, out: result{StepS: c.StepS}}
	in := sim.Actuators{Gear: l.Gear}
	var row [sim.ChannelCount]float64
	began := time.Now()
	for p.State.Strip.Elapsed(0) == 0 {
		if p.Time() > longest || p.State.Stalled {
			return d.out, errors.New("launch " + l.Name + " does not reach 60 ft")
		}
		if err := d.tick(&in, c.TickS); err != nil {
			return d.out, err
		}
		p.Truth(row[:])
		d.note(c.TickS)
	}
	d.out.WallS = time.Since(began).Seconds()
	d.out.SixtyS, d.out.SimS, d.out.Steps = p.State.Strip.Elapsed(0), p.Time(), p.State.Steps
	return d.out, nil
}

func (d *driver) note(tickS float64) {
	n := len(d.out.Samples)
	if t := d.p.Time(); n < len(d.Times) && t > d.Times[n]-0.5*tickS {
		d.out.Samples = append(d.out.Samples, sample{t, d.p.RPM(), d.p.ManifoldPa() / 1e3, d.p.State.V})
	}
}

// timed repeats a run and keeps the median wall time.
func timed(p *sim.Plant, l launch, c sim.Conditions) (result, error) {
	var walls []float64
	var r result
	for range repeats {
		var err error
		if r, err = run(p, l, c); err != nil {
			return r, err
		}
		walls = append(walls, r.WallS)
	}
	r.WallS = median(walls)
	return r, nil
}

func median(v []float64) float64 { return slices.Sorted(slices.Values(v))[len(v)/2] }

func all() (map[string]any, error) {
	model := sim.MustCompile(sim.TurboFour())
	var runs [][]result
	for _, l := range launches {
		var set []result
		for _, step := range []float64{2e-4, 1e-4, 5e-5, 1e-5} {
			c := conditions(l, step)
			r, err := timed(sim.New(model, c), l, c)
			if err != nil {
				return nil, err
			}
			set = append(set, r)
		}
		runs = append(runs, set)
	}
	return map[string]any{
		"car": model.Car(), "conditions": conditions(launches[0], 2e-4),
		"launches": launches, "plant": runs,
	}, nil
}

func main() {
	out, err := all()
	if err == nil {
		err = json.NewEncoder(os.Stdout).Encode(out)
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "adaptive:", err)
		os.Exit(1)
	}
}
