package sim_test

import (
	"fmt"

	"github.com/holdline/holdline/sim"
)

// Two tenths of a second of the four at full throttle, clutch open, where every
// cylinder is given its fuel and fires 15 degrees before dead centre.
func Example() {
	model, findings := sim.Compile(sim.TurboFour())
	for _, f := range findings {
		fmt.Println(f)
	}
	plant := sim.New(model, sim.Standard())
	in := sim.Actuators{Throttle: 1, Gear: 1}
	commits := make([]sim.Commit, 0, 64)
	for plant.State.Tick < 200 {
		commits = plant.Upcoming(commits[:0], 1e-3)
		for _, c := range commits {
			plant.Decide(c.Cylinder, c.Cycle, c.Kind, true, 15)
		}
		stop := plant.Advance(&in)
		for stop.Why == sim.NeedDecision { // a commit that could not be foreseen
			c := stop.Commit
			plant.Decide(c.Cylinder, c.Cycle, c.Kind, true, 15)
			stop = plant.Advance(&in)
		}
	}
	fmt.Println(plant.Time(), plant.RPM() > 2500, plant.Fault().Bad())
	// Output: 0.2 true false
}
