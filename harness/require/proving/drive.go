package proving

import (
	"io"
	"math/rand/v2"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// Drive is a stimulus: a driver's script over a plain flywheel. It is no car: the
// engine gains speed with every cycle that was fuelled and fired in the last 720
// degrees and loses it otherwise, in whole numbers, so that a limiter has
// something to hold. All of it is invented.
type Drive struct {
	cal      *controller.Calibration
	schedule *harness.Schedule
	rng      *rand.Rand
	script   *Script
	next     int
	end      uint32
	in       controller.Input
	tick     uint32

	// What the script sets.
	throttle int32 // 1/100 percent
	fixed    int32 // engine speed that is held whatever happens, 1/10 rpm; 0: none
	up, down int32 // gain with all cycles firing at full throttle, and loss, rpm/s
	push     int32 // gain added whatever fires, rpm/s: a tyre that lets go, a jump
	jitter   int32 // of the engine speed sensor, 1/10 rpm either way
	bad      controller.ChannelSet
	stale    controller.ChannelSet
	valve    bool // shot 1's valve sticks open once opened
	rolling  bool

	speed  int64 // 1/10,000 rpm
	boost  int32 // Pa
	road   int32 // mm/s
	power  []bool
	at     int
	fired  int
	fuel   [controller.MaxCylinders][2]bool
	held   controller.Input // last values, for stale channels
	opened bool
}

// Script is what a driver does, step by step.
type Script struct {
	Name  string
	Steps []Step
	End   uint32 // ms
}

// Step changes something at a time.
type Step struct {
	At uint32 // ms
	Do func(d *Drive)
}

// NewDrive prepares a run of a script; seed moves what a script leaves open.
func NewDrive(cal *controller.Calibration, script *Script, seed uint64) *Drive {
	d := &Drive{
		cal: cal, script: script, rng: rand.New(rand.NewPCG(seed, 77)),
		schedule: harness.NewSchedule(&cal.Engine, cal.Period, harness.DefaultCommitAngles),
		speed:    1200 * 10000, boost: int32(60 * controller.Kilopascal),
		up: 9000, down: 4000, power: make([]bool, cal.Engine.Cylinders),
		end: script.End * 1000 / uint32(cal.Period),
	}
	d.in.Periods = 1
	for c, v := range map[controller.Channel]int32{
		controller.CoolantTemperature: 850, controller.FuelPressure: int32(4 * controller.Bar),
		controller.OilPressure: int32(5 * controller.Bar), controller.BottlePressure: int32(65 * controller.Bar),
		controller.SupplyVoltage: 13500, controller.Lambda: 8500, controller.SurfaceTrim: 0,
	} {
		d.in.Set(c, v)
	}
	for sw := range controller.NumSwitches {
		d.in.Put(sw, false)
	}
	return d
}

// Next implements harness.Stimulus.
func (d *Drive) Next(f *harness.Frame) error {
	if d.tick >= d.end {
		return io.EOF
	}
	now := uint32(uint64(d.tick) * uint64(d.cal.Period) / 1000)
	for d.next < len(d.script.Steps) && d.script.Steps[d.next].At <= now {
		d.script.Steps[d.next].Do(d)
		d.next++
	}
	d.turn()
	d.sense(f)
	f.Tick = d.tick
	d.schedule.Advance(f, controller.Speed(d.speed/1000))
	d.tick++
	return nil
}

// turn moves the flywheel by a tick.
func (d *Drive) turn() {
	us := int64(d.cal.Period)
	if d.fixed > 0 {
		d.speed = int64(d.fixed) * 1000
	} else {
		gain := int64(d.push) - int64(d.down)
		gain += int64(d.up) * int64(d.throttle) / 10000 * int64(d.fired) / int64(len(d.power))
		d.speed += gain * 10000 * us / 1_000_000
		if idle := int64(1200 * 10000); d.speed < idle {
			d.speed = idle
		}
	}
	target := int32(60*controller.Kilopascal) + d.throttle*14
	d.boost += (target - d.boost) / 200
	if d.rolling {
		d.road += int32(8 * us / 1000)
	} else {
		d.road = max(0, d.road-int32(12*us/1000))
	}
}

// sense fills in what the sensors show.
func (d *Drive) sense(f *harness.Frame) {
	shown := int32(d.speed / 1000)
	if d.jitter > 0 {
		shown += int32(d.rng.Uint32N(uint32(2*d.jitter+1))) - d.jitter
	}
	d.in.Set(controller.EngineSpeed, shown)
	d.in.Set(controller.Throttle, d.throttle)
	d.in.Set(controller.ManifoldPressure, d.boost)
	d.in.Set(controller.RoadSpeedMain, d.road)
	f.In = d.in
	for c := range controller.NumChannels {
		switch {
		case d.stale.Has(c):
			s := &d.held.Channels[c]
			s.Age++
			f.In.Channels[c] = *s
		case d.bad.Has(c):
			f.In.Channels[c].Good = false
		}
		if !d.stale.Has(c) {
			d.held.Channels[c] = f.In.Channels[c]
		}
	}
	if d.valve && d.opened {
		f.In.Put(controller.Feedback1, true)
	}
}

// Apply implements harness.Stimulus: it keeps which cycles make power.
func (d *Drive) Apply(f *harness.Frame) error {
	for i := range f.Events[:f.N] {
		e := &f.Events[i]
		fuel := &d.fuel[e.Cylinder-1][e.Cycle&1]
		if e.Kind == harness.FuelCommit {
			*fuel = e.Give
			continue
		}
		d.fired -= count(d.power[d.at])
		d.power[d.at] = e.Give && *fuel
		d.fired += count(d.power[d.at])
		d.at = (d.at + 1) % len(d.power)
	}
	open := f.Out.Shots[0].Phase == controller.ShotOpen
	d.opened = d.opened || open
	d.in.Put(controller.Feedback1, open)
	return nil
}

func count(b bool) int {
	if b {
		return 1
	}
	return 0
}
