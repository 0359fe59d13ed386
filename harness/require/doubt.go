package require

import (
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// addDoubt adds the switch speed_doubted: on at a tick at which the unit stops
// trusting an engine speed that the bench finds good and that agrees with the
// rate of the commits. A limiter that goes blind for no reason cuts the engine.
func (s *RunSignals) addDoubt() {
	s.ints("speed_doubted", Column{Kind: Switch}, func(out []int32) {
		state, bad := s.raw("speed-state"), s.raw("channels-bad")
		var promised []float64
		for t := 1; t < len(out); t++ {
			lost := state[t] >= int32(controller.SpeedStanding) && state[t-1] < int32(controller.SpeedStanding)
			if !lost || (bad[t]|bad[t-1])>>controller.EngineSpeed&1 != 0 {
				continue
			}
			if promised == nil {
				promised = s.promisedEvents()
			}
			out[t] = b32(s.rateAgrees(t, promised))
		}
	})
}

// promisedEvents counts, up to each tick, the firing events that engine speed
// promises.
func (s *RunSignals) promisedEvents() []float64 {
	speed := s.raw("engine-speed")
	out := make([]float64, len(speed)+1)
	per := float64(s.trace.Period) * float64(s.cal.Engine.Cylinders) / 1.2e9
	for t, n := range speed {
		out[t+1] = out[t] + float64(float64(n)*per)
	}
	return out
}

// doubtReach is how many events back a doubt may have its grounds.
const doubtReach = 16

// rateAgrees reports whether, between any two of the last spark commits up to
// tick t and since the last one, as many came as speed promised, to one in five
// (design section 7) and the resolution of a tick at either end.
func (s *RunSignals) rateAgrees(t int, promised []float64) bool {
	var at []int
	for i := len(s.trace.Events) - 1; i >= 0 && len(at) < doubtReach; i-- {
		if e := &s.trace.Events[i]; e.Kind == harness.SparkCommit && int(e.Tick) <= t {
			at = append(at, int(e.Tick))
		}
	}
	tick := 2 * (promised[t+1] - promised[t])
	if len(at) == 0 || promised[t+1]-promised[at[0]] > 1.2+tick {
		return false
	}
	for i := range at {
		for j := i + 2; j < len(at); j++ {
			seen := float64(j - i)
			if math.Abs(promised[at[i]]-promised[at[j]]-seen) > 0.2*seen+tick {
				return false
			}
		}
	}
	return true
}
