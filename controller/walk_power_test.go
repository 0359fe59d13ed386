package controller

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// walkCar has a dry shot with feedback, and after it a wet progressive one. Its
// timers are those of the walk, in ticks, in place of what Seal makes.
func walkCar(shots int) *Calibration {
	c := &Calibration{shots: uint8(shots)}
	c.Standing.t = standingTicks{qualify: 3, latch: 1, persistence: 1, longest: 5, coolDown: 2}
	dry := Shot{When: WhileHeld, Retard: 200, Enrich: 12000, EndDuty: One, Feedback: true, OncePerHold: true,
		t: shotTicks{trigger: 2, rearm: 3, longest: 4, lead: 2, closes: 1, flow: 2, tail: 4}}
	wet := Shot{When: WhileReleased, Wet: true, Retard: 400, RetardByDuty: true, StartDuty: 4000, EndDuty: One, After: 1,
		t: shotTicks{trigger: 1, rearm: 2, longest: 3, lead: 2, fuelLead: 1, fuelLag: 2, closes: 0, flow: 1, tail: 3, ramp: 2, rampStep: 3000 << 16}}
	if shots > 2 {
		c.Standing.t = standingTicks{qualify: 1, latch: 1, longest: 3, coolDown: 1}
		dry.t = shotTicks{trigger: 1, rearm: 1, longest: 3, closes: 1, flow: 1, tail: 2}
		wet.t = shotTicks{trigger: 1, rearm: 1, longest: 3, fuelLag: 1, flow: 1, tail: 2, ramp: 1, rampStep: 6000 << 16}
	}
	for i := range shots {
		c.Shots[i] = dry
		if i%2 == 1 {
			c.Shots[i] = wet
		}
	}
	return c
}

// quickCar has no lead and hardly a tail, so that they hide no other timer.
func quickCar() *Calibration {
	c := walkCar(2)
	c.Standing.t.longest = 3
	c.Shots[0].OncePerHold = false
	c.Shots[0].t = shotTicks{trigger: 2, rearm: 4, longest: 4, flow: 1, tail: 2}
	c.Shots[1].t = shotTicks{trigger: 2, rearm: 3, longest: 3, flow: 1, tail: 2, ramp: 1, rampStep: 6000 << 16}
	return c
}

// walkInputs is the product of the representatives of each input.
func walkInputs(cal *Calibration) (list []powerInput) {
	modes := []powerInput{
		{turning: true, turned: 1},
		{turning: true, turned: 1, letGo: true},
		{standstill: true},
	}
	standing := []ShotInhibits{0, ShotCoolant, ShotRange | ShotThrottle, ShotMixture}
	triggers := []ShotInhibits{0, ShotThrottle, ShotDelay}
	for _, mode := range modes {
		for _, arm := range []truth{no, unknown, yes} {
			for _, st := range standing {
				in := mode
				in.arm, in.standing = arm, st
				list = append(list, triggered(cal, in, triggers)...)
			}
		}
	}
	return list
}

// triggered varies one shot's trigger reasons or feedback at a time: what one
// shot does reaches another only through order, faults and totals.
func triggered(cal *Calibration, in powerInput, triggers []ShotInhibits) (list []powerInput) {
	list = append(list, in)
	for i := range int(cal.shots) {
		for _, why := range triggers[1:] {
			x := in
			x.trigger[i] = why
			list = append(list, x)
		}
		if cal.Shots[i].Feedback {
			for _, f := range []truth{unknown, yes} {
				x := in
				x.feedback[i] = f
				list = append(list, x)
			}
		}
	}
	return list
}

// Rules A1 to A9 on every state and every edge of added power with two shots.
func TestWalkAddedPowerA1toA9(t *testing.T) {
	for _, cal := range []*Calibration{walkCar(2), quickCar()} {
		inputs := walkInputs(cal)
		r := walk(cal, inputs, realStep)
		t.Logf("2 shots: %d states, %d edges, %d inputs, both open on %d edges", r.states, r.edges, len(inputs), r.opened)
		require.Empty(t, r.broken)
		assert.Positive(t, r.opened, "both shots were never open: the walk proves nothing")
	}
}

func TestWalkFourShots(t *testing.T) {
	if os.Getenv("HOLDLINE_LONG") == "" {
		t.Skip("set HOLDLINE_LONG=1")
	}
	cal := walkCar(4)
	for i := range cal.Shots {
		cal.Shots[i].Feedback = i == 0
	}
	r := walk(cal, walkInputs(cal), realStep)
	t.Logf("4 shots: %d states, %d edges, all open on %d edges", r.states, r.edges, r.opened)
	require.Empty(t, r.broken)
	assert.Positive(t, r.opened)
}
