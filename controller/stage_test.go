package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A5: a stage that is entered while a shot is open waits for its flush: the shot
// closes in the same tick, the ceiling falls and the cut begins after that.
func TestA5AStageEnteredWhileAShotIsOpenWaitsForTheFlush(t *testing.T) {
	r := releasedOpen(t, func(c *Calibration) {
		c.Stages[4] = Stage{
			Kind: Shift, When: Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: ShiftButton}}},
			Ceiling: Curve{Const: int32(4500 * RPM)},
			Cut:     Cut{Medium: Fuel, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand},
		}
	})
	r.in.Put(ShiftButton, true)
	r.tick()
	require.NotZero(t, r.out.Active&(1<<4))
	assert.Zero(t, r.out.Shots[1].Duty, "it closes in the tick of the stage's entry")
	assert.Equal(t, 4500*RPM, r.out.Target)
	assert.Zero(t, r.out.Demand)
	flush := int(r.cal.Shots[1].t.flow)
	for n := 1; n < flush; n++ {
		r.tick()
		require.Zero(t, r.out.Demand, "%d ticks after closing, of %d", n, flush)
		require.Greater(t, r.out.Ceiling, 5000*RPM)
	}
	n := r.until(5, func() bool { return r.out.Demand > 0 })
	require.Positive(t, n, "then it cuts")
	assert.Equal(t, FullDemand, r.out.Demand)
	assert.Equal(t, 4500*RPM, r.out.Ceiling)
	assert.Equal(t, Both, r.out.Medium, "fuel alone never while a charge can hold oxidiser")
}

// A5: a held stage whose channel is lost waits for the flush, too, before it
// goes down to its rest ceiling; the shot sees where it goes at once.
func TestA5ARestCeilingWaitsForTheFlush(t *testing.T) {
	r := releasedOpen(t, func(c *Calibration) {
		c.Channels[FuelPressure].OnLoss = LossRest
		c.Stages[4] = Stage{
			Kind: User, Ceiling: Curve{Const: int32(7000 * RPM)}, RestTo: 4000 * RPM,
			When: Condition{All: [MaxTerms]Term{{Kind: Within, Channel: FuelPressure, High: int32(10 * Bar)}}},
			Cut:  Cut{Medium: Both, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand},
		}
	})
	r.in.Channels[FuelPressure].Good = false
	r.tick()
	require.Equal(t, StageKept, r.out.StageInhibits[4])
	assert.Zero(t, r.out.Shots[1].Duty)
	assert.Equal(t, 4000*RPM, r.out.Target)
	n := r.until(100, func() bool { return r.out.Ceiling == 4000*RPM })
	assert.InDelta(t, int(r.cal.Shots[1].t.flow), n, 1)
}

// The richest of the wishes is in force, also where all are below 1; with
// oxidiser about, never below 1.
func TestTheRichestWishIsInForce(t *testing.T) {
	c := testCar()
	c.Shots = [MaxShots]Shot{}
	c.Stages[0].Mixture = Curve{Const: 9500}
	c.Stages[1].Mixture = Curve{Const: 9700}
	r := newRun(t, c)
	assert.Equal(t, One, r.tick().Mixture, "no wish")
	r.in.Put(BurnoutButton, true)
	assert.Equal(t, Ratio(9500), r.tick().Mixture)
	r.in.Put(TransBrake, true)
	r.tick()
	require.NotZero(t, r.out.Active&2)
	assert.Equal(t, Ratio(9700), r.out.Mixture)
	assert.Equal(t, Ratio(9700), r.s.FuelCommit(r.cal, 1, 0).Mixture)
}

// A8: a lean stage after release cannot lean out what a shot of the hold left.
func TestA8ALeanStageAfterAShotIsNotLean(t *testing.T) {
	r := heldOpen(t, func(c *Calibration) {
		c.Shots[1] = Shot{}
		c.Stages[2].Mixture = Curve{Const: 8000}
		c.Sequence.Earn = 100 * Millisecond
	})
	r.set(EngineSpeed, int32(4210*RPM)) // near the ceiling: earns the hold, and closes the shot by its margin
	r.until(30, func() bool { return r.out.Marks&MarkEarned != 0 })
	require.Equal(t, Held, r.out.Sequence)
	r.in.Put(TransBrake, false)
	r.tick()
	require.Equal(t, Released, r.out.Sequence)
	require.Equal(t, ShotDraining, r.out.Shots[0].Phase)
	require.Greater(t, r.out.Mixture, One)
	for r.out.Shots[0].Phase == ShotDraining {
		require.GreaterOrEqual(t, r.out.Mixture, One)
		r.tick()
	}
	assert.Equal(t, Ratio(8000), r.out.Mixture)
}

// A boost cell of 0 is the lowest wish, not none.
func TestTheLowestBoostWishIsInForce(t *testing.T) {
	c := testCar()
	c.Tables[2] = Table{Columns: Axis{Channel: Throttle, N: 2, Points: [8]int32{0, 10000}}, Cells: [8][8]int32{{0, 0}}}
	c.Stages[0].Boost = Curve{Table: 3}
	c.Engine.BoostBase = Curve{Table: 4}
	c.Tables[3] = Table{Columns: Axis{Channel: Throttle, N: 2, Points: [8]int32{0, 10000}}, Cells: [8][8]int32{{250000, 260000}}}
	r := newRun(t, c)
	assert.Equal(t, 250*Kilopascal, r.tick().Boost)
	r.in.Put(BurnoutButton, true)
	assert.LessOrEqual(t, r.tick().Boost, Pressure(1))
	r.in.Channels[Throttle].Good = false
	assert.Equal(t, 120*Kilopascal, r.tick().Boost, "a lost axis: the minimum")
	r.in.Put(BurnoutButton, false)
	assert.Equal(t, 120*Kilopascal, r.tick().Boost, "also of the base")
	r.set(Throttle, 0)
	r.in.Channels[ManifoldPressure].Good = false
	assert.Equal(t, 120*Kilopascal, r.tick().Boost, "a lost pressure signal")
}

// Every hold input earns and releases.
func TestEveryHoldInput(t *testing.T) {
	type put func(in *Input, on bool)
	by := func(sw Switch) put { return func(in *Input, on bool) { in.Put(sw, on) } }
	pressure := func(in *Input, on bool) { in.Set(BrakePressure, 29*int32(Bar)+b2i(on)*int32(Bar)) }
	for hold, set := range map[HoldInput]put{HoldClutch: by(ClutchDown), HoldTransBrake: by(TransBrake), HoldFootBrake: by(FootBrake), HoldBrakePressure: pressure} {
		c := testCar()
		c.Shots = [MaxShots]Shot{}
		c.Channels[BrakePressure] = ChannelSpec{Fitted: true, High: int32(150 * Bar), LongestAge: 50 * Millisecond}
		c.Sequence.Hold, c.Sequence.HoldPressure = hold, 30*Bar
		c.Stages[1].When = Condition{All: [MaxTerms]Term{{Kind: SwitchOff, Switch: BurnoutButton}}}
		r := newRun(t, c)
		set(&r.in, false)
		r.ms(10)
		r.set(Throttle, int32(One))
		set(&r.in, true)
		r.set(EngineSpeed, int32(4400*RPM))
		require.Positive(t, r.until(600, func() bool { return r.out.Marks&MarkEarned != 0 }), "hold %d", hold)
		set(&r.in, false)
		assert.NotZero(t, r.tick().Marks&MarkReleased)
		r.in.Put(FootBrake, hold.byFoot()) // its switch lags the pressure, or bounces
		r.ms(200)
		r.in.Put(FootBrake, false)
		r.ms(400)
		assert.Equal(t, Released, r.out.Sequence)
		r.in.Put(FootBrake, true)
		r.tick()
		assert.Equal(t, Ended, r.out.Sequence, "braking ends the launch")
	}
	c := testCar()
	c.Shots = [MaxShots]Shot{}
	c.Channels[BrakePressure] = ChannelSpec{Fitted: true, High: int32(150 * Bar), LongestAge: 50 * Millisecond}
	c.Sequence.Hold, c.Sequence.HoldPressure = HoldBrakePressure, 30*Bar
	r := newRun(t, c)
	r.in.Put(TransBrake, true)
	r.tick()
	assert.Equal(t, StageInputLost, r.out.StageInhibits[1], "the pressure was never seen")
}

// What an unknown speed withholds is what the hardware can withhold; of two
// media the longer delay counts.
func TestActuatorFacts(t *testing.T) {
	for fuel, want := range map[FuelSystem]Medium{FuelSequential: Both, FuelGrouped: Fuel, FuelNotOurs: Spark} {
		assert.Equal(t, want, (&Engine{Fuel: fuel}).safeMedium())
	}
	for _, e := range []Engine{{FuelDelay: 650, SparkDelay: 200}, {FuelDelay: 100, SparkDelay: 200}} {
		assert.Equal(t, e.FuelDelay, e.delay(Fuel))
		assert.Equal(t, e.SparkDelay, e.delay(Spark))
		assert.Equal(t, max(e.FuelDelay, e.SparkDelay), e.delay(Both))
	}
}

// C6: a stage that leaves has to qualify again, and a definite end of its
// condition ends it also in the tick in which something else is lost.
func TestC6AReleaseIsNotKeptBackByALossInItsTick(t *testing.T) {
	c := testCar()
	c.Shots = [MaxShots]Shot{}
	r := newRun(t, c)
	r.ms(5)
	r.in.Put(TransBrake, true)
	r.set(Throttle, int32(One))
	r.set(EngineSpeed, int32(4300*RPM))
	require.Positive(t, r.until(600, func() bool { return r.out.Marks&MarkEarned != 0 }))
	r.in.Put(TransBrake, false)
	r.in.Channels[ManifoldPressure].Good = false // an axis of the launch ceiling
	r.tick()
	assert.Equal(t, Released, r.out.Sequence)
	assert.Zero(t, r.out.Active&2, "the launch stage is over")
}

// C6: an expired guard, or a whole-engine cut that has run its time, ends a
// moving stage, but not while the launch device holds: here the clutch is both.
func TestC6AnExpiredGuardOfAMovingStageRaisesNothingWhileHeld(t *testing.T) {
	for _, style := range []Style{Hard, WholeEngine} {
		c := testCar()
		c.Shots = [MaxShots]Shot{}
		c.Sequence.Hold = HoldClutch
		c.Stages[4] = Stage{
			Kind: Shift, When: Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: ClutchDown}}},
			Ceiling:    Curve{Const: int32(6000 * RPM)},
			Cut:        Cut{Medium: Both, Style: style, Hysteresis: 100 * RPM, Depth: FullDemand},
			WholeLimit: 200 * Millisecond,
		}
		if style == Hard {
			c.Stages[4].Guard = Guard{Longest: 200 * Millisecond, CoolDown: Second}
		}
		r := newRun(t, c)
		r.in.Put(ClutchDown, true)
		r.set(Throttle, int32(One))
		r.set(EngineSpeed, int32(6100*RPM))
		for range 1000 {
			require.Equal(t, 6000*RPM, r.tick().Ceiling)
		}
		r.in.Put(ClutchDown, false)
		r.ms(2)
		assert.Equal(t, 9000*RPM, r.out.Ceiling)
	}
}
