package proving

import (
	"math/rand/v2"

	"github.com/holdline/holdline/controller"
)

// The steps that scripts are made of.

func sw(s controller.Switch, on bool) func(*Drive) {
	return func(d *Drive) { d.in.Put(s, on) }
}

func lose(s controller.Switch) func(*Drive) {
	return func(d *Drive) { d.in.Known = d.in.Known.With(s, false) }
}

func throttle(percent int32) func(*Drive) { return func(d *Drive) { d.throttle = percent * 100 } }

func set(c controller.Channel, v int32) func(*Drive) { return func(d *Drive) { d.in.Set(c, v) } }

func bad(c controller.Channel, on bool) func(*Drive) {
	return func(d *Drive) { d.bad = with(d.bad, c, on) }
}

func stale(c controller.Channel, on bool) func(*Drive) {
	return func(d *Drive) { d.stale = with(d.stale, c, on) }
}

func with(s controller.ChannelSet, c controller.Channel, on bool) controller.ChannelSet {
	if on {
		return s | 1<<c
	}
	return s &^ (1 << c)
}

func load(up, down int32) func(*Drive) { return func(d *Drive) { d.up, d.down = up, down } }

func push(rpmPerSecond int32) func(*Drive) { return func(d *Drive) { d.push = rpmPerSecond } }

func fix(rpm int32) func(*Drive) { return func(d *Drive) { d.fixed = rpm * 10 } }

func roll(on bool) func(*Drive) { return func(d *Drive) { d.rolling = on } }

func at(ms uint32, do ...func(*Drive)) Step {
	return Step{At: ms, Do: func(d *Drive) {
		for _, f := range do {
			f(d)
		}
	}}
}

// Vary moves the times and loads of a script; the zero value moves nothing.
type Vary struct {
	rng *rand.Rand
}

// Varied is a variation by seed; seed 0 is the script as written.
func Varied(seed uint64) Vary {
	if seed == 0 {
		return Vary{}
	}
	return Vary{rand.New(rand.NewPCG(seed, 5))}
}

// ms gives a time, or one up to spread later.
func (v Vary) ms(t, spread uint32) uint32 {
	if v.rng == nil {
		return t
	}
	return t + v.rng.Uint32N(spread+1)
}

// pick gives x, or a value up to spread away either way.
func (v Vary) pick(x, spread int32) int32 {
	if v.rng == nil {
		return x
	}
	return x - spread + v.rng.Int32N(2*spread+1)
}

// staging are the steps up to a hold that is being earned: arm, and from "hold"
// on trans-brake and full throttle.
func staging(v Vary, hold uint32) []Step {
	return []Step{
		at(v.ms(100, 100), sw(controller.Arm, true), func(d *Drive) { d.jitter = 30 }),
		at(hold, sw(controller.TransBrake, true), throttle(100), load(v.pick(9000, 1500), v.pick(4000, 800))),
	}
}

// going are the steps of a release.
func going(v Vary, t uint32) []Step {
	return []Step{at(t, sw(controller.TransBrake, false), load(v.pick(4300, 500), v.pick(1800, 200)), roll(true))}
}

func script(name string, end uint32, parts ...[]Step) *Script {
	s := &Script{Name: name, End: end}
	for _, p := range parts {
		s.Steps = append(s.Steps, p...)
	}
	return s
}

// Scripts are the shipped launches, by name in a fixed order, moved by v.
func Scripts(v Vary) []*Script {
	list := []*Script{launch(v), steady(v), longHold(v), abort(v), armedAtStart(v), highEntry(v), reEntry(v), overrun(v), shots(v), brake(v), stuck(v), trim(v), twice(v), longShot(v), sensorAfter(v), shift(v), quick(v), openings(v)}
	return append(list, losses(v)...)
}

// launch is a whole pass: burnout, a bump into the staging beams, the hold with a
// shot that helps it up, release, the ramp with the second shot, a full-throttle
// shift, the main limiter, and a lift.
func launch(v Vary) *Script {
	hold := v.ms(2600, 300)
	release := hold + v.ms(1900, 600)
	return script("launch", release+4800, []Step{
		at(v.ms(300, 50), sw(controller.BurnoutButton, true), throttle(100), load(14000, 6000)),
		at(v.ms(1500, 100), sw(controller.BurnoutButton, false), throttle(0)),
		at(v.ms(2200, 50), sw(controller.TransBrake, true)),
		at(v.ms(2350, 50), sw(controller.TransBrake, false)),
	}, staging(v, hold)[1:], []Step{
		at(hold+10, sw(controller.Arm, true)),
	}, going(v, release), []Step{
		at(release+v.ms(1600, 100), sw(controller.ShiftButton, true), func(d *Drive) { d.down += 5000 }),
		at(release+v.ms(1720, 20), func(d *Drive) { d.down -= 5000 }),
		at(release+v.ms(1900, 100), sw(controller.ShiftButton, false)),
		at(release+3600, throttle(0), roll(false)),
	})
}

// steady holds the speed inside the band of the launch limiter, so that demand
// stands still: at several demands in turn.
func steady(v Vary) *Script {
	s := script("steady", 5200, staging(v, 500))
	s.Steps = append(s.Steps, at(510, func(d *Drive) { d.jitter = 0 }))
	for i, below := range []int32{125, 50, 200, 10, 90} {
		s.Steps = append(s.Steps, at(2000+600*uint32(i), fix(4600-v.pick(below, 9))))
	}
	return s
}

// longHold outlasts the guard.
func longHold(v Vary) *Script {
	return script("long hold", 8000, staging(v, 400), going(v, v.ms(6500, 200)), []Step{at(7200, throttle(0))})
}

// abort lifts in the hold, comes back with the hold still on, and clears it.
func abort(v Vary) *Script {
	lift := v.ms(2200, 100)
	return script("abort", lift+5400, staging(v, 400), []Step{
		at(lift, throttle(30)), at(lift+250, throttle(100)),
		at(lift+1500, sw(controller.TransBrake, false)), at(lift+1700, throttle(0)),
		at(lift+2000, sw(controller.TransBrake, true), throttle(100)),
		at(lift+2600, sw(controller.TransBrake, false), throttle(0)),
		at(lift+3300, sw(controller.TransBrake, true), throttle(100)),
		at(lift+4400, sw(controller.TransBrake, false)),
	})
}

// armedAtStart powers up with the arm switch on.
func armedAtStart(v Vary) *Script {
	release := v.ms(2400, 100)
	s := script("armed at start", release+4800, staging(v, 500), []Step{at(release-50, sw(controller.Arm, false))}, going(v, release),
		[]Step{at(release+10, func(d *Drive) { d.up, d.down = 3000, 2600 }), at(release+900, sw(controller.Arm, true))})
	s.Steps = append([]Step{at(0, sw(controller.Arm, true))}, s.Steps...)
	return s
}

// highEntry presses the brake circuit at high engine speed, at road speed, and
// with the road speed lost.
func highEntry(v Vary) *Script {
	return script("high entry", 6000, []Step{
		at(100, sw(controller.Arm, true), throttle(100), load(14000, 6000)),
		at(v.ms(900, 100), sw(controller.TransBrake, true)),
		at(1300, sw(controller.TransBrake, false), throttle(0)),
		at(2500, roll(true)), at(3300, sw(controller.TransBrake, true), throttle(100)),
		at(3700, sw(controller.TransBrake, false), throttle(0), roll(false)),
		at(4600, bad(controller.RoadSpeedMain, true)),
		at(4700, sw(controller.TransBrake, true), throttle(100)),
		at(5500, sw(controller.TransBrake, false), throttle(0)),
	})
}

// reEntry ends a launch by lifting and stages again with the throttle open, then
// properly.
func reEntry(v Vary) *Script {
	release := v.ms(1800, 100)
	return script("re-entry", release+7900, staging(v, 400), going(v, release), []Step{
		at(release+900, throttle(40)), at(release+2000, roll(false), func(d *Drive) { d.down = 6000 }),
		at(release+3600, throttle(100), sw(controller.TransBrake, true), load(9000, 4000)),
		at(release+4600, sw(controller.TransBrake, false)),
		at(release+4800, throttle(0), load(9000, 6000)),
		at(release+5600, throttle(100), sw(controller.TransBrake, true)),
		at(release+6800, sw(controller.TransBrake, false)),
	})
}

// overrun throws the engine over the main limiter with the second shot open.
func overrun(v Vary) *Script {
	release := v.ms(1800, 100)
	over := release + v.ms(1150, 30)
	return script("overrun", release+2600, staging(v, 400), going(v, release), []Step{
		at(over, push(60000)), at(over+50, push(-30000)), at(over+110, push(0)),
	})
}

// shots moves each interlock while the second shot is open.
func shots(v Vary) *Script {
	release := v.ms(1800, 100)
	step := func(k uint32) uint32 { return release + 800 + k*v.ms(420, 10) }
	return script("shots", release+6200, staging(v, 400), going(v, release), []Step{
		at(release+20, func(d *Drive) { d.up, d.down = 3000, 2600 }),
		at(step(0), set(controller.BottlePressure, int32(40*controller.Bar))),
		at(step(0)+60, set(controller.BottlePressure, int32(65*controller.Bar))),
		at(step(1)+100, set(controller.SupplyVoltage, 10500)), at(step(1)+150, set(controller.SupplyVoltage, 13500)),
		at(step(3), set(controller.CoolantTemperature, 1200)), at(step(3)+40, set(controller.CoolantTemperature, 850)),
		at(step(5), set(controller.Lambda, 11000)), at(step(5)+80, set(controller.Lambda, 8500)),
		at(step(7), throttle(80)), at(step(7)+60, throttle(100)),
		at(step(9), sw(controller.Arm, false)), at(step(9)+50, sw(controller.Arm, true)),
		at(step(10)+300, set(controller.FuelPressure, int32(2*controller.Bar))),
	})
}

// brake touches the foot brake with the second shot open.
func brake(v Vary) *Script {
	release := v.ms(1800, 100)
	return script("brake", release+3000, staging(v, 400), going(v, release), []Step{
		at(release+v.ms(800, 100), sw(controller.FootBrake, true)), at(release+1200, sw(controller.FootBrake, false)),
	})
}

// stuck leaves the first shot flowing after it was closed.
func stuck(v Vary) *Script {
	s := script("stuck valve", 4500, staging(v, 400), going(v, v.ms(2400, 100)))
	s.Steps = append([]Step{at(0, func(d *Drive) { d.valve = true })}, s.Steps...)
	return s
}

// trim turns the knob before and during a hold, and loses it.
func trim(v Vary) *Script {
	return script("trim", 4200, []Step{at(50, set(controller.SurfaceTrim, 3))}, staging(v, 400), []Step{
		at(1200, set(controller.SurfaceTrim, 6)), at(1500, bad(controller.SurfaceTrim, true)), at(1900, bad(controller.SurfaceTrim, false)),
	}, going(v, 2300), []Step{at(2500, set(controller.SurfaceTrim, -6)), at(2700, bad(controller.SurfaceTrim, true))})
}

// openings brings the second shot to the edge of each trigger interlock in turn:
// a throttle that comes late, a cut just before, a speed just too close to the
// ceiling.
func openings(v Vary) *Script {
	release := v.ms(1800, 100)
	return script("openings", release+3400, staging(v, 400), going(v, release), []Step{
		at(release+100, throttle(80)), at(release+710, fix(7200), throttle(100)), at(release+745, fix(6000)),
		at(release+1000, throttle(80)), at(release+1400, throttle(100)),
		at(release+1700, throttle(80)), at(release+2100, sw(controller.ShiftButton, true), fix(7700+v.pick(60, 5)), throttle(100)),
		at(release+2600, sw(controller.ShiftButton, false), fix(0), throttle(0)),
	})
}

// losses lose one input each, in the hold and while a shot is open.
func losses(v Vary) (list []*Script) {
	hold := v.ms(400, 50)
	held, shot := hold+v.ms(900, 50), hold+v.ms(260, 20)
	end := func() []Step {
		return []Step{at(held+1100, throttle(0)), at(held+1600, sw(controller.TransBrake, false))}
	}
	one := func(name string, t uint32, away, back func(*Drive)) {
		list = append(list, script(name, held+2600, staging(v, hold), []Step{at(t, away), at(t+v.ms(400, 50), back)}, end()))
	}
	fault := func(name string, c controller.Channel, t uint32) {
		one(name, t, bad(c, true), bad(c, false))
	}
	fault("speed lost in hold", controller.EngineSpeed, held)
	one("speed stale in hold", held, stale(controller.EngineSpeed, true), stale(controller.EngineSpeed, false))
	fault("throttle lost in hold", controller.Throttle, held)
	fault("manifold pressure lost in hold", controller.ManifoldPressure, held)
	one("throttle stale in hold", held, stale(controller.Throttle, true), stale(controller.Throttle, false))
	fault("speed lost in shot", controller.EngineSpeed, shot)
	fault("bottle sensor lost in shot", controller.BottlePressure, shot)
	one("bottle sensor stale in shot", shot, stale(controller.BottlePressure, true), stale(controller.BottlePressure, false))
	one("fuel pressure out of range in shot", shot, set(controller.FuelPressure, int32(20*controller.Bar)), set(controller.FuelPressure, int32(4*controller.Bar)))
	one("arm lost in shot", shot, lose(controller.Arm), func(d *Drive) { d.in.Put(controller.Arm, true) })
	one("hold input lost", held, lose(controller.TransBrake), func(d *Drive) { d.in.Put(controller.TransBrake, true) })
	return list
}

// twice lets the bottle pressure dip in the hold, far below the ceiling, so that
// a shot could open a second time.
func twice(v Vary) *Script {
	s := script("second opening", 5000, staging(v, 400), []Step{at(405, load(6000, 2000))}, going(v, 3900))
	s.Steps = append(s.Steps[:3:3], append([]Step{
		at(900, func(d *Drive) { d.up, d.down = 1900, 1800 }),
		at(v.ms(1000, 50), set(controller.BottlePressure, int32(40*controller.Bar))),
		at(1100, set(controller.BottlePressure, int32(65*controller.Bar))),
		at(2000, load(9000, 4000)),
	}, s.Steps[3:]...)...)
	return s
}

// longShot pulls slowly, so that a shot uses up its open time.
func longShot(v Vary) *Script {
	release := v.ms(1800, 100)
	return script("long shot", release+5200, staging(v, 400), going(v, release), []Step{
		at(release+20, func(d *Drive) { d.up, d.down = 3000, 2600 }),
	})
}

// sensorAfter loses the bottle sensor while the second shot is open, for longer
// than a glitch.
func sensorAfter(v Vary) *Script {
	release := v.ms(1800, 100)
	return script("bottle sensor lost after release", release+2600, staging(v, 400), going(v, release), []Step{
		at(release+20, func(d *Drive) { d.up, d.down = 3000, 2600 }),
		at(release+800, bad(controller.BottlePressure, true)), at(release+880, bad(controller.BottlePressure, false)),
	})
}

// shift keeps the shift button down with the speed above its ceiling.
func shift(v Vary) *Script {
	release := v.ms(1800, 100)
	return script("shift", release+2600, staging(v, 400), going(v, release), []Step{
		at(release+1500, fix(v.pick(8300, 100))), at(release+1600, sw(controller.ShiftButton, true)),
		at(release+2100, sw(controller.ShiftButton, false), fix(0)),
	})
}

// quick comes up in a fifth of a second and is let go as soon as the hold is
// earned.
func quick(v Vary) *Script {
	hold := v.ms(400, 50)
	return script("quick", hold+1600, staging(v, hold)[:1], []Step{
		at(hold, sw(controller.TransBrake, true), throttle(100), load(v.pick(26000, 1000), 9000)),
		at(hold+300, load(9000, 4000)),
	}, going(v, hold+v.ms(560, 40)))
}
