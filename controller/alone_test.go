package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Conditions that no usual car shows to decide alone.
func TestConditionsThatDecideAlone(t *testing.T) {
	c := testCar()
	c.Channels[Gear] = ChannelSpec{Fitted: true, Low: -1, High: 20, LongestAge: Second}
	c.Shots[0].Gears = 1 << 15
	cal := sealed(t, c)
	in := calm()
	in.Set(Gear, 16)
	in.Set(Lambda, 15000)
	var v view
	v.begin(&in, cal, 0)
	v.judge(true)
	assert.Equal(t, ShotGear, v.gearAllowed(&cal.Shots[0]), "no shot names a gear above 15")
	assert.Zero(t, v.window(CoolantTemperature, Window{}, ShotCoolant), "a channel without a window passes")
	assert.Zero(t, v.standing(&Standing{}, true), "mixture without a limit is not judged")
	bare := *cal
	bare.Channels[Lambda].Fitted = false
	v.cal = &bare
	assert.Zero(t, v.standing(&Standing{LeanLimit: 9000}, true), "nor without a sensor")
}

// A shot's gears are 0 to 15, one bit each: reverse and what lies above are none.
func TestEveryGearOfAShot(t *testing.T) {
	c := testCar()
	c.Channels[Gear] = ChannelSpec{Fitted: true, Low: -1, High: 20, LongestAge: Second}
	cal := sealed(t, c)
	for allowed := range int32(16) {
		sh := cal.Shots[0]
		sh.Gears = 1 << allowed
		for gear := int32(-1); gear <= 20; gear++ {
			in := calm()
			in.Set(Gear, gear)
			var v view
			v.begin(&in, cal, 0)
			v.judge(true)
			assert.Equal(t, gear != allowed, v.gearAllowed(&sh) == ShotGear, "gear %d, allowed %d", gear, allowed)
		}
	}
}

func TestCycleMeanEndsWithoutTurningAlone(t *testing.T) {
	var m cycleMean
	e := engineOf(4)
	ticks := 0
	for ; !m.fresh; ticks++ {
		m.step(e, 0, 1)
	}
	assert.Equal(t, 20001, ticks, "an engine that does not turn ends a cycle too")
}

func TestCommitConditionsThatDecideAlone(t *testing.T) {
	c := testCar()
	cal := sealed(t, c)
	wide := *cal
	wide.Engine.Cylinders = MaxCylinders + 3
	var s State
	assert.False(t, s.knows(&wide, MaxCylinders+1), "there is no memory for more")

	assert.NoError(t, s.Reset(cal))
	s.cmd.medium = Both
	assert.True(t, s.FuelCommit(cal, 1, 1).Give, "a medium without demand withholds nothing")

	c.Engine.Fuel, c.Engine.CommitLead = FuelGrouped, 0
	for i := range c.Stages {
		if c.Stages[i].Kind != NoStage {
			c.Stages[i].Cut.Medium = Fuel
		}
	}
	grouped := c
	grouped.sealed = true
	grouped.Engine.position = cal.Engine.position
	assert.NoError(t, s.Reset(&grouped))
	s.cmd.overrun, s.cmd.loaded = true, true
	assert.False(t, s.SparkCommit(&grouped, 1, 1).Fire, "overrun")
	assert.True(t, s.FuelCommit(&grouped, 1, 1).Give, "one output of several cylinders is not withheld for one")
}
