package require

import (
	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// foldName is one channel that the commits of a run add up to.
type foldName int

const (
	fuelCommits foldName = iota
	sparkCommits
	fuelWithheld
	sparkWithheld
	unburnt
	overrunSparks
	blindCuts
	split
	unaskedSpark
	unaskedFuel
	missedFull
	reaction
	longestRun
	unreported
	unreasoned
	timingError
	mixtureError
	cylinderWithin
	cylinderSpread
	foldInts // the ones above are whole numbers
	spreadError
	foldEnd
)

// foldColumns describes the channels, in order. Counts are of one tick; the ones
// said to stand keep their value from tick to tick.
var foldColumns = [foldEnd]struct{ name, unit, doc string }{
	fuelCommits:    {"fuel_commits", "", "fuel commits of the tick"},
	sparkCommits:   {"spark_commits", "", "spark commits of the tick"},
	fuelWithheld:   {"fuel_withheld", "", "fuel commits that were withheld"},
	sparkWithheld:  {"spark_withheld", "", "spark commits that were withheld"},
	unburnt:        {"unburnt", "", "charges reported as passed unburnt"},
	overrunSparks:  {"overrun", "", "sparks withheld under overrun"},
	blindCuts:      {"blind_cuts", "", "commits withheld because engine speed is unknown"},
	split:          {"split", "", "cycles cut under both of which one half was given (C5)"},
	unaskedSpark:   {"unasked_spark", "", "sparks withheld from a fuelled cycle without a spark cut in force or overrun"},
	unaskedFuel:    {"unasked_fuel", "", "fuel withheld without a fuel cut in force"},
	missedFull:     {"missed_full", "", "cycles given although demand was 100 %"},
	reaction:       {"reaction", "", "cycles given in a row while speed is at or above the ceiling; stands"},
	longestRun:     {"longest_run", "", "cycles withheld in a row, of the cylinder with most; stands"},
	unreported:     {"unreported", "", "withheld sparks of fuelled cycles not reported as unburnt"},
	unreasoned:     {"unreasoned", "", "withheld commits without a reason (C7)"},
	timingError:    {"timing_error", "deg", "greatest distance of a spark's angle from the tick's timing"},
	mixtureError:   {"mixture_error", "", "how far an injection was leaner than the tick's mixture"},
	cylinderWithin: {"cylinder_within", "", "constant demand: difference of the cylinders' counts inside a cycle; stands"},
	cylinderSpread: {"cylinder_spread", "", "constant demand: the same at the end of a whole cycle; stands"},
	spreadError:    {"spread_error", "", "constant demand: greatest distance of a count of consecutive events from their demand (C4); stands"},
}

// commitFold goes through the commits of a run once.
type commitFold struct {
	ints   [foldInts][]int32
	floats [foldEnd - foldInts][]float64 // [0] is not used

	cal                            *controller.Calibration
	demand, medium, speed, ceiling []int32
	cutStage, lowStage, active     []int32
	state, timing, mixture, bad    []int32
	restarted                      []int32
	cyl                            [controller.MaxCylinders]cylinderFold
	position                       [controller.MaxCylinders]uint8
	spread                         spreadFold
	given                          int32 // in a row at or above the ceiling
}

// cylinderFold remembers one cylinder.
type cylinderFold struct {
	fuel [2]fuelFold // by parity of the cycle
	run  int32       // cycles without power in a row
}

type fuelFold struct {
	cycle  controller.Cycle
	seen   bool
	given  bool
	medium int32 // in force when it was decided
	demand int32
}

func (s *RunSignals) addFold() {
	for i := range foldEnd {
		c := foldColumns[i]
		if c.name == "" {
			continue
		}
		s.add(c.name, Column{Unit: c.unit}, func(e *entry) {
			f := s.fold()
			if i > foldInts {
				e.col.Floats = f.floats[i-foldInts]
				return
			}
			e.col.Ints = f.ints[i]
			switch i {
			case timingError:
				e.col.PerUnit = 100
			case mixtureError:
				e.col.PerUnit = 10000
			}
		})
	}
	s.ints("withheld", Column{}, func(out []int32) {
		f := s.fold()
		for t := range out {
			out[t] = f.ints[fuelWithheld][t] + f.ints[sparkWithheld][t]
		}
	})
}

func (s *RunSignals) fold() *commitFold {
	if s.folded == nil {
		s.folded = newFold(s)
		s.folded.run(s.trace)
	}
	return s.folded
}

func newFold(s *RunSignals) *commitFold {
	f := &commitFold{cal: s.cal}
	n := s.trace.Ticks
	for i := range f.ints {
		f.ints[i] = make([]int32, n)
	}
	for i := range f.floats {
		f.floats[i] = make([]float64, n)
	}
	f.demand, f.medium = s.raw("demand"), s.raw("medium")
	f.speed, f.ceiling = s.raw("engine-speed"), s.raw("ceiling")
	f.cutStage, f.lowStage, f.active = s.raw("cut-stage"), s.raw("stage"), s.raw("stages-active")
	f.state, f.timing, f.mixture = s.raw("speed-state"), s.raw("timing"), s.raw("mixture")
	f.bad, f.restarted = s.raw("channels-bad"), s.raw("restarted")
	for i := range f.cal.Engine.Cylinders {
		f.position[(f.cal.Engine.Order[i]-1)%controller.MaxCylinders] = i
	}
	return f
}

// stopped is the speed below which the engine is taken to stand: the controller
// forgets its cycles there and when it starts anew, and so must its judge.
const stopped = int32(30 * controller.RPM)

func (f *commitFold) run(tr *harness.Trace) {
	next := 0
	for t := range tr.Ticks {
		f.tick(t)
		for next < len(tr.Events) && int(tr.Events[next].Tick) <= t {
			f.event(t, &tr.Events[next].Event)
			next++
		}
		f.close(t)
	}
}

func (f *commitFold) tick(t int) {
	if f.speed[t] < stopped && f.bad[t]>>controller.EngineSpeed&1 == 0 || f.restarted[t] != 0 {
		for i := range f.cyl {
			f.cyl[i].fuel = [2]fuelFold{}
		}
	}
	if !f.good(t) || f.speed[t] < f.ceiling[t] {
		f.given = 0
	}
	if !f.good(t) || f.demand[t] == 0 || !f.spreads(t) {
		f.spread = spreadFold{}
	}
}

func (f *commitFold) good(t int) bool { return f.state[t] == int32(controller.SpeedGood) }

// spreads reports whether every stage that may cut now spreads its cuts.
func (f *commitFold) spreads(t int) bool {
	for i := range f.cal.Stages {
		st := &f.cal.Stages[i]
		if f.active[t]>>i&1 != 0 && st.Kind != controller.NoStage && st.Cut.Pattern != controller.Spread {
			return false
		}
	}
	return true
}

func (f *commitFold) event(t int, e *harness.Event) {
	if e.Cylinder == 0 || e.Cylinder > f.cal.Engine.Cylinders {
		return
	}
	c := &f.cyl[e.Cylinder-1]
	if e.Kind == harness.FuelCommit {
		f.fuel(t, e, c)
	} else {
		f.spark(t, e, c)
	}
	if !e.Give && (e.Why == controller.WhyGiven || e.Why == controller.WhySpared || e.Why == controller.WhyUnknown) {
		f.ints[unreasoned][t]++
	}
	if !e.Give && e.Why == controller.WhySpeedUnknown {
		f.ints[blindCuts][t]++
	}
}

func (f *commitFold) fuel(t int, e *harness.Event, c *cylinderFold) {
	f.ints[fuelCommits][t]++
	c.fuel[e.Cycle&1] = fuelFold{e.Cycle, true, e.Give, f.medium[t], f.demand[t]}
	cuts := f.medium[t]&int32(controller.Fuel) != 0 && f.demand[t] > 0
	full := f.demand[t] == int32(controller.FullDemand)
	if !e.Give {
		f.ints[fuelWithheld][t]++
		if f.good(t) && !cuts {
			f.ints[unaskedFuel][t]++
		}
	} else {
		short := int32(f.mixture[t] - int32(e.Mixture))
		f.ints[mixtureError][t] = max(f.ints[mixtureError][t], short)
		if f.good(t) && cuts && full && f.cal.Engine.CommitLead > 0 {
			f.ints[missedFull][t]++
		}
	}
	if f.decides(t, controller.Fuel) {
		f.decided(t, e)
	}
}

func (f *commitFold) spark(t int, e *harness.Event, c *cylinderFold) {
	f.ints[sparkCommits][t]++
	fuel := c.fuel[e.Cycle&1]
	if fuel.cycle != e.Cycle {
		fuel = fuelFold{}
	}
	fuelGiven := !fuel.seen || fuel.given
	pair := fuel.seen && fuel.medium == int32(controller.Both) && fuel.demand > 0
	overrun := e.Why == controller.WhyOverrun
	sparkCut := f.demand[t] > 0 && f.medium[t] == int32(controller.Spark)
	if e.Give {
		f.ints[timingError][t] = max(f.ints[timingError][t], abs32(f.timing[t]-int32(e.Timing)))
	} else {
		f.withheld(t, e, fuel, fuelGiven, overrun)
	}
	if pair && fuel.given != e.Give && !overrun {
		f.ints[split][t]++
	}
	free := fuel.given && fuel.demand == 0 || f.cal.Engine.Fuel == controller.FuelNotOurs
	if free && f.decides(t, controller.Spark) {
		if e.Give && sparkCut && f.good(t) && f.demand[t] == int32(controller.FullDemand) {
			f.ints[missedFull][t]++
		}
		f.decided(t, e)
	}
	if e.Give && fuelGiven {
		c.run = 0
	} else {
		c.run++
	}
}

func (f *commitFold) withheld(t int, e *harness.Event, fuel fuelFold, fuelGiven, overrun bool) {
	f.ints[sparkWithheld][t]++
	f.ints[unburnt][t] += b32(e.Unburnt)
	f.ints[overrunSparks][t] += b32(overrun)
	if fuel.seen && fuelGiven && !e.Unburnt {
		f.ints[unreported][t]++
	}
	bySpark := f.medium[t] == int32(controller.Spark) && f.demand[t] > 0
	if f.good(t) && fuel.seen && fuelGiven && !overrun && !bySpark {
		f.ints[unaskedSpark][t]++
	}
}

// decides reports whether commits of this kind are the ones that a cut in force,
// or the one that ought to be, is decided at.
func (f *commitFold) decides(t int, kind controller.Medium) bool {
	m := controller.Medium(f.medium[t])
	if m == controller.NoMedium {
		m = f.cal.Stages[f.lowStage[t]%controller.MaxStages].Cut.Medium
	}
	if m&controller.Fuel != 0 {
		return kind == controller.Fuel
	}
	return kind == controller.Spark
}

// decided takes note of one commit at which a cut is decided.
func (f *commitFold) decided(t int, e *harness.Event) {
	cut := &f.cal.Stages[f.lowStage[t]%controller.MaxStages].Cut
	whole := cut.Style == controller.Soft || cut.Style == controller.WholeEngine ||
		cut.Style == controller.Hard && cut.Depth == controller.FullDemand
	if e.Give && f.good(t) && whole && f.speed[t] >= f.ceiling[t] {
		f.given++
	} else if !e.Give {
		f.given = 0
	}
	if f.good(t) && f.demand[t] > 0 && f.spreads(t) {
		n := int32(f.cal.Engine.Cylinders)
		f.spread.event(n, int32(f.position[e.Cylinder-1]), int32(e.Cylinder-1), f.demand[t], !e.Give)
	}
}

// close writes what stands at the end of a tick.
func (f *commitFold) close(t int) {
	f.ints[reaction][t] = f.given
	for i := range f.cal.Engine.Cylinders {
		c := &f.cyl[i]
		f.ints[longestRun][t] = max(f.ints[longestRun][t], c.run)
	}
	f.ints[cylinderWithin][t] = f.spread.within
	f.ints[cylinderSpread][t] = f.spread.apart
	f.floats[spreadError-foldInts][t] = float64(f.spread.worst) / float64(controller.FullDemand)
}

func abs32(x int32) int32 { return max(x, -x) }

func b32(b bool) int32 {
	if b {
		return 1
	}
	return 0
}
