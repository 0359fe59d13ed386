package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A regulator's integral part moves unless the demand already stands at the end
// that the step goes towards, and never leaves 0 to 1 (anti-windup by conditional
// integration; common practice).
func TestIntegralStopsWhereTheDemandIsAtItsEnd(t *testing.T) {
	const full = int32(FullDemand)
	for _, c := range []struct {
		integral, step, p, want int32
		why                     string
	}{
		{full - 10, 5, 20, full - 10, "beyond full"},
		{full - 20, 5, 20, full - 20, "just full"},
		{full - 21, 5, 20, full - 16, "short of full"},
		{full - 10, -5, 20, full - 15, "beyond full, and down"},
		{20, -5, -30, 20, "below none"},
		{20, -5, -20, 20, "just none"},
		{21, -5, -20, 16, "more than none"},
		{20, 5, -30, 25, "below none, and up"},
		{3, -5, 100, 0, "never below none"},
		{full - 3, 5, -100, full, "never above full"},
	} {
		s := stageState{integral: uint16(c.integral)}
		s.integrate(c.step, c.p)
		assert.Equal(t, c.want, int32(s.integral), c.why)
	}
}

// At the ceiling and its band everything is cut, whatever the gains.
func TestRegulateIsFullFromItsBandOn(t *testing.T) {
	c := Cut{Style: Regulate, Band: 400 * RPM, Hysteresis: 100 * RPM}
	for n, want := range map[Speed]Demand{5399*RPM + 9: 0, 5400 * RPM: FullDemand, 5400*RPM + 1: FullDemand} {
		s := stageState{ceiling: 5000 * RPM}
		var m cycleMean
		assert.Equal(t, want, s.regulate(&c, &m, n, n), "%d", n)
	}
}

// A mean is that of a whole cycle: it is there in the tick in which the phase
// comes to one.
func TestCycleMeanIsThereWithTheCycle(t *testing.T) {
	e := engineOf(4)
	n := 6000 * RPM
	for short, fresh := range []bool{true, false} {
		m := cycleMean{phase: e.cyclePhase() - e.phaseOf(n) - uint32(short), ticks: 19}
		m.step(e, n, 1)
		assert.Equal(t, fresh, m.fresh, "%d short of a cycle", short)
	}
}

// With both commits in either order, a spark decides alone for a cylinder whose
// fuel commits have been seen, and for no other: not for its neighbours, and not
// after sync was lost.
func TestASparkLeadsForACylinderThatHasBeenFuelled(t *testing.T) {
	for cyl := uint8(1); cyl <= 4; cyl++ {
		c := clutchCar()
		c.Engine.CommitLead = 0
		k := newTrack(t, c)
		k.s.FuelCommit(k.cal, cyl, 1)
		k.speed(9100 * RPM)
		k.run(1)
		require.Equal(t, FullDemand, k.out.Demand)
		for other := uint8(1); other <= 4; other++ {
			assert.Equal(t, other != cyl, k.s.SparkCommit(k.cal, other, 2).Fire, "cylinder %d, fuelled %d", other, cyl)
		}
		k.s.LostSync()
		assert.True(t, k.s.SparkCommit(k.cal, cyl, 3).Fire, "forgotten with sync")
	}
}

// What a commit says of itself: which of a pair decided, that a spared cycle is not
// a given one, that a spark whose fuel was never asked for says so, and that no
// withheld spark of a pair leaves raw charge.
func TestCommitsSayWhichOfThemDecided(t *testing.T) {
	c := clutchCar()
	c.Engine.CommitLead = 0
	k := newTrack(t, c)
	assert.Equal(t, WhyNotSeen, k.s.SparkCommit(k.cal, 1, 0).Why, "no fuel commit came before it")
	assert.Equal(t, WhyGiven, k.s.FuelCommit(k.cal, 2, 0).Why)
	assert.Equal(t, WhyGiven, k.s.SparkCommit(k.cal, 2, 0).Why)
	for cyl := uint8(1); cyl <= 4; cyl++ {
		k.s.FuelCommit(k.cal, cyl, 1)
	}
	k.speed(9100 * RPM)
	k.run(1)
	require.Equal(t, FullDemand, k.out.Demand)
	require.Equal(t, Both, k.out.Medium)

	fuel, spark := k.s.FuelCommit(k.cal, 1, 2), k.s.SparkCommit(k.cal, 1, 2)
	assert.Equal(t, FuelDecision{Why: WhyCut}, fuel)
	assert.Equal(t, WhyPaired, spark.Why)
	assert.False(t, spark.Fire || spark.Unburnt, "its fuel was withheld first")

	spark, fuel = k.s.SparkCommit(k.cal, 2, 2), k.s.FuelCommit(k.cal, 2, 2)
	assert.Equal(t, WhyCut, spark.Why)
	assert.False(t, spark.Fire || spark.Unburnt, "its fuel will be withheld")
	assert.Equal(t, FuelDecision{Why: WhyPaired}, fuel)

	k.s.cmd.medium = Spark
	spark, fuel = k.s.SparkCommit(k.cal, 4, 2), k.s.FuelCommit(k.cal, 4, 2)
	assert.True(t, !spark.Fire && spark.Unburnt, "its fuel will be given")
	assert.True(t, fuel.Give)

	k.s.cmd.medium, k.s.cmd.demand = Both, 0
	assert.Equal(t, WhyGiven, k.s.FuelCommit(k.cal, 3, 2).Why, "no demand spares nothing")
}

// A release returns timing to base in exactly the ticks that were asked for: the
// step is rounded up, never by more than that.
func TestReturnTakesTheTicksAskedFor(t *testing.T) {
	for dev, want := range map[int16]uint16{-2000: 20, -2001: 21, -1999: 20, 2000: 20, 1: 1, 0: 0} {
		s := timingState{dev: dev}
		s.release(100)
		assert.Equal(t, want, s.back, "deviation %d", dev)
	}
	s := timingState{dev: -2000, back: 7}
	s.release(0)
	assert.Zero(t, s.back, "no return time: the slew alone")
}

// The retard of a shot is taken off base, or bounds an absolute angle; a deviation
// that is later counts on, one that is earlier does not.
func TestRetardOfAShotWithADeviation(t *testing.T) {
	for _, c := range []struct {
		dev      int16
		absolute bool
		retard   Angle
		want     Angle
	}{
		{-500, false, 0, 1500}, {300, false, 0, 2300},
		{-500, false, 400, 1100}, {300, false, 400, 1600},
		{-500, true, 400, 1500}, {-300, true, 400, 1600}, {300, true, 400, 1600},
	} {
		s := timingState{dev: c.dev, absolute: c.absolute}
		assert.Equal(t, c.want, s.angle(2000, c.retard), "%+v", c)
	}
}

// A ceiling without a slew is in force in the tick in which its stage begins, also
// where it lies above the one before.
func TestACeilingWithoutSlewBeginsAtOnce(t *testing.T) {
	st := Stage{Kind: User, Ceiling: Curve{Const: int32(6000 * RPM)}}
	for slew, want := range map[int32]Speed{0: 6000 * RPM, 100: 5000 * RPM} {
		st.t.slewUp = slew
		var s stageState
		s.enter(&st, &view{cal: &Calibration{}, in: &Input{}, start: 5000 * RPM})
		assert.Equal(t, want, s.ceiling, "slew %d", slew)
	}
}

// A rate is off by more than one part in five of the events seen, and the slack of
// the ticks at either end (design section 7): not by just that. A slow engine's is
// off only where more events come than speed promised.
func TestRateIsDoubtedBeyondOneInFive(t *testing.T) {
	const slack = 7
	for _, events := range []uint8{2, 5, 40} {
		seen := uint32(events) * phaseOfEvent
		off := seen/5 + slack
		for _, c := range []struct {
			phase      uint32
			slow, want bool
		}{
			{seen + off, false, false}, {seen + off + 1, false, true}, {seen - off, false, false}, {seen - off - 1, false, true},
			{seen, true, false}, {seen + off + 1, true, false}, {seen - off, true, false}, {seen - off - 1, true, true},
		} {
			s := speedState{events: events, phase: c.phase}
			assert.Equal(t, c.want, s.disagrees(slack, c.slow), "%d events, %+v", events, c)
		}
	}
}

// Counts of commits stay at their end, and the ticks have stopped once more than
// a cycle of them came without one.
func TestCommitsAreCountedToTheirEnd(t *testing.T) {
	e := engineOf(4)
	s := speedState{mode: SpeedGood}
	for i := 1; i <= 600; i++ {
		assert.Equal(t, i > 4, s.committed(e), "commit %d", i)
		assert.Equal(t, uint8(min(i, 255)), s.events)
		assert.Equal(t, uint8(min(i, 255)), s.commits)
	}
	for i := 1; i <= 10; i++ {
		s.outlive(e)
		assert.Equal(t, uint8(min(i, 4)), s.decided)
		assert.Equal(t, i >= 4, s.outlived(e))
	}
	s = speedState{mode: SpeedGood}
	s.outlive(e)
	assert.Zero(t, s.decided, "a known speed outlives nothing")
}

// Looking ahead: slope times the time that an angle takes; t = angle/(6 N), N in
// rpm, t in s (common practice). Below 100 rpm, and for a speed that falls or
// stands, nothing.
func TestAheadIsSlopeTimesTime(t *testing.T) {
	e := &sealed(t, testCar()).Engine
	for _, c := range []struct {
		last  Speed
		slope int32 // tenths of rpm a tick
		looks bool
	}{{6000 * RPM, 20, true}, {100 * RPM, 20, true}, {100*RPM - 1, 20, false}, {6000 * RPM, 0, false}, {6000 * RPM, -20, false}} {
		s := speedState{last: c.last, slope: c.slope << slopeShift}
		want := 0.0
		if c.looks {
			want = float64(c.slope) * 720 / (6 * float64(c.last) / 10) * 1000
		}
		assert.InEpsilon(t, want+1, float64(s.ahead(720*Degree, e))+1, 0.01, "%+v", c)
	}
}

// The ends of a channel's range belong to it.
func TestARangeHoldsItsEnds(t *testing.T) {
	for x, want := range map[int32]SpeedState{int32(15000 * RPM): SpeedGood, int32(15000*RPM) + 1: SpeedStanding, 0: SpeedCranking, -1: SpeedStanding} {
		r := newRun(t, testCar())
		r.ms(10)
		r.set(EngineSpeed, x)
		assert.Equal(t, want, r.tick().Speed, "%d", x)
	}
}

// Counts stay at the end of their sixteen bits.
func TestCountsSaturate(t *testing.T) {
	for _, c := range []struct {
		a    uint16
		d    uint32
		want uint16
	}{{65534, 1, 65535}, {65535, 1, 65535}, {65535, 0, 65535}, {65535, 1 << 20, 65535}, {0, 7, 7}} {
		assert.Equal(t, c.want, addSat16(c.a, c.d))
	}
}

// A sample is stale when it is older than two firing intervals, not when it is just
// as old (design section 7).
func TestASampleIsStaleBeyondTwoIntervals(t *testing.T) {
	e := engineOf(4)
	e.t.phaseGain, e.t.staleMin = 1<<20, 1
	s := speedState{last: 1 << 9} // an event takes 128 ticks
	assert.False(t, s.stale(e, Sample{Age: 256}))
	assert.True(t, s.stale(e, Sample{Age: 257}))
}

// Cranking ends with its speed; what is withheld comes back in the tick in which a
// cycle is over, and only below the ceiling; what stands does so for a cycle.
func TestSpeedModesChangeAtTheirEnds(t *testing.T) {
	const ceiling = 5000 * RPM
	e := engineOf(4)
	e.CrankingBelow, e.t.phaseGain = 400*RPM, 1<<20
	for _, c := range []struct {
		why        string
		mode, want SpeedState
		last       Speed
		short      uint32 // of a cycle, after the step
		valid      bool
	}{
		{"below cranking speed", SpeedGood, SpeedCranking, 400*RPM - 1, 0, true},
		{"at cranking speed", SpeedCranking, SpeedGood, 400 * RPM, 0, true},
		{"withheld for a cycle", SpeedWithheld, SpeedGood, ceiling - 1, 0, true},
		{"withheld for less", SpeedWithheld, SpeedWithheld, ceiling - 1, 1, true},
		{"at the ceiling", SpeedWithheld, SpeedWithheld, ceiling, 0, true},
		{"stands for a cycle", SpeedStanding, SpeedWithheld, 1000 * RPM, 0, false},
		{"stands for less", SpeedStanding, SpeedStanding, 1000 * RPM, 1, false},
	} {
		s := speedState{mode: c.mode, last: c.last, since: e.cyclePhase() - e.phaseOf(c.last) - c.short}
		s.move(e, c.valid, 1, ceiling)
		assert.Equal(t, c.want, s.mode, c.why)
	}
}

// A rate window is judged when it has lasted its least time and holds its events;
// events are missing when more than twice those and a cycle should have come; and
// no window lasts longer than fifty of the least.
func TestRateWindowsCloseAtTheirEnds(t *testing.T) {
	e := engineOf(4)
	e.t.evenFire, e.t.windowMin = true, 10
	const tick = 100
	most := uint32(2*2*phaseOfEvent + 2*tick + 4*phaseOfEvent)
	for _, c := range []struct {
		why    string
		s      speedState
		slow   bool
		closed bool
	}{
		{"full", speedState{events: 2, commits: 1, window: 10, phase: 2 * phaseOfEvent}, false, true},
		{"too early", speedState{events: 2, commits: 1, window: 9, phase: 2 * phaseOfEvent}, false, false},
		{"an event short", speedState{events: 1, commits: 1, window: 10, phase: 2 * phaseOfEvent}, false, false},
		{"just not missing", speedState{events: 1, window: 10, phase: most}, false, false},
		{"missing", speedState{events: 1, window: 10, phase: most + 1}, false, true},
		{"none is missing of a slow engine", speedState{events: 1, window: 10, phase: most + 1}, true, false},
		{"long", speedState{events: 1, window: 500, phase: phaseOfEvent}, false, false},
		{"too long", speedState{events: 1, window: 501, phase: phaseOfEvent}, false, true},
	} {
		s := c.s
		s.rate = rateRunning
		s.closeRate(e, tick, c.slow)
		assert.Equal(t, c.closed, s.window == 0, c.why)
	}
}

// Only the trans-brake with what holds the car lets a shot open under a hold, and
// only with the launch stage in force, its guard in order and the launch not over.
func TestAHoldNeedsAllOfItsFacts(t *testing.T) {
	for bits := range 1 << 6 {
		has := func(n int) bool { return bits>>n&1 != 0 }
		cal := &Calibration{Switches: 1 << TransBrake, launch: 1}
		if !has(0) {
			cal.launch = MaxStages
		}
		v := view{cal: cal, hold: no}
		if has(1) {
			v.on = 1 << TransBrake
		}
		if has(2) {
			v.hold = yes
		}
		var s State
		if has(3) {
			s.stages[1].presence = active
		}
		s.stages[1].expired = !has(4)
		if !has(5) {
			s.sequence.state = Released
		}
		assert.Equal(t, bits == 1<<6-1, s.holds(&v), "%06b", bits)
	}
}

// Standstill is below half a metre a second.
func TestStandstillIsBelowHalfAMetreASecond(t *testing.T) {
	cal := &Calibration{}
	cal.Channels[RoadSpeedMain].Fitted = true
	for x, want := range map[int32]bool{0: true, 499: true, 500: false, 501: false} {
		in := Input{}
		in.Set(RoadSpeedMain, x)
		v := view{cal: cal, in: &in, ok: 1 << RoadSpeedMain}
		assert.Equal(t, want, v.standstill(SpeedGood), "%d mm/s", x)
	}
}

// A curve over the road speed of driven wheels is read at the speed that the ramp
// believes where the stage has a ramp limit, and at the measured one where it has
// none; so are ceiling, boost and timing.
func TestCurvesOverDrivenWheels(t *testing.T) {
	const measured, believed, value = 20000, 5000, 7
	table := Table{Columns: Axis{Channel: RoadSpeedMain, N: 2, Points: [8]int32{0, 40000}}, Cells: [8][8]int32{{0, 40000}}}
	table.Columns.prepare()
	cal := &Calibration{}
	cal.Tables[0], cal.Channels[RoadSpeedMain].Driven = table, true
	var in Input
	in.Set(RoadSpeedMain, measured)
	in.Set(Throttle, measured)
	v := view{cal: cal, in: &in, ok: 1<<RoadSpeedMain | 1<<Throttle, ramp: believed, since: measured, known: true}
	for limit, want := range map[int32]int32{0: measured, value: believed} {
		st := &Stage{Kind: AfterRelease, RampLimit: limit, Ceiling: Curve{Table: 1}, Boost: Curve{Table: 1}, Timing: Timing{Mode: TimingOffset, Angle: Curve{Table: 1}}}
		var s stageState
		assert.InDelta(t, want, int(s.target(st, &v)), 1, "ceiling")
		w := wishes{boost: noBoost}
		w.lowestBoost(&v, st)
		assert.InDelta(t, want, int(w.boost), 1, "boost")
		w.timing.consider(&s, st, &v, 0)
		assert.InDelta(t, want, int(w.timing.dev), 1, "timing")
	}
	assert.EqualValues(t, believed, v.believed(RoadSpeedMain, measured))
	assert.EqualValues(t, 100, v.believed(RoadSpeedMain, 100), "no more than was measured")
	assert.EqualValues(t, measured, v.believed(Throttle, measured), "no wheel drives it")
	assert.EqualValues(t, measured, v.believed(SinceRelease, measured), "nor time")
}

// The ramp begins with the release: nothing before it counts.
func TestTheRampWaitsForTheRelease(t *testing.T) {
	cal := &Calibration{rampStep: 100, rampChannel: RoadSpeedMain}
	var in Input
	in.Set(RoadSpeedMain, 9000)
	for state, want := range map[SequenceState]int32{Idle: 0, Held: 0, Released: 100, Ended: 0, Aborted: 0} {
		s := State{sequence: sequenceState{state: state}}
		v := view{cal: cal, in: &in, dt: 1, ok: 1 << RoadSpeedMain}
		s.moveRamp(&v)
		assert.Equal(t, want, s.ramp, "%s", state)
	}
	s := State{sequence: sequenceState{state: Released}}
	s.moveRamp(&view{cal: &Calibration{}, in: &in, dt: 1, ok: 1 << RoadSpeedMain})
	assert.Zero(t, s.ramp, "no stage has one")
}

// A table over one channel does not ask for a second: an engine that has not been
// seen to turn loses no boost target over throttle.
func TestATableOverOneChannelNeedsOne(t *testing.T) {
	c := testCar()
	c.Engine.BoostBase = Curve{Table: 4}
	c.Tables[3] = Table{Columns: Axis{Channel: Throttle, N: 2, Points: [8]int32{0, 10000}}, Cells: [8][8]int32{{250000, 260000}}}
	r := newRun(t, c)
	r.in.Channels[EngineSpeed].Good = false
	r.s = State{}
	require.NoError(t, r.s.Reset(r.cal))
	assert.Equal(t, 250*Kilopascal, r.tick().Boost)
	assert.Equal(t, SpeedUnseen, r.out.Speed)
}

// Of equal wishes for timing the first stays, with its slew; an angle of 0 is top
// dead centre and not after it.
func TestTimingWishesAtTheirEnds(t *testing.T) {
	v := view{cal: &Calibration{}, known: true}
	var w timingWish
	for i, in := range []int32{10, 20} {
		st := &Stage{Timing: Timing{Mode: TimingOffset, Angle: Curve{Const: -500}}, t: stageTicks{slewIn: in}}
		assert.Equal(t, i == 5, w.consider(&stageState{}, st, &v, 500), "at top dead centre")
	}
	assert.EqualValues(t, 10, w.in)
	st := &Stage{Timing: Timing{Mode: TimingOffset, Angle: Curve{Const: -501}}, t: stageTicks{slewIn: 30}}
	assert.True(t, w.consider(&stageState{}, st, &v, 500))
	assert.EqualValues(t, 30, w.in)

	assert.False(t, towardsZero(-10, 10) || towardsZero(10, 10) || towardsZero(10, -11))
	assert.True(t, towardsZero(-10, 9))
}

// A deviation counts as absolute from the wish that says so to the one that does
// not, and without a wish until it is gone.
func TestADeviationIsAbsoluteUntilItIsGone(t *testing.T) {
	var s timingState
	s.step(timingWish{set: true, absolute: true, dev: -300, in: 100, out: 100}, 1)
	assert.True(t, s.absolute)
	s.step(timingWish{}, 1)
	assert.EqualValues(t, 0, s.dev)
	assert.False(t, s.absolute)
	s.step(timingWish{set: true, dev: -50, in: 100, out: 100}, 1)
	assert.False(t, s.absolute, "an offset is none, also where it is reached")
	s.step(timingWish{set: true, absolute: true, dev: -50, in: 100, out: 100}, 1)
	assert.True(t, s.absolute, "and an absolute one stays one there")
}

// While oxidiser flows a stage waits below its ceiling for the flush, not at it
// (A5).
func TestA5AStageCutsAtItsCeilingWhileOxidiserFlows(t *testing.T) {
	const ceiling = 5000 * RPM
	st := &Stage{Kind: Launch, Cut: Cut{Style: Soft, Band: 500 * RPM}}
	for n, cuts := range map[Speed]bool{ceiling - 1: false, ceiling: true} {
		s := State{speed: speedState{mode: SpeedGood}}
		v := view{cal: &Calibration{}, speed: n, flowing: true}
		assert.Equal(t, cuts, s.stageDemand(&v, st, &stageState{ceiling: ceiling}, Both) > 0, "%d", n)
	}
}

// A stuck wet shot keeps all of its fuel from the speed on at which the engine burns
// it: half of the least that the shots may open at.
func TestAStuckWetShotKeepsItsFuelFromTheTurningSpeedOn(t *testing.T) {
	c := testCar()
	c.Shots[1].FuelLag = 0
	c.Shots[1].Feedback = true
	c.Switches = c.Switches.With(Feedback2, true)
	r := newRun(t, c)
	require.Equal(t, 1250*RPM, r.cal.turning)
	for n, want := range map[Speed]Ratio{1250*RPM - 1: 0, 1250 * RPM: One, 1250*RPM + 1: One} {
		s := r.s
		s.power.stuck, s.power.shots[1] = 2, shotState{phase: ShotDraining, timer: 1000}
		r.set(EngineSpeed, int32(n))
		r.in.Put(Feedback2, true)
		var out Output
		s.Tick(r.cal, &r.in, &out)
		assert.Equal(t, want, out.Shots[1].FuelDuty, "%d", n)
	}
}

// Spark is withheld beyond the margin above main, not at it.
func TestOverrunIsBeyondItsMargin(t *testing.T) {
	cal := &Calibration{Engine: Engine{OverrunMargin: 300 * RPM}, shots: 1}
	for n, want := range map[Speed]bool{9300 * RPM: false, 9300*RPM + 1: true} {
		s := State{speed: speedState{mode: SpeedGood}}
		s.stages[0].ceiling, s.power.shots[0].phase = 9000*RPM, ShotOpen
		s.command(&view{cal: cal, known: true, speed: n}, &Output{})
		assert.Equal(t, want, s.cmd.overrun, "%d", n)
	}
}

// While a demand stands because speed was lost, its pattern stands too; extra fuel
// after a cut is that of the stage that cut last.
func TestACommandThatStandsKeepsItsPattern(t *testing.T) {
	cal := &Calibration{}
	cal.Stages[1] = Stage{Cut: Cut{Pattern: Fixed, Cylinders: 5}, Refire: 700, RefireFor: 3}
	s := State{speed: speedState{mode: SpeedGood}}
	s.command(&view{cal: cal}, &Output{Demand: 100, Medium: Fuel, CutStage: 1})
	was := s.cmd
	require.Equal(t, Fixed, was.pattern)
	s.speed.mode = SpeedStanding
	s.command(&view{cal: cal}, &Output{})
	was.timing, was.mixture = s.cmd.timing, s.cmd.mixture
	assert.Equal(t, was, s.cmd)
	s.speed.mode = SpeedGood
	s.command(&view{cal: cal}, &Output{})
	assert.EqualValues(t, 700, s.cmd.refire, "for the cycles after it")
	assert.EqualValues(t, 3, s.cmd.cycles)
}

// A throttle that a wide range lets through beyond what is kept of it stays at the
// end of that.
func TestAThrottleBeyondAllTravelIsKeptAtTheEnd(t *testing.T) {
	var in Input
	in.Set(Throttle, 40000)
	v := view{cal: &Calibration{}, in: &in, ok: 1 << Throttle, hold: yes}
	s := stageState{fallen: maxSpeed}
	s.staysDown(&Stage{StaysDown: true, Ceiling: Curve{Table: 1}}, &v, 5000*RPM)
	assert.EqualValues(t, 1<<15-1, s.fellAt)
}

// A foot brake, or its pressure, lets go with a switch that may bounce; it ends the
// launch from the end of the time that it has for that.
func TestABrakeThatHoldsMayBounce(t *testing.T) {
	for hold, want := range map[HoldInput]bool{HoldNone: false, HoldClutch: false, HoldTransBrake: false, HoldFootBrake: true, HoldBrakePressure: true} {
		assert.Equal(t, want, hold.byFoot(), "%d", hold)
	}
	for early := range 2 {
		c := clutchCar()
		c.Sequence.Hold = HoldFootBrake
		c.Switches = c.Switches.With(FootBrake, true)
		k := newTrack(t, c)
		k.s.sequence = sequenceState{state: Released, since: k.cal.Sequence.t.reapply - uint32(early)}
		k.in.Put(FootBrake, true)
		k.in.Set(Throttle, int32(One))
		k.s.Tick(k.cal, &k.in, &k.out)
		assert.Equal(t, early == 0, k.out.Sequence == Ended, "%d early", early)
	}
}

// An engine that runs without commits for a while, as on a bench, has not stopped:
// sync is forgotten only where speed is below stopping speed too.
func TestSyncIsForgottenWhereTheEngineStopped(t *testing.T) {
	for n, stopped := range map[Speed]bool{30*RPM - 1: true, 30 * RPM: false, 3000 * RPM: false} {
		k := newTrack(t, clutchCar())
		k.s.fuelled = 7
		k.speed(n)
		k.run(300)
		assert.Equal(t, stopped, k.s.fuelled == 0, "%d", n)
	}
}

// What is seen to flow while a shot drains keeps its valve waiting, tick by tick, to
// the time that it needs to shut; a dry shot's extra fuel is in proportion to duty.
func TestShotsAtTheirEnds(t *testing.T) {
	sh := &Shot{Enrich: 12000, EndDuty: One, StartDuty: 5000}
	sh.t.closes, sh.t.tail, sh.t.flow = 3, 50, 10
	s := shotState{phase: ShotDraining}
	for _, want := range []uint16{1, 2, 3, 3} {
		s.empty(sh, 0, true, 1)
		assert.Equal(t, want, s.timer)
	}
	assert.Zero(t, (&shotState{}).qualify(sh, 0, &powerInput{}, 1)&ShotOpenTime, "no longest time")
	var why [MaxShots]ShotInhibits
	cal := &Calibration{shots: 1, Shots: [MaxShots]Shot{{When: WhileHeld}}}
	(&powerState{}).step(cal, &powerInput{}, 1, &why)
	assert.Zero(t, why[0]&ShotAllTime, "nor one of all shots")
	sh.t.ramp, sh.t.rampStep = 10, 500<<16
	half := shotState{phase: ShotOpen}
	assert.EqualValues(t, 11001, half.enrich(sh, false), "half of it, rounded up")
}
