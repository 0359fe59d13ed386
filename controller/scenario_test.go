package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// track is one car on its calibration, driven tick by tick (1 ms).
type track struct {
	t   *testing.T
	cal *Calibration
	s   State
	in  Input
	out Output
}

func newTrack(t *testing.T, c Calibration) *track {
	k := &track{t: t, cal: sealed(t, c), in: calm()}
	require.NoError(t, k.s.Reset(k.cal))
	k.run(50)
	return k
}

func (k *track) tick() {
	k.s.Tick(k.cal, &k.in, &k.out)
}

func (k *track) run(ms int) {
	for range ms {
		k.tick()
	}
}

// each runs and calls f after every tick.
func (k *track) each(ms int, f func()) {
	for range ms {
		k.tick()
		f()
	}
}

func (k *track) speed(n Speed)           { k.in.Set(EngineSpeed, int32(n)) }
func (k *track) throttle(x Ratio)        { k.in.Set(Throttle, int32(x)) }
func (k *track) lose(c Channel)          { k.in.Channels[c].Good = false }
func (k *track) loseSwitch(sw Switch)    { k.in.Known = k.in.Known.With(sw, false) }
func (k *track) active(stage int) bool   { return k.out.Active>>stage&1 != 0 }
func (k *track) hold(on bool)            { k.in.Put(k.holdSwitch(), on) }
func (k *track) why(i int) StageInhibits { return k.out.StageInhibits[i] }

func (k *track) holdSwitch() Switch {
	if k.cal.Sequence.Hold == HoldClutch {
		return ClutchDown
	}
	return TransBrake
}

// launched takes the car to an earned hold at n.
func (k *track) held(n Speed) {
	k.hold(true)
	k.throttle(One)
	k.speed(n)
	k.run(600)
	require.Equal(k.t, Held, k.out.Sequence)
}

// clutchCar is a turbocharged four-cylinder on a clutch: launch 5,000 below main
// 9,000 rpm (common practice), an ignition of 20 degrees after top dead centre
// while held (common practice). Our own invention.
func clutchCar() Calibration {
	c := testCar()
	c.Name = NameOf("clutch car")
	c.Shots, c.Standing = [MaxShots]Shot{}, Standing{}
	c.Engine.Cylinders = 4
	c.Engine.Order = [MaxCylinders]uint8{1, 3, 4, 2}
	c.Engine.RateCheck = false
	c.Sequence.Hold = HoldClutch
	st := &c.Stages[1]
	st.When.All[0].Switch = ClutchDown
	st.Ceiling, st.StaysDown = Curve{Const: int32(5000 * RPM)}, false
	st.Cut = Cut{Medium: Both, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand}
	st.Timing = Timing{Mode: TimingAbsolute, Angle: Curve{Const: int32(-20 * Degree)}, SlewIn: 400 * Degree, SlewOut: 400 * Degree}
	return c
}

const launchStage, afterStage, mainStage = 1, 2, 3

func TestThreeBumpsAndThenALaunchGiveOneRelease(t *testing.T) {
	k := newTrack(t, clutchCar())
	releases, bumps := 0, 0
	count := func() {
		releases += int(k.out.Marks & MarkReleased / MarkReleased)
		bumps += int(k.out.Marks & MarkBump / MarkBump)
	}
	k.throttle(One)
	k.speed(4950 * RPM)
	for range 3 {
		k.hold(true)
		k.each(300, count)
		k.hold(false)
		k.each(100, func() {
			count()
			assert.Equal(t, Idle, k.out.Sequence)
			assert.Zero(t, k.out.SinceRelease)
			assert.False(t, k.active(afterStage))
		})
	}
	require.Equal(t, 0, releases)
	require.Equal(t, 3, bumps)
	k.hold(true)
	k.each(600, count)
	require.Equal(t, Held, k.out.Sequence)
	k.hold(false)
	k.each(1, count)
	assert.Equal(t, Released, k.out.Sequence, "the first tick")
	assert.Equal(t, MarkReleased, k.out.Marks)
	assert.Zero(t, k.out.SinceRelease)
	k.each(500, count)
	assert.Equal(t, 1, releases)
	assert.EqualValues(t, 500, k.out.SinceRelease)
}

func TestABouncingButtonAtReleaseCostsNothing(t *testing.T) {
	clean := newTrack(t, testCar())
	clean.held(4300 * RPM)
	bounced := *clean
	for i := range 400 {
		clean.hold(false)
		bounced.hold(i > 0 && i < 25 && i%3 != 0)
		clean.tick()
		bounced.tick()
		require.Equal(t, Released, bounced.out.Sequence)
		require.Equal(t, clean.out.SinceRelease, bounced.out.SinceRelease)
		require.Equal(t, clean.out.Ceiling, bounced.out.Ceiling, "tick %d", i)
		require.Equal(t, clean.out.Demand, bounced.out.Demand)
		require.Equal(t, clean.out.Timing, bounced.out.Timing)
		require.Equal(t, clean.out.Boost, bounced.out.Boost)
	}
}

func TestGuardExpiryAtFullThrottle(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(4950 * RPM)
	require.Equal(t, -20*Degree, k.out.Timing)
	aborted := 0
	k.each(4000, func() {
		require.LessOrEqual(t, k.out.Ceiling, 5000*RPM)
		aborted += int(k.out.Marks & MarkAborted / MarkAborted)
	})
	assert.Equal(t, Aborted, k.out.Sequence)
	assert.Equal(t, 1, aborted)
	assert.Equal(t, StageKept|StageGuard, k.why(launchStage))
	assert.Equal(t, k.out.Base, k.out.Timing, "timing returns to base")
	k.speed(5100 * RPM)
	k.run(1)
	assert.Equal(t, FullDemand, k.out.Demand, "and the ceiling stands")
	k.throttle(0)
	k.run(299)
	assert.True(t, k.active(launchStage))
	k.run(2)
	assert.False(t, k.active(launchStage), "over when the throttle has been closed for 0.3 s")
	k.hold(false)
	k.run(499)
	assert.Equal(t, Aborted, k.out.Sequence)
	k.run(2)
	assert.Equal(t, Idle, k.out.Sequence)
}

func TestClutchSwitchLostWhileHeld(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(5050 * RPM)
	k.loseSwitch(ClutchDown)
	k.each(1000, func() {
		require.Equal(t, Aborted, k.out.Sequence)
		require.Equal(t, 5000*RPM, k.out.Ceiling)
		require.Equal(t, FullDemand, k.out.Demand)
		require.Equal(t, StageKept, k.why(launchStage))
	})
	assert.Equal(t, k.out.Base, k.out.Timing)
	k.hold(true)
	k.run(100)
	assert.Equal(t, StageKept, k.why(launchStage), "coming back does not start a launch anew")
	k.throttle(0)
	k.run(301)
	assert.False(t, k.active(launchStage))
}

func TestALossMaySlewDownToARestCeiling(t *testing.T) {
	c := clutchCar()
	c.Channels[Throttle].OnLoss = LossRest
	k := newTrack(t, c)
	k.held(4900 * RPM)
	k.lose(Throttle)
	last := k.out.Ceiling
	k.each(1500, func() {
		require.LessOrEqual(t, k.out.Ceiling, last)
		require.GreaterOrEqual(t, k.out.Ceiling, last-2*RPM-1, "2,000 rpm a second")
		last = k.out.Ceiling
	})
	assert.Equal(t, 3000*RPM, last)
}

func TestRoadSpeedLostWithTheClutchInAt7500(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.in.Set(RoadSpeedMain, int32(40*MetrePerSecond))
	k.throttle(One)
	k.speed(7500 * RPM)
	k.run(500)
	k.lose(RoadSpeedMain)
	k.hold(true)
	k.each(2000, func() {
		require.Equal(t, Idle, k.out.Sequence)
		require.False(t, k.active(launchStage))
		require.Equal(t, 9000*RPM, k.out.Ceiling)
		require.Zero(t, k.out.Demand)
		require.Equal(t, StageRoadSpeed|StageTooFast, k.why(launchStage)&(StageRoadSpeed|StageTooFast))
	})
	assert.True(t, k.out.Lost.Has(RoadSpeedMain))
	k.in.Set(RoadSpeedMain, int32(3*MetrePerSecond)+1)
	k.speed(5000 * RPM)
	k.run(1)
	assert.Equal(t, StageRoadSpeed, k.why(launchStage), "one unit above the limit")
	k.in.Set(RoadSpeedMain, 0)
	k.speed(5500*RPM + 1)
	k.run(1)
	assert.Equal(t, StageTooFast, k.why(launchStage), "one unit above the distance")
	k.speed(5500 * RPM)
	k.run(1)
	assert.True(t, k.active(launchStage))
}

func TestALiftAndReturn(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(4950 * RPM)
	k.throttle(0)
	k.run(99)
	k.throttle(One)
	k.run(1)
	require.Equal(t, Held, k.out.Sequence, "a lift of less than 0.1 s while held")
	k.hold(false)
	k.run(100)
	k.throttle(0)
	k.run(999)
	k.throttle(One)
	k.run(1)
	require.Equal(t, Released, k.out.Sequence, "a lift of less than 1 s after release")
	k.throttle(0)
	k.run(1000)
	require.Equal(t, Ended, k.out.Sequence)
}

func TestReentryNeedsTheThrottleClosedFirst(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(4950 * RPM)
	k.hold(false)
	k.run(100)
	k.in.Put(FootBrake, true)
	k.run(1)
	require.Equal(t, Ended, k.out.Sequence)
	k.in.Put(FootBrake, false)
	k.hold(true)
	k.each(2000, func() {
		require.Equal(t, Ended, k.out.Sequence)
		require.Equal(t, StageSequence, k.why(launchStage))
	})
	k.throttle(0)
	k.run(1)
	k.throttle(One)
	k.run(600)
	assert.Equal(t, Held, k.out.Sequence)
}

func TestALowThrottleWhileHeldAborts(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(4950 * RPM)
	k.throttle(59 * Percent)
	k.run(100)
	require.Equal(t, Aborted, k.out.Sequence)
	assert.True(t, k.active(launchStage), "the ceiling stands while the clutch is down")
	k.run(200)
	assert.Equal(t, k.out.Base, k.out.Timing)
	k.throttle(One)
	k.hold(false)
	k.each(3000, func() { require.Equal(t, Aborted, k.out.Sequence, "latched: the throttle is open") })
}

// The classic table (common practice): full throttle at target boost drops to
// the launch ceiling, and stays there until the throttle comes back.
func TestFullThrottleAtTargetBoostDropsTheCeiling(t *testing.T) {
	c := testCar()
	c.Shots = [MaxShots]Shot{}
	c.Stages[1].SlewDown = 0
	k := newTrack(t, c)
	k.hold(true)
	k.speed(3500 * RPM)
	k.throttle(6000)
	k.in.Set(ManifoldPressure, int32(100*Kilopascal))
	k.run(20)
	require.Equal(t, 5800*RPM, k.out.Ceiling, "half throttle, no boost: a high ceiling")
	k.throttle(One)
	k.in.Set(ManifoldPressure, int32(200*Kilopascal))
	k.run(1)
	require.Equal(t, 3800*RPM, k.out.Ceiling)
	k.in.Set(ManifoldPressure, int32(140*Kilopascal))
	k.run(100)
	assert.Equal(t, 3800*RPM, k.out.Ceiling, "boost that falls away does not raise it")
	k.throttle(9000 + 1)
	k.run(1)
	assert.Equal(t, 3800*RPM, k.out.Ceiling, "one unit short of coming back")
	k.throttle(9000)
	k.run(1)
	assert.Greater(t, k.out.Ceiling, 3800*RPM)

	k.throttle(One)
	k.in.Set(ManifoldPressure, int32(200*Kilopascal))
	k.run(1)
	k.loseSwitch(TransBrake)
	k.in.Set(ManifoldPressure, int32(100*Kilopascal))
	k.each(200, func() { require.Equal(t, 3800*RPM, k.out.Ceiling, "a lost hold input lifts nothing") })
}

// A controller that starts anew while the clutch holds the car takes the trim as it
// stands: without a trim for a slippery surface the ceiling would rise.
func TestARestartUnderAHoldKeepsTheTrim(t *testing.T) {
	for position, want := range map[int32]Speed{-4: -200 * RPM, 3: 150 * RPM} {
		k := newTrack(t, clutchCar())
		k.in.Put(ClutchDown, true)
		k.in.Set(SurfaceTrim, position)
		require.NoError(t, k.s.Reset(k.cal))
		k.tick()
		assert.Equal(t, want, k.out.Trim)
		k.in.Set(SurfaceTrim, -position)
		k.tick()
		assert.Equal(t, want, k.out.Trim, "frozen from then on")
	}
	k := newTrack(t, clutchCar())
	k.in.Put(ClutchDown, true)
	k.lose(SurfaceTrim)
	require.NoError(t, k.s.Reset(k.cal))
	k.tick()
	assert.Zero(t, k.out.Trim, "not there: 0")
}

func TestTrimIsBoundedAndFrozenWhileHeld(t *testing.T) {
	k := newTrack(t, clutchCar())
	for _, c := range []struct {
		position int32
		trim     Speed
	}{{0, 0}, {1, 50 * RPM}, {-2, -100 * RPM}, {6, 300 * RPM}, {-6, -300 * RPM}} {
		k.in.Set(SurfaceTrim, c.position)
		k.run(1)
		assert.Equal(t, c.trim, k.out.Trim)
	}
	k.lose(SurfaceTrim)
	k.run(1)
	assert.Zero(t, k.out.Trim, "lost: 0")
	k.in.Set(SurfaceTrim, -2)
	k.run(1)
	k.held(4850 * RPM)
	require.Equal(t, 4900*RPM, k.out.Ceiling)
	for _, f := range []func(){func() { k.in.Set(SurfaceTrim, 6) }, func() { k.lose(SurfaceTrim) }} {
		f()
		k.run(10)
		assert.Equal(t, 4900*RPM, k.out.Ceiling, "frozen while held")
	}
	k.in.Set(SurfaceTrim, 6)
	k.in.Set(RoadSpeedMain, 0)
	k.hold(false)
	k.run(1)
	assert.Equal(t, 300*RPM, k.out.Trim)
	assert.Equal(t, 5300*RPM, k.out.Ceiling, "after release it applies again")
	k.run(3000)
	assert.Equal(t, 9000*RPM, k.out.Ceiling, "and never above main")
}

func TestAfterReleaseFollowsTime(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(4950 * RPM)
	k.hold(false)
	for _, c := range []struct {
		at      uint32
		ceiling Speed
	}{{0, 5000 * RPM}, {200, 5600 * RPM}, {400, 6200 * RPM}, {800, 7600 * RPM}, {1200, 9000 * RPM}, {2000, 9000 * RPM}} {
		k.run(int(c.at-k.out.SinceRelease) + int(b2i(c.at == 0)))
		require.Equal(t, c.at, k.out.SinceRelease)
		assert.InDelta(t, float64(c.ceiling), float64(k.out.StageCeiling[afterStage]), 2, "at %d ms", c.at)
	}
}

// Against a driven wheel the ramp follows a stated greatest acceleration: a wheel
// that spins up at once does not run it out.
func TestAfterReleaseOverADrivenWheelIsRateLimited(t *testing.T) {
	c := clutchCar()
	c.Channels[RoadSpeedMain].Driven = true
	c.Tables[2] = Table{
		Columns: Axis{Channel: RoadSpeedMain, N: 2, Points: [8]int32{0, int32(30 * MetrePerSecond)}},
		Cells:   [8][8]int32{{50000, 80000}},
	}
	c.Stages[2].Ceiling, c.Stages[2].RampLimit = Curve{Table: 3}, 10000
	k := newTrack(t, c)
	k.held(4950 * RPM)
	k.hold(false)
	k.run(1)
	start := k.out.StageCeiling[afterStage]
	k.in.Set(RoadSpeedMain, int32(60*MetrePerSecond))
	last := start
	k.each(1500, func() {
		now := k.out.StageCeiling[afterStage]
		require.LessOrEqual(t, now-last, Speed(30000*10/30000+1), "10 m/s2 on 1,000 rpm for every 10 m/s")
		last = now
	})
	assert.InDelta(t, 65000, int(last), 100, "15 m/s after 1.5 s")
	k.lose(RoadSpeedMain)
	k.run(500)
	assert.Equal(t, last, k.out.StageCeiling[afterStage], "lost: the last ceiling stands")
}

// Late timing: 20 degrees after top dead centre (common practice), slewed in, and
// back at base 150 ms after release, whatever the slew says.
func TestLateTimingSlewsAndReturnsInTime(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.hold(true)
	k.throttle(One)
	k.speed(4950 * RPM)
	last := k.out.Timing
	require.Equal(t, 28*Degree, last)
	k.each(200, func() {
		require.LessOrEqual(t, last-k.out.Timing, Angle(40), "400 degrees a second")
		last = k.out.Timing
	})
	require.Equal(t, -20*Degree, last)
	k.run(500)
	require.Equal(t, Held, k.out.Sequence)
	k.hold(false)
	back, worst := 0, Angle(0)
	for i := range 300 {
		k.tick()
		worst = max(worst, k.out.Timing-last)
		require.GreaterOrEqual(t, k.out.Timing, last)
		last = k.out.Timing
		if back == 0 && last == k.out.Base {
			back = i + 1
		}
	}
	assert.Greater(t, back, 100)
	assert.LessOrEqual(t, back, 150, "an instant step shocks tyre and driveline, more than 200 ms costs the launch")
	assert.LessOrEqual(t, worst, Angle(33))
}

func TestTimingOnlyNearTheCeiling(t *testing.T) {
	c := clutchCar()
	c.Stages[1].Timing.NearBand, c.Stages[1].Timing.SlewIn, c.Stages[1].Timing.SlewOut = 400*RPM, 0, 0
	k := newTrack(t, c)
	k.hold(true)
	k.throttle(One)
	k.speed(4600*RPM - 1)
	k.run(5)
	assert.Equal(t, 28*Degree, k.out.Timing)
	k.speed(4600 * RPM)
	k.run(5)
	assert.Equal(t, -20*Degree, k.out.Timing)
}

func TestDemandDropsAtTheNextCommitAfterRelease(t *testing.T) {
	k := newTrack(t, clutchCar())
	k.held(5050 * RPM)
	require.Equal(t, FullDemand, k.out.Demand)
	require.False(t, k.s.FuelCommit(k.cal, 3, 1).Give)
	require.False(t, k.s.FuelCommit(k.cal, 4, 1).Give)
	k.hold(false)
	k.speed(4940 * RPM) // within the hysteresis of the launch and below the band of what follows
	k.cal.Stages[afterStage].Cut.Band = 50 * RPM
	k.run(1)
	require.Zero(t, k.out.Demand, "latches clear at release")
	assert.True(t, k.s.FuelCommit(k.cal, 2, 1).Give, "the next commit gives")
	assert.False(t, k.s.SparkCommit(k.cal, 3, 1).Fire, "a cycle committed one way finishes that way")
	k.run(8)
	assert.False(t, k.s.SparkCommit(k.cal, 4, 1).Fire)
	k.run(100)
	assert.EqualValues(t, 8, k.out.LastWithheld, "ticks from release to the last withheld event")
	assert.LessOrEqual(t, k.out.LastWithheld, uint32(24), "one engine cycle at 5,000 rpm")
}

func TestWholeEngineCutsHaveALongestTime(t *testing.T) {
	c := clutchCar()
	c.Stages[0] = Stage{
		Kind: Shift, Name: NameOf("shift"),
		When:    Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: ShiftButton}}},
		Ceiling: Curve{Const: int32(3000 * RPM)},
		Cut:     Cut{Medium: Both, Style: WholeEngine, Hysteresis: 100 * RPM},
	}
	k := newTrack(t, c)
	k.throttle(One)
	k.speed(7000 * RPM)
	k.in.Put(ShiftButton, true)
	k.run(500)
	require.Equal(t, FullDemand, k.out.Demand)
	k.run(2)
	assert.Zero(t, k.out.Demand)
	assert.Equal(t, StageWholeLimit, k.why(0))
	k.run(2000)
	assert.Equal(t, StageWholeLimit, k.why(0), "not again while the condition stands")
	k.in.Put(ShiftButton, false)
	k.run(1)
	k.in.Put(ShiftButton, true)
	k.run(1)
	assert.Equal(t, FullDemand, k.out.Demand)
}

func TestHardKeepsItsStateWithinTheHysteresis(t *testing.T) {
	k := newTrack(t, clutchCar())
	for _, c := range []struct {
		n   Speed
		cut bool
	}{
		{8999*RPM + 9, false}, {9000 * RPM, true}, {8900 * RPM, true}, {8900*RPM - 1, false},
		{8950 * RPM, false}, {9000*RPM - 1, false}, {9000 * RPM, true},
	} {
		k.speed(c.n)
		k.run(1)
		assert.Equal(t, c.cut, k.out.Demand == FullDemand, "at %d", c.n)
	}
}

func TestSoftDemandRisesOverItsBand(t *testing.T) {
	c := clutchCar()
	c.Stages[3].Cut = Cut{Medium: Fuel, Style: Soft, Band: 200 * RPM}
	k := newTrack(t, c)
	for _, x := range []struct {
		n Speed
		d Demand
	}{{8800 * RPM, 0}, {8850 * RPM, FullDemand / 4}, {8900 * RPM, FullDemand / 2}, {9000*RPM - 1, 55412}, {9000 * RPM, FullDemand}, {9500 * RPM, FullDemand}} {
		k.speed(x.n)
		k.run(1)
		assert.Equal(t, x.d, k.out.Demand)
	}
}

// regulatedMean runs a first-order engine (torque of the events that fire less a
// drag that rises with speed) on a regulating stage and gives the mean speed of
// the last second and the largest excursion of a cycle's mean.
func regulatedMean(t *testing.T, cal *Calibration) (mean, worst float64) {
	var s State
	require.NoError(t, s.Reset(cal))
	in, out := calm(), Output{}
	s.Tick(cal, &in, &out)
	in.Put(ClutchDown, true)
	in.Set(Throttle, int32(One))
	n, angle, event := 3000.0, 0.0, 0 // rpm, degrees since the last event
	firing, sum, ticks := [8]bool{}, 0.0, 0
	cycleSum, cycleTicks := 0.0, 0
	for ms := range 6000 {
		in.Set(EngineSpeed, int32(n*10))
		s.Tick(cal, &in, &out)
		for angle += n * 0.006; angle >= 180; angle -= 180 {
			cyl := cal.Engine.Order[event%4]
			s.FuelCommit(cal, cyl, Cycle(event/4))
			firing[event%4] = s.SparkCommit(cal, cyl, Cycle(event/4)).Fire
			event++
			if event%4 == 0 && ms > 5000 && cycleTicks > 0 {
				worst = max(worst, cycleSum/float64(cycleTicks)-5000, 5000-cycleSum/float64(cycleTicks))
				cycleSum, cycleTicks = 0, 0
			}
		}
		n -= n * 0.0004 // 2,000 rpm a second at 5,000
		if firing[(event+3)%4] {
			n += 8 // 8,000 rpm a second while firing
		}
		if ms > 5000 {
			sum, ticks = sum+n, ticks+1
			cycleSum, cycleTicks = cycleSum+n, cycleTicks+1
		}
	}
	return sum / float64(ticks), worst
}

func TestRegulateHoldsTheMeanOfACycle(t *testing.T) {
	c := clutchCar()
	c.Engine.CommitLead = 0
	c.Stages[1].Cut = Cut{
		Medium: Both, Style: Regulate, Band: 400 * RPM, Hysteresis: 200 * RPM,
		Gain: 150, Integral: 15, Preset: FullDemand * 3 / 4,
	}
	mean, worst := regulatedMean(t, sealed(t, c))
	c.Stages[1].Cut = clutchCar().Stages[1].Cut
	hardMean, hardWorst := regulatedMean(t, sealed(t, c))
	t.Logf("mean %.1f rpm, worst cycle %.1f rpm off; a hard cut: %.1f, %.1f", mean, worst, hardMean, hardWorst)
	assert.InDelta(t, 5000, mean, 5)
	assert.Less(t, worst, hardWorst, "what it is for")
}

func TestRegulateBacksUpAboveItsBandAndForgetsOnExit(t *testing.T) {
	c := clutchCar()
	c.Stages[1].Cut = Cut{Medium: Both, Style: Regulate, Band: 400 * RPM, Hysteresis: 200 * RPM, Gain: 10, Integral: 1000, Preset: FullDemand / 4}
	k := newTrack(t, c)
	k.hold(true)
	k.throttle(One)
	k.speed(5001 * RPM)
	k.run(1)
	assert.InDelta(t, float64(FullDemand/4), float64(k.out.Demand), 20, "preset on entry")
	k.run(2000)
	assert.Greater(t, k.out.Demand, FullDemand/4, "the integral works")
	k.speed(5400 * RPM)
	k.run(1)
	assert.Equal(t, FullDemand, k.out.Demand, "backstop")
	k.run(2000)
	k.speed(4990 * RPM)
	k.run(100)
	assert.Less(t, k.out.Demand, FullDemand, "no windup")
	k.speed(4800*RPM - 1)
	k.run(1)
	assert.Zero(t, k.out.Demand)
	k.speed(5001 * RPM)
	k.run(1)
	assert.InDelta(t, float64(FullDemand/4), float64(k.out.Demand), 20, "preset anew")
}

func TestAnticipationAddsTheSlopeOverTheDelayOfTheMedium(t *testing.T) {
	c := clutchCar()
	c.Stages[3].Cut.Anticipate = true
	k := newTrack(t, c)
	n := 8000 * RPM
	k.speed(n)
	k.run(50)
	for range 200 { // 10,000 rpm a second
		n += 10 * RPM
		if n >= 9000*RPM {
			break
		}
		k.speed(n)
		k.run(1)
		if k.out.Demand > 0 {
			break
		}
	}
	assert.InDelta(t, 10000, float64(k.out.Slope), 300)
	// 650 degrees at about 8,900 rpm are 12.2 ms, in which speed gains 122 rpm.
	assert.InDelta(t, 8878, float64(n/RPM), 15)
}
