package proving

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// BrokenControllers lists the broken controllers in the order of the table.
func BrokenControllers() []Broken {
	var list []Broken
	list = append(list, brokenLimiters()...)
	list = append(list, brokenCuts()...)
	list = append(list, brokenSequences()...)
	list = append(list, brokenReleases()...)
	list = append(list, brokenInputs()...)
	list = append(list, brokenInterlocks()...)
	return append(list, brokenShots()...)
}

func calOnly(f func(*controller.Calibration)) fault   { return fault{cal: f} }
func inOnly(f func(*unit, *harness.Frame)) fault      { return fault{in: f} }
func outOnly(f func(*unit, *harness.Frame)) fault     { return fault{out: f} }
func noRate(c *controller.Calibration)                { c.Engine.RateCheck = false }
func inUnchecked(f func(*unit, *harness.Frame)) fault { return fault{cal: noRate, in: f} }

func brokenLimiters() []Broken {
	return []Broken{
		{"wrong sign", "limit compared with the wrong sign", "launch", "limiters.full-demand", outOnly(func(_ *unit, f *harness.Frame) {
			if f.In.Channels[controller.EngineSpeed].Value >= int32(f.Out.Ceiling) {
				f.Out.Demand, f.Out.Medium = 0, controller.NoMedium
				for i := range f.Events[:f.N] {
					give(&f.Events[i])
				}
			}
		})},
		{"hysteresis missing", "hysteresis of the hard limiters left at 5 rpm", "launch", "limiters.hysteresis.burnout", calOnly(func(c *controller.Calibration) {
			mainStage(c).Cut.Hysteresis, stageOf(c, controller.Burnout).Cut.Hysteresis = 5*controller.RPM, 5*controller.RPM
		})},
		{"band times ten", "soft band entered in tenths", "launch", "limiters.rest-below", calOnly(func(c *controller.Calibration) {
			launching(c).Cut.Band = 2500 * controller.RPM
		})},
		{"band above", "soft band laid above the ceiling instead of below it", "steady", "limiters.launch-asked", calOnly(func(c *controller.Calibration) {
			for r := range c.Tables[0].Cells {
				for k := range c.Tables[0].Cells[r] {
					c.Tables[0].Cells[r][k] += int32(250 * controller.RPM)
				}
			}
		})},
		{"table transposed", "rows and columns of the ceiling table exchanged", "re-entry", "limiters.launch-asked", calOnly(func(c *controller.Calibration) {
			t := &c.Tables[0].Cells
			for r := range 3 {
				for k := range r {
					t[r][k], t[k][r] = t[k][r], t[r][k]
				}
			}
			t[2][2], t[1][2] = t[1][2], t[2][2]
		})},
		{"ceiling in other units", "launch ceiling scaled by a factor of another wheel", "launch", "limiters.stage-floor.launch", calOnly(func(c *controller.Calibration) {
			for r := range c.Tables[0].Cells {
				for k := range c.Tables[0].Cells[r] {
					c.Tables[0].Cells[r][k] = c.Tables[0].Cells[r][k] * 7 / 10
				}
			}
		})},
		{"main raised by trim", "surface trim added to the main ceiling too", "trim", "limiters.main-stands", fault{out: func(_ *unit, f *harness.Frame) {
			if f.Out.Ceiling >= 9000*controller.RPM {
				f.Out.Ceiling += f.Out.Trim
			}
		}}},
		{"main at half depth", "main limiter cuts half of the events", "launch", "limiters.main-cuts", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Ceiling == 9000*controller.RPM {
				f.Out.Demand /= 2
			}
		})},
		{"highest wins", "highest ceiling of the active stages in force instead of the lowest", "launch", "limiters.lowest-in-force.launch", outOnly(func(_ *unit, f *harness.Frame) {
			for i, n := range f.Out.StageCeiling {
				if f.Out.Active>>i&1 != 0 {
					f.Out.Ceiling = max(f.Out.Ceiling, n)
				}
			}
		})},
		{"16-bit overflow", "speed in tenths of rpm kept in 16 bits: 6,553.6 rpm reads 0", "launch", "limiters.main-cuts", inUnchecked(func(_ *unit, f *harness.Frame) {
			f.In.Channels[controller.EngineSpeed].Value &= 1<<16 - 1
		})},
		{"speed filtered", "speed behind a filter of 30 ms", "launch", "limiters.full-demand", inOnly(lagging(controller.EngineSpeed, 30))},
		{"two teeth lost", "wheel of 60 teeth counted as 58: speed reads 3 % low", "launch", "limiters.main-cuts", inOnly(scaled(controller.EngineSpeed, 58, 60))},
		{"cut held on", "demand held for 0.2 s after speed has fallen", "launch", "limiters.rest-below", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.Demand > 0 {
				u.since = 200
			} else if u.since > 0 {
				u.since--
				f.Out.Demand, f.Out.Medium = controller.FullDemand, controller.Both
			}
		})},
		{"one event late", "each decision belongs to the event before it", "launch", "limiters.reaction", outOnly(func(u *unit, f *harness.Frame) {
			for i := range f.Events[:f.N] {
				e := &f.Events[i]
				e.Give, u.last[e.Kind] = u.last[e.Kind], e.Give
				if e.Give {
					give(e)
				} else {
					withhold(e)
				}
			}
		})},
		{"trim backwards", "positive trim positions lower the ceiling", "trim", "limiters.trim-follows", inOnly(scaled(controller.SurfaceTrim, -1, 1))},
		{"trim unbounded", "trim of 150 rpm a position without its bound", "trim", "limiters.trim-bound", calOnly(func(c *controller.Calibration) {
			c.Engine.TrimStep, c.Engine.TrimMax = 150*controller.RPM, 1000*controller.RPM
		})},
		{"trim live while held", "trim follows the knob while the car is held", "trim", "limiters.trim-frozen", outOnly(func(_ *unit, f *harness.Frame) {
			f.Out.Trim = controller.Speed(f.In.Channels[controller.SurfaceTrim].Value) * 50 * controller.RPM
		})},
	}
}

func brokenCuts() []Broken {
	return []Broken{
		{"fuel and spark now", "fuel and spark withheld at the same moment: of different cycles", "launch", "cuts.aligned", outOnly(func(u *unit, f *harness.Frame) {
			for i := range f.Events[:f.N] {
				e := &f.Events[i]
				if e.Kind == harness.FuelCommit {
					u.last[0] = e.Give
					continue
				}
				if e.Give = u.last[0]; e.Give {
					give(e)
				} else {
					withhold(e)
				}
			}
		})},
		{"cycle off by one", "spark committed with the count of the cycle before", "launch", "cuts.aligned", outOnly(each(harness.SparkCommit, func(u *unit, f *harness.Frame, e *harness.Event) {
			c := e.Cylinder - 1
			e.Give, u.delay[c] = u.delay[c] == 0, int32(count(!e.Give))
			if e.Give {
				give(e)
			} else {
				withhold(e)
			}
		}))},
		{"injectors exchanged", "fuel outputs of cylinders 3 and 4 exchanged", "steady", "cuts.aligned", outOnly(each(harness.FuelCommit, func(u *unit, f *harness.Frame, e *harness.Event) {
			if e.Cylinder != 3 && e.Cylinder != 4 {
				return
			}
			e.Give, u.delay[e.Cylinder^7] = u.delay[e.Cylinder] == 0, int32(count(!e.Give))
			if e.Give {
				give(e)
			} else {
				withhold(e)
			}
		}))},
		{"only fuel cut", "spark fires on although both are to be withheld", "launch", "cuts.aligned", outOnly(each(harness.SparkCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) { give(e) }))},
		{"only spark cut", "fuel given on although both are to be withheld", "launch", "cuts.aligned", outOnly(each(harness.FuelCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) { give(e) }))},
		{"spark instead of both", "launch stage set to cut spark alone", "launch", "cuts.medium.launch", calOnly(func(c *controller.Calibration) {
			launching(c).Cut.Medium = controller.Spark
		})},
		{"same cylinders always", "the first cylinders of the firing order cut in every cycle", "steady", "cuts.even-cylinders", outOnly(func(u *unit, f *harness.Frame) {
			for i := range f.Events[:f.N] {
				e := &f.Events[i]
				if f.Out.Sequence != controller.Held || f.Out.Demand == 0 {
					continue
				}
				if int32(e.Cylinder) <= int32(f.Out.Demand)*8/int32(controller.FullDemand) {
					withhold(e)
				} else {
					give(e)
				}
			}
		})},
		{"dice", "events cut by chance, right on average", "steady", "cuts.even", outOnly(each(harness.FuelCommit, func(u *unit, f *harness.Frame, e *harness.Event) {
			if f.Out.Sequence != controller.Held || f.Out.Demand == 0 {
				return
			}
			u.since = (u.since*1103515245 + 12345) & 0x7fffffff
			if controller.Demand(u.since>>8%55440) < f.Out.Demand {
				withhold(e)
			} else {
				give(e)
			}
		}))},
		{"order 1 to n", "firing order left at 1, 2, 3 and so on", "steady", "cuts.even", calOnly(func(c *controller.Calibration) {
			for i := range c.Engine.Cylinders {
				c.Engine.Order[i] = i + 1
			}
		})},
		{"whole cylinders", "demand rounded up to whole cylinders", "steady", "cuts.even", calOnly(func(c *controller.Calibration) {
			launching(c).Cut.Pattern = controller.RoundRobin
		})},
		{"one injector not driven by the cut", "cylinder 5 fires on", "launch", "cuts.full", outOnly(each(harness.FuelCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) {
			if e.Cylinder == 5 {
				give(e)
			}
		}))},
		{"dead cylinder", "cylinder 5 gets no fuel at all", "launch", "cuts.fuel-asked", outOnly(each(harness.FuelCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) {
			if e.Cylinder == 5 {
				withhold(e)
			}
		}))},
		{"misfire", "every fiftieth spark is not sent", "launch", "cuts.no-raw-charge", outOnly(each(harness.SparkCommit, func(u *unit, _ *harness.Frame, e *harness.Event) {
			if u.since++; u.since%50 == 0 && e.Give {
				withhold(e)
				e.Unburnt = true
			}
		}))},
		{"unburnt not counted", "charges that pass unburnt are not reported", "launch", "cuts.reported", outOnly(each(harness.SparkCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) { e.Unburnt = false }))},
		{"no reason", "withheld events carry no reason", "launch", "cuts.reasoned", outOnly(func(_ *unit, f *harness.Frame) {
			for i := range f.Events[:f.N] {
				f.Events[i].Why = controller.WhyGiven
			}
		})},
		{"whole engine without end", "whole-engine cut of the shift not limited in time", "shift", "cuts.whole-engine.shift", calOnly(func(c *controller.Calibration) {
			stageOf(c, controller.Shift).WholeLimit = 2 * controller.Second
		})},
		{"guard forgotten", "longest hold set to a minute", "long hold", "cuts.late-timing.launch", calOnly(func(c *controller.Calibration) {
			launching(c).Guard.Longest = 60 * controller.Second
		})},
		{"angle in tenths", "spark sent in tenths of a degree, read in hundredths", "launch", "cuts.commits-carry-timing", outOnly(each(harness.SparkCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) { e.Timing /= 10 }))},
		{"enrichment not sent", "injections keep the base mixture", "launch", "cuts.commits-carry-mixture", outOnly(each(harness.FuelCommit, func(_ *unit, _ *harness.Frame, e *harness.Event) {
			e.Mixture = min(e.Mixture, controller.One)
		}))},
	}
}

func brokenSequences() []Broken {
	return []Broken{
		{"release debounced", "hold input debounced by 20 ms when it goes off", "launch", "launch.released-at-once", inOnly(func(u *unit, f *harness.Frame) {
			if f.In.On.Has(controller.TransBrake) {
				u.since = 20
			} else if u.since > 0 {
				u.since--
				f.In.Put(controller.TransBrake, true)
			}
		})},
		{"bump taken for a launch", "a hold of 50 ms counts, at any throttle", "launch", "launch.earned-hold", fault{
			cal: func(c *controller.Calibration) {
				c.Sequence.Earn, c.Sequence.EarnWithin = 50*controller.Millisecond, 5000*controller.RPM
			},
			in: func(_ *unit, f *harness.Frame) {
				if f.In.On.Has(controller.TransBrake) {
					f.In.Set(controller.Throttle, int32(controller.One))
				}
			},
		}},
		{"bump starts the ramp", "every let-go is a release", "launch", "launch.bump-is-no-launch", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.Marks&controller.MarkBump != 0 {
				u.since = 500
			}
			if u.since--; u.since > 0 {
				f.Out.Sequence = controller.Released
			}
		})},
		{"timers at half time", "timers counted twice a tick", "quick", "launch.earned-hold", inUnchecked(func(_ *unit, f *harness.Frame) { f.In.Periods = 2 })},
		{"throttle not looked at", "throttle neither earns nor keeps a hold", "abort", "launch.aborts-on-lift", inOnly(func(_ *unit, f *harness.Frame) {
			if f.In.On.Has(controller.TransBrake) {
				f.In.Set(controller.Throttle, int32(controller.One))
			}
		})},
		{"speed not looked at", "a hold is earned wherever the speed is", "abort", "launch.earned-speed", calOnly(func(c *controller.Calibration) {
			c.Sequence.EarnWithin = 5000 * controller.RPM
		})},
		{"abort not latched", "an abort clears as soon as the hold input is off", "abort", "launch.abort-latched", calOnly(func(c *controller.Calibration) {
			c.Sequence.ClearAfter = controller.Millisecond
		})},
		{"abort for good", "an abort does not clear", "abort", "launch.abort-clears", calOnly(func(c *controller.Calibration) {
			c.Sequence.ClearAfter = 30 * controller.Second
		})},
		{"launch without end", "a released launch never ends in time", "shots", "launch.ends-in-time", calOnly(func(c *controller.Calibration) {
			c.Sequence.EndAfter = 30 * controller.Second
		})},
		{"lift ignored", "a lift does not end a launch", "re-entry", "launch.ends-on-lift", calOnly(func(c *controller.Calibration) {
			c.Sequence.EndLift = 30 * controller.Second
		})},
		{"brake ignored", "the foot brake does not end a launch", "brake", "launch.ends-on-brake", inOnly(mask(controller.FootBrake, false))},
		{"road speed ignored", "launch entered at any road speed", "high entry", "launch.entry-road-speed", calOnly(func(c *controller.Calibration) {
			c.Sequence.EntrySpeed = 30 * controller.MetrePerSecond
		})},
		{"road speed in km/h", "road speed in km/h divided as if it were m/s", "high entry", "launch.entry-road-speed", inOnly(scaled(controller.RoadSpeedMain, 10, 36))},
		{"lost road speed is zero", "a lost road speed reads standstill", "high entry", "launch.entry-road-speed", inOnly(assumed(controller.RoadSpeedMain, 0))},
		{"brake at 7,500 rpm", "launch entered at any engine speed", "high entry", "launch.entry-engine-speed", calOnly(func(c *controller.Calibration) {
			c.Sequence.EntryAbove = 5000 * controller.RPM
		})},
		{"throttle open at re-entry", "a second launch without closing the throttle", "re-entry", "launch.entry-throttle", inOnly(func(u *unit, f *harness.Frame) {
			if u.prev.Out.Sequence == controller.Ended {
				f.In.Set(controller.Throttle, 0)
			}
		})},
		{"lost hold reads off", "a lost hold input reads as let go", "hold input lost", "launch.released-earned", inOnly(func(_ *unit, f *harness.Frame) {
			if !f.In.Known.Has(controller.TransBrake) {
				f.In.Put(controller.TransBrake, false)
			}
		})},
		{"lost hold reads on", "a lost hold input keeps its last state", "hold input lost", "launch.aborts-on-loss", inOnly(func(_ *unit, f *harness.Frame) {
			if !f.In.Known.Has(controller.TransBrake) {
				f.In.Put(controller.TransBrake, true)
			}
		})},
	}
}

func brokenReleases() []Broken {
	return []Broken{
		{"launch cut lives on", "the launch limiter goes on for 0.1 s after release", "launch", "after.no-cut-left", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.Marks&controller.MarkReleased != 0 {
				u.since = 100
			}
			if u.since > 0 {
				u.since--
				for i := range f.Events[:f.N] {
					withhold(&f.Events[i])
				}
			}
		})},
		{"demand lives on", "demand of the launch limiter is kept at release", "launch", "after.demand-drops", outOnly(func(u *unit, f *harness.Frame) {
			if f.Out.Marks&controller.MarkReleased != 0 {
				f.Out.Demand, f.Out.Medium = controller.FullDemand, controller.Both
			}
		})},
		{"timing never slewed back", "late ignition stays after release", "launch", "after.timing-at-base", calOnly(func(c *controller.Calibration) {
			c.Sequence.ReturnTime = 2 * controller.Second
			launching(c).Timing.SlewOut = 10 * controller.Degree
		})},
		{"timing in one step", "late ignition without slew", "armed at start", "after.timing-slewed", calOnly(func(c *controller.Calibration) {
			launching(c).Timing.SlewIn, launching(c).Timing.SlewOut = 0, 0
		})},
		{"timing swings over", "5 degrees early on the way back", "launch", "after.timing-not-advanced", outOnly(func(_ *unit, f *harness.Frame) {
			if f.Out.Sequence == controller.Released && f.Out.SinceRelease > 150 && f.Out.SinceRelease < 300 {
				f.Out.Timing += 5 * controller.Degree
			}
		})},
		{"ramp three times as fast", "ceiling ramp against a clock of the wrong period", "launch", "after.ramp-not-above", calOnly(func(c *controller.Calibration) {
			c.Tables[1].Columns.Points = [8]int32{0, 133, 400}
		})},
		{"ramp late", "ceiling ramp starts 0.2 s after release", "launch", "after.ramp-not-below", calOnly(func(c *controller.Calibration) {
			c.Tables[1].Columns.Points = [8]int32{200, 600, 1400}
		})},
		{"ramp lives on", "after-release stage stays active after the end", "launch", "after.ramp-only-after-release", outOnly(func(u *unit, f *harness.Frame) {
			u.flag = u.flag || f.Out.Sequence == controller.Released
			if u.flag {
				f.Out.Active |= 1 << index(u.given, controller.AfterRelease)
			}
		})},
		{"ramp not entered", "after-release stage waits 50 ms", "launch", "after.ramp-entered", calOnly(func(c *controller.Calibration) {
			stageOf(c, controller.AfterRelease).When.Qualify = 50 * controller.Millisecond
		})},
	}
}
