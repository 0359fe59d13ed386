package controller

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// closing says how long a lost interlock leaves a shot open, over every state of
// added power in which that shot is open, and every input that has a reason to
// close it.
type closing struct {
	cases int
	worst int // ticks after the one that sees the loss; 0: in that tick
}

// closesWithin keeps one losing input until the shot is shut.
func closesWithin(cal *Calibration, from powerState, in *powerInput, i int, step walkStep) int {
	var extra uint8
	for n := range 20 {
		if w := step(&from, &extra, cal, in); w.shots[i].Duty == 0 {
			return n
		}
	}
	return 20
}

// losing reports whether an input has a reason to close shot i. What may stand
// for its persistence does not count before that is over.
func losing(in *powerInput, i int) bool {
	return in.arm != yes || in.standing&^ShotMixture != 0 || in.trigger[i]&^shotOpeningOnly != 0
}

func walkClosing(cal *Calibration, inputs []powerInput, step walkStep) (c closing) {
	var start powerState
	seen := map[powerState]struct{}{start: {}}
	for queue := []powerState{start}; len(queue) > 0; {
		var next []powerState
		for _, from := range queue {
			for k := range inputs {
				for i := range int(cal.shots) {
					if from.shots[i].phase == ShotOpen && losing(&inputs[k], i) {
						c.cases++
						c.worst = max(c.worst, closesWithin(cal, from, &inputs[k], i, step))
					}
				}
				to := from
				realStep(&to, nil, cal, &inputs[k])
				if _, ok := seen[to]; !ok {
					seen[to] = struct{}{}
					next = append(next, to)
				}
			}
		}
		queue = next
	}
	return c
}

// A3: from the tick that sees an interlock lost to a shut valve, over all states.
func TestA3ClosingTakesNoTickMoreInAnyState(t *testing.T) {
	for _, cal := range []*Calibration{walkCar(2), quickCar()} {
		c := walkClosing(cal, walkInputs(cal), realStep)
		t.Logf("%d losses while open: shut at the latest %d ticks after the tick that sees the loss", c.cases, c.worst)
		require.Greater(t, c.cases, 10000)
		assert.Zero(t, c.worst)
	}
}

// A gate that lets go a tick late is seen.
func TestClosingFindsALateGate(t *testing.T) {
	cal := walkCar(2)
	late := afterStep(func(old *powerState, _ *uint8, cal *Calibration, _ *powerInput, w *walked) {
		for i := range cal.shots {
			if old.shots[i].phase == ShotOpen {
				w.shots[i].Duty = max(w.shots[i].Duty, 1)
			}
		}
	})
	assert.Equal(t, 1, walkClosing(cal, walkInputs(cal), late).worst)
}

// Where ticks stop altogether, the commits say so: one engine cycle and one event
// after the last tick, for every number of cylinders.
func TestStoppedTicksDropTheMasterWithinACycleAndAnEvent(t *testing.T) {
	worst := 0
	for n := 1; n <= MaxCylinders; n++ {
		c := Calibration{sealed: true}
		c.Engine = *engineOf(n)
		var s State
		require.NoError(t, s.Reset(&c))
		s.speed.mode = SpeedGood
		event := 0
		for {
			d := s.SparkCommit(&c, c.Engine.Order[event%n], Cycle(event/n))
			event++
			if d.Drop {
				break
			}
			require.LessOrEqual(t, event, n, "%d cylinders", n)
		}
		assert.Equal(t, n+1, event)
		worst = max(worst, event-n)
	}
	t.Logf("without ticks: shut asked for %d event after one engine cycle of events", worst)
}
