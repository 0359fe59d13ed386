package report

import (
	"sort"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
)

// cycle is one intake-to-exhaust cycle of a cylinder with both its decisions.
type cycle struct {
	tick        int32 // of the spark commit, or of the fuel commit if that never came
	cylinder    uint8
	fuelCut     bool
	sparkCut    bool
	unburnt     bool
	sparkAsked  bool
	fuel, spark controller.Reason
	timing      controller.Angle
	mixture     controller.Ratio
}

// waiting is a cycle whose spark commit is still to come.
type waiting struct {
	cycle
	id   controller.Cycle
	used bool
}

// cyclesOf ties the commits of each cycle together, in the order of their ticks. A
// fuel commit whose spark never came, at the end of a run, makes a cycle of its
// own.
func cyclesOf(events []harness.EventRow) []cycle {
	var out []cycle
	var slots [256][2]waiting
	for i := range events {
		e := &events[i]
		w := &slots[e.Cylinder][e.Cycle&1]
		same := w.used && w.id == e.Cycle
		switch {
		case e.Kind == harness.FuelCommit && same: // asked again
		case e.Kind == harness.FuelCommit:
			if w.used {
				out = append(out, w.cycle)
			}
			*w = waiting{cycle{tick: int32(e.Tick), cylinder: e.Cylinder, fuelCut: !e.Give, fuel: e.Why, mixture: e.Mixture}, e.Cycle, true}
		default:
			c := cycle{cylinder: e.Cylinder, fuel: controller.WhyNotSeen}
			if same {
				c = w.cycle
				w.used = false
			}
			c.tick, c.sparkAsked, c.sparkCut, c.unburnt, c.spark, c.timing = int32(e.Tick), true, !e.Give, e.Unburnt, e.Why, e.Timing
			out = append(out, c)
		}
	}
	for i := range slots {
		for k := range slots[i] {
			if slots[i][k].used {
				out = append(out, slots[i][k].cycle)
			}
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].tick < out[j].tick })
	return out
}

// bits packs what was withheld: fuel, spark, passed unburnt, spark asked.
func (c *cycle) bits() (b int32) {
	for i, on := range [...]bool{c.fuelCut, c.sparkCut, c.unburnt, c.sparkAsked} {
		if on {
			b |= 1 << i
		}
	}
	return b
}
