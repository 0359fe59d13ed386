package proving

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

func brokenInputs() []Broken {
	return []Broken{
		{"stale speed believed", "an old engine speed counts as new", "speed stale in hold", "inputs.speed-unknown", inUnchecked(func(_ *unit, f *harness.Frame) {
			f.In.Channels[controller.EngineSpeed].Age = 0
		})},
		{"stale sensor believed", "an old bottle pressure counts as new", "bottle sensor stale in shot", "inputs.noticed.bottle_pressure", inOnly(believed(controller.BottlePressure))},
		{"range not checked", "fuel pressure of a shorted sensor believed", "fuel pressure out of range in shot", "inputs.noticed.fuel_pressure", calOnly(func(c *controller.Calibration) {
			c.Channels[controller.FuelPressure].High = int32(100 * controller.Bar)
		})},
		{"lost speed is zero", "a lost engine speed reads 0 rpm", "speed lost in hold", "inputs.speed-unknown", inUnchecked(assumed(controller.EngineSpeed, 0))},
		{"lost speed keeps firing", "engine fires on without a speed", "speed lost in hold", "inputs.speed-withheld", calOnly(func(c *controller.Calibration) { c.Engine.KeepFiring = true })},
		{"speed back at once", "one good sample ends the withholding", "speed lost in hold", "inputs.speed-back", inOnly(func(u *unit, f *harness.Frame) {
			good := f.In.Channels[controller.EngineSpeed].Good
			if good && !u.flag && u.n > 0 {
				_ = u.State.Reset(&u.cal)
			}
			u.flag = good
		})},
		{"lost pressure is atmospheric", "a lost manifold pressure reads 100 kPa", "manifold pressure lost in hold", "inputs.boost", inOnly(assumed(controller.ManifoldPressure, int32(100*controller.Kilopascal)))},
		{"sound speed doubted", "every second a tick without a tooth counts as a lost speed", "launch", "inputs.speed-trusted", outOnly(func(u *unit, f *harness.Frame) {
			if u.n%1000 == 999 {
				f.Out.Speed = controller.SpeedStanding
			}
		})},
		{"lost stage drops out", "launch stage left when it loses an input", "manifold pressure lost in hold", "inputs.launch-kept", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.Lost.Has(controller.ManifoldPressure) {
				f.Out.Active &^= 1 << index(u.given, controller.Launch)
			}
		})},
		{"loss lifts the ceiling", "a lost input puts the main ceiling in force", "manifold pressure lost in hold", "inputs.no-rise-while-held", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Lost.Has(controller.ManifoldPressure) {
				f.Out.Ceiling = 9000 * controller.RPM
			}
		})},
		{"guard lifts the ceiling", "an expired guard puts the main ceiling in force", "long hold", "inputs.guard-no-rise", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.StageInhibits[index(u.given, controller.Launch)]&controller.StageGuard != 0 {
				f.Out.Ceiling = 9000 * controller.RPM
			}
		})},
		{"loss stays hot", "late ignition goes on after an input was lost", "manifold pressure lost in hold", "inputs.base-timing", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.StageInhibits[index(u.given, controller.Launch)]&controller.StageKept != 0 {
				f.Out.Timing = -10 * controller.Degree
			}
		})},
		{"lost throttle is open", "a lost throttle keeps its last value", "throttle lost in hold", "launch.aborts-on-loss", inOnly(believed(controller.Throttle))},
	}
}

func brokenInterlocks() []Broken {
	frozen := func(u *unit, f *harness.Frame) {
		if open(&u.prev) {
			for _, c := range []controller.Channel{controller.BottlePressure, controller.SupplyVoltage, controller.CoolantTemperature, controller.FuelPressure} {
				f.In.Channels[c] = u.seen.Channels[c]
			}
			return
		}
		u.seen = f.In
	}
	shot2 := func(g func(s *controller.Shot)) fault {
		return calOnly(func(c *controller.Calibration) { g(&c.Shots[1]) })
	}
	shot1 := func(g func(s *controller.Shot)) fault {
		return calOnly(func(c *controller.Calibration) { g(&c.Shots[0]) })
	}
	standing := func(g func(s *controller.Standing)) fault {
		return calOnly(func(c *controller.Calibration) { g(&c.Standing) })
	}
	return []Broken{
		{"armed at power-up", "an arm switch left on arms at power-up", "armed at start", "power.armed.shot1", inOnly(func(u *unit, f *harness.Frame) {
			if u.n == 0 {
				f.In.Put(controller.Arm, false)
			}
		})},
		{"master always open", "master valve wired to the ignition", "launch", "power.master", outOnly(func(_ *unit, f *harness.Frame) { f.Out.Master = true })},
		{"master forgotten", "shot opened with the master shut", "launch", "power.through-master.shot1", outOnly(func(_ *unit, f *harness.Frame) { f.Out.Master = false })},
		{"interlock checked at opening only", "standing interlocks not judged while open", "shots", "power.window.bottle_pressure", inOnly(frozen)},
		{"voltage not checked", "supply voltage window from 0 up", "shots", "power.window.supply_voltage", standing(func(s *controller.Standing) { s.Voltage.Low = 8000 })},
		{"coolant in Fahrenheit", "coolant window entered in degrees Fahrenheit", "shots", "power.window.coolant_temperature", standing(func(s *controller.Standing) { s.Coolant = window(500, 1400) })},
		{"arm not qualified", "a touch of the arm switch opens", "armed at start", "power.arm-qualified.shot2", standing(func(s *controller.Standing) { s.Qualify = 0 })},
		{"throttle at half", "least throttle of a shot set to 50 %", "shots", "power.throttle.shot2", shot2(func(s *controller.Shot) { s.ThrottleMin = 50 * controller.Percent })},
		{"speed floor missing", "shot opens from 500 rpm up", "launch", "power.speed-low.shot1", shot1(func(s *controller.Shot) { s.SpeedLow = 1500 * controller.RPM })},
		{"speed top missing", "upper end of the speed window not judged", "trim", "power.speed-high.shot2", shot2(func(s *controller.Shot) { s.SpeedHigh = 15000 * controller.RPM })},
		{"margin missing", "shot stays open up to the ceiling", "launch", "power.margin.shot1", shot1(func(s *controller.Shot) { s.Margin, s.ValveCloses, s.Flush = 1, 1000, 1000 })},
		{"mixture not judged", "lambda not connected to the interlock", "shots", "power.mixture", standing(func(s *controller.Standing) { s.LeanLimit = 20000 })},
		{"held shot after release", "shot for the hold opens after release too", "brake", "power.held.shot1", shot1(func(s *controller.Shot) { s.When = controller.WhileEither })},
		{"run shot on the brake", "shot for the run opens in the hold too", "launch", "power.released.shot2", shot2(func(s *controller.Shot) { s.When = controller.WhileEither })},
		{"shot under braking", "foot brake not read", "brake", "power.brake.shot2", inOnly(mask(controller.FootBrake, false))},
		{"delay forgotten", "second shot opens with the release", "launch", "power.delay.shot2", shot2(func(s *controller.Shot) { s.Delay = 0 })},
		{"re-arm timer never started", "a shot reopens at once", "shots", "power.re-arm.shot2", shot2(func(s *controller.Shot) { s.ReArm = 0 })},
		{"fault not latched", "a sensor that comes back is believed again", "bottle sensor lost after release", "power.latched.shot2", standing(func(s *controller.Standing) { s.LatchAfter = 100 * controller.Millisecond })},
		{"lost arm reads on", "a lost arm switch keeps its last state", "arm lost in shot", "inputs.shots.shot1", inOnly(func(_ *unit, f *harness.Frame) {
			if !f.In.Known.Has(controller.Arm) {
				f.In.Put(controller.Arm, true)
			}
		})},
		{"lost sensor ignored", "a lost bottle sensor reads 65 bar", "bottle sensor lost in shot", "inputs.shots.shot1", inOnly(assumed(controller.BottlePressure, int32(65*controller.Bar)))},
		{"stuck valve not seen", "feedback of the valve not connected", "stuck valve", "power.stuck-valve.shot1", inOnly(mask(controller.Feedback1, false))},
		{"stuck valve unprotected", "a stuck valve shuts the master and ends the retard", "stuck valve", "power.stuck-valve.shot1", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Faults != 0 {
				f.Out.Shots[0].Retard = 0
			}
		})},
		{"trigger not qualified", "a touch of the throttle opens", "openings", "power.trigger-qualified.shot2", shot2(func(s *controller.Shot) { s.Trigger = 0 })},
		{"cuts forgotten", "a shot opens right after a cut", "openings", "power.quiet.shot2", shot2(func(s *controller.Shot) { s.QuietFor = 0 })},
		{"reopening at the margin", "a shot opens as close to the ceiling as it may stay open", "openings", "power.margin-to-open.shot2", shot2(func(s *controller.Shot) { s.Reopen = 0 })},
		{"opens again in a hold", "a shot reopens as often as it likes", "second opening", "power.once.shot1", shot1(func(s *controller.Shot) { s.OncePerHold = false })},
		{"open time not counted", "a shot stays open for a minute", "armed at start", "power.open-time.shot2", shot2(func(s *controller.Shot) { s.Longest = 60 * controller.Second })},
		{"open time not added up", "open times of the shots not added", "long shot", "power.open-time-all", standing(func(s *controller.Standing) { s.LongestAll = 60 * controller.Second })},
	}
}

func brokenShots() []Broken {
	shot2 := func(g func(s *controller.Shot)) fault {
		return calOnly(func(c *controller.Calibration) { g(&c.Shots[1]) })
	}
	retard := func(when controller.ShotPhase) fault {
		return outOnly(func(_ *unit, f *harness.Frame) {
			for i := range f.Out.Shots {
				if s := &f.Out.Shots[i]; s.Phase == when {
					f.Out.Timing += s.Retard
					s.Retard = 0
				}
			}
		})
	}
	return []Broken{
		{"retard after the solenoid", "retard comes in with the valve instead of before it", "launch", "power.retard-leads.shot1", retard(controller.ShotLeading)},
		{"retard ends at closing", "retard dropped with the valve", "launch", "power.retard-stays.shot1", retard(controller.ShotDraining)},
		{"no retard", "retard left at 0", "launch", "power.retard.shot2", retard(controller.ShotOpen)},
		{"retard reported only", "retard shown and not commanded", "launch", "power.retard-used", outOnly(func(_ *unit, f *harness.Frame) {
			for i := range f.Out.Shots {
				f.Out.Timing += f.Out.Shots[i].Retard
			}
		})},
		{"limiter against the shot", "soft limiter begins to cut while the shot is open", "launch", "power.no-cut-while-flowing", outOnly(func(_ *unit, f *harness.Frame) {
			if open(f) && f.In.Channels[controller.EngineSpeed].Value > int32(f.Out.Ceiling-500*controller.RPM) {
				f.Out.Demand, f.Out.Medium = controller.FullDemand/8, controller.Both
			}
		})},
		{"fuel-only over oxidiser", "limiter cuts fuel alone while oxidiser is in the engine", "overrun", "power.cut-both", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Shots[1].Phase >= controller.ShotOpen && f.Out.Demand > 0 {
				f.Out.Medium = controller.Fuel
			}
		})},
		{"open at the ceiling", "shot closes 30 ms after the ceiling was passed", "overrun", "power.closed-at-ceiling", outOnly(func(u *unit, f *harness.Frame) {
			s := &f.Out.Shots[1]
			if s.Phase == controller.ShotOpen {
				u.since = 60
			} else if u.since > 0 {
				u.since--
				s.Phase = controller.ShotOpen
			}
		})},
		{"no overrun", "sparks of fuelled cycles fire far above main", "overrun", "power.overrun", calOnly(func(c *controller.Calibration) {
			c.Engine.OverrunMargin = 1000 * controller.RPM
		})},
		{"overrun at once", "spark withheld at the main ceiling already", "overrun", "power.overrun-only-above", calOnly(func(c *controller.Calibration) {
			c.Engine.OverrunMargin = 0
		})},
		{"duty left on", "duty not reset at closing", "launch", "power.duty-closed.shot2", outOnly(func(_ *unit, f *harness.Frame) {
			if s := &f.Out.Shots[1]; s.Phase == controller.ShotDraining {
				s.Duty = controller.One
			}
		})},
		{"ramp not restarted", "a reopening goes on where the ramp was", "shots", "power.duty-starts.shot2", outOnly(func(u *unit, f *harness.Frame) {
			if s := &f.Out.Shots[1]; s.Phase == controller.ShotOpen {
				u.delay[0] = max(u.delay[0], int32(s.Duty))
				s.Duty = controller.Ratio(u.delay[0])
				s.FuelDuty = s.Duty
			}
		})},
		{"ramp ten times as fast", "duty ramp entered in tenths of a second", "launch", "power.duty-ramp.shot2", shot2(func(s *controller.Shot) { s.Ramp = 100 * controller.Millisecond })},
		{"fuel valve late", "fuel valve opens with the oxidiser valve", "launch", "power.wet-lead.shot2", shot2(func(s *controller.Shot) { s.FuelLead = 0 })},
		{"fuel valve shuts first", "fuel valve shuts with the oxidiser valve", "launch", "power.wet-lag.shot2", shot2(func(s *controller.Shot) { s.FuelLag = 0 })},
		{"fuel valve not ramped", "fuel valve stays at its start duty", "launch", "power.wet-fuel.shot2", outOnly(func(_ *unit, f *harness.Frame) {
			f.Out.Shots[1].FuelDuty = min(f.Out.Shots[1].FuelDuty, 40*controller.Percent)
		})},
		{"enrichment late", "enrichment comes in with the dry shot", "launch", "power.dry-lead.shot1", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Shots[0].Phase == controller.ShotLeading {
				f.Out.Shots[0].Enrich, f.Out.Mixture = controller.One, controller.One
			}
		})},
		{"enrichment ends at closing", "enrichment dropped with the valve", "launch", "power.dry-fuel.shot1", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Shots[0].Phase == controller.ShotDraining {
				f.Out.Shots[0].Enrich, f.Out.Mixture = controller.One, controller.One
			}
		})},
	}
}
