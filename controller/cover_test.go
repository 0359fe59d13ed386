package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a usual calibration never asks for, asked for directly.
func TestSwitchesAndTermsThatAreNotThere(t *testing.T) {
	var c Calibration
	in := calm()
	in.Put(FootBrake, true)
	var v view
	v.begin(&in, &c, 0)
	assert.Equal(t, no, v.switchState(FootBrake), "one that is not fitted reads off")
	assert.Equal(t, yes, v.term(&Term{}), "no term is a condition that holds")
	assert.False(t, v.phaseAllowed(&Shot{}, true), "a shot that does not exist has no phase")
}

func TestStandstillWithoutARoadSpeedIsAStoppedEngine(t *testing.T) {
	v := view{cal: &Calibration{}}
	assert.True(t, v.standstill(SpeedUnseen))
	assert.True(t, v.standstill(SpeedCranking))
	assert.False(t, v.standstill(SpeedGood))
	assert.False(t, v.standstill(SpeedWithheld))
}

// A gap before the first shot: nothing of the empty one is judged or stepped.
func TestAGapBeforeAShotIsPassedOver(t *testing.T) {
	cal := walkCar(2)
	cal.Shots[0] = Shot{}
	cal.Shots[1].After = 0
	var p powerState
	in := powerInput{arm: yes, turning: true, turned: 1}
	in.trigger[0], in.feedback[0] = ShotRange|ShotThrottle, yes
	in.arm = no
	realStep(&p, nil, cal, &in)
	in.arm = yes
	var w walked
	for range 8 {
		w = realStep(&p, nil, cal, &in)
		require.Zero(t, w.faults, "a shot that does not exist latched something")
		require.Zero(t, w.shots[0].Inhibits)
		if w.shots[1].Duty > 0 {
			return
		}
	}
	require.Fail(t, "the second shot never opened", "%+v", w)
}

// A gap before main, no launch device, no shots: the plainest limiter.
func TestMainAloneBehindAGap(t *testing.T) {
	c := testCar()
	main := c.Stages[3]
	c.Stages, c.Shots, c.Standing = [MaxStages]Stage{}, [MaxShots]Shot{}, Standing{}
	c.Stages[2] = main
	c.Sequence.Hold = HoldNone
	cal := sealed(t, c)
	var s State
	require.NoError(t, s.Reset(cal))
	in, out := calm(), Output{}
	in.Put(TransBrake, true)
	in.Set(EngineSpeed, int32(9000*RPM))
	for range 20 {
		s.Tick(cal, &in, &out)
	}
	assert.Equal(t, Idle, out.Sequence)
	assert.Zero(t, out.StageInhibits[0], "a stage that does not exist needs no reason")
	assert.Equal(t, uint8(1<<2), uint8(out.Active))
	assert.Equal(t, 9000*RPM, out.Ceiling)
	assert.Equal(t, FullDemand, out.Demand)
}

// A stage whose angle table has lost its axis asks for nothing.
func TestTimingAsksForNothingWhereItsAxisIsLost(t *testing.T) {
	cal := sealed(t, testCar())
	in := calm()
	var v view
	v.begin(&in, cal, 0)
	v.known, v.speed = true, 5000*RPM
	st := Stage{Timing: Timing{Mode: TimingOffset, Angle: Curve{Table: 1}}}
	var w timingWish
	v.judge(true)
	w.consider(&stageState{ceiling: 5000 * RPM}, &st, &v, 2800)
	require.True(t, w.set, "with its axes it has a wish")
	in.Channels[Throttle].Good = false
	v.judge(true)
	w = timingWish{}
	assert.False(t, w.consider(&stageState{ceiling: 5000 * RPM}, &st, &v, 2800))
	assert.Equal(t, timingWish{}, w)
}

// An engine that fires unevenly is judged over whole cycles: its own rhythm is no
// disagreement, half its rate is.
func TestRateCheckOfAnUnevenEngine(t *testing.T) {
	c := clutchCar()
	c.Engine.RateCheck = true
	c.Engine.Intervals = [MaxCylinders]Angle{15000, 21000, 18000, 18000}
	p := spin(t, c)
	n := 6000 * RPM
	p.speed(n)
	p.drive(n, 500, func() { require.Equal(t, SpeedGood, p.out.Speed) })
	doubted := false
	p.drive(n/2, 300, func() { doubted = doubted || p.out.Speed >= SpeedStanding })
	assert.True(t, doubted, "half the rate that speed promised")
}
