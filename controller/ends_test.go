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
