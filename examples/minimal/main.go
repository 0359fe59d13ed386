// Command minimal is the smallest use of the controller: configure it, tick it,
// ask it before every injection and every ignition. The car is our own
// invention. Competition and closed-course use only; hardware cut-offs first.
package main

import (
	"fmt"

	"github.com/holdline/holdline/controller"
)

// twoStep is a four with a launch ceiling while the clutch is down.
func twoStep() controller.Calibration {
	cal := controller.Calibration{Name: controller.NameOf("two-step"), Period: controller.Millisecond}
	cal.Engine.Cylinders = 4
	cal.Engine.Order = [controller.MaxCylinders]uint8{1, 3, 4, 2}
	cal.Engine.CrankingBelow, cal.Engine.RateCheck = 400*controller.RPM, true
	cal.Channels[controller.EngineSpeed] = controller.ChannelSpec{Fitted: true, High: 150000}
	cal.Switches = controller.SwitchSet(0).With(controller.ClutchDown, true)
	cut := controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 200 * controller.RPM}
	clutch := controller.Condition{All: [controller.MaxTerms]controller.Term{
		{Kind: controller.SwitchOn, Switch: controller.ClutchDown}}}
	cal.Stages[0] = controller.Stage{Kind: controller.User, When: clutch,
		Ceiling: controller.Curve{Const: int32(5000 * controller.RPM)}, Cut: cut}
	cal.Stages[1] = controller.Stage{Kind: controller.Main,
		Ceiling: controller.Curve{Const: int32(9000 * controller.RPM)}, Cut: cut}
	return cal
}

func main() {
	cal := twoStep()
	var problems controller.Problems
	if !cal.Seal(&problems) {
		fmt.Println("calibration refused:", problems.List[0].Field, problems.List[0].Reason)
		return
	}
	var core controller.State
	if err := core.Reset(&cal); err != nil {
		fmt.Println(err)
		return
	}

	var in controller.Input
	var out controller.Output
	in.Put(controller.ClutchDown, true)
	in.Set(controller.EngineSpeed, int32(4900*controller.RPM))
	core.Tick(&cal, &in, &out) // every millisecond
	fmt.Printf("ceiling %d rpm, cutting %d %% of the cycles\n",
		out.Ceiling/controller.RPM, 100*out.Demand/controller.FullDemand)

	for i, cylinder := range cal.Engine.Order[:cal.Engine.Cylinders] {
		fuel := core.FuelCommit(&cal, cylinder, 0)   // at injection start
		spark := core.SparkCommit(&cal, cylinder, 0) // at dwell start of the same cycle
		fmt.Printf("event %d, cylinder %d: fuel %v, spark %v\n", i, cylinder, fuel.Give, spark.Fire)
	}
}
