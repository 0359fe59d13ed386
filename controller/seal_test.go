package controller

import (
	"go/ast"
	"go/token"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// finding is one thing that Seal must say after one change to the test car.
type finding struct {
	fatal  bool
	part   Part
	field  string
	reason string
	change func(c *Calibration)
}

const (
	isError   = true
	isWarning = false
)

func aCondition(terms ...Term) (c Condition) {
	copy(c.All[:], terms)
	return c
}

var findings = []finding{
	// engine
	{isError, PartEngine, "ignition", "no such arrangement of coils", func(c *Calibration) { c.Engine.Ignition = numIgnitions }},
	{isError, PartEngine, "fuel", "no such arrangement of injectors", func(c *Calibration) { c.Engine.Fuel = numFuelSystems }},
	{isWarning, PartEngine, "keep_firing", "an unknown engine speed will not stop the engine: nothing limits it then", func(c *Calibration) { c.Engine.KeepFiring = true }},
	{isWarning, PartEngine, "rate_check", "without it a speed sensor stuck at zero passes for a cranking engine: nothing limits it then", func(c *Calibration) { c.Engine.RateCheck = false }},
	{isWarning, PartEngine, "trim_max", "a trim of more than 500 rpm is a different launch; change the ceiling", func(c *Calibration) { c.Engine.TrimMax = 501 * RPM }},
	{isError, PartEngine, "firing_order", "names more cylinders than the engine has", func(c *Calibration) { c.Engine.Order[8] = 9 }},
	{isError, PartEngine, "firing_order", "must name every cylinder from 1 up exactly once", func(c *Calibration) { c.Engine.Order[1] = 1 }},
	{isError, PartEngine, "intervals", "an interval cannot be negative", func(c *Calibration) { c.Engine.Intervals[0], c.Engine.Intervals[1] = -1, 72001 }},
	{isError, PartEngine, "intervals", "gives more intervals than the engine has cylinders", func(c *Calibration) { c.Engine.Intervals[8] = 72000 }},
	{isError, PartEngine, "intervals", "firing intervals must sum to 720 degrees", func(c *Calibration) { c.Engine.Intervals[0] = 9000 }},

	// channels and switches
	{isError, PartChannel, "range", "the upper end of the electrical range must lie above the lower", func(c *Calibration) { c.Channels[Throttle].High = 0 }},
	{isError, PartChannel, "on_loss", "no such action", func(c *Calibration) { c.Channels[Throttle].OnLoss = numLossActions }},
	{isWarning, PartChannel, "driven", "only a road speed can come from driven wheels", func(c *Calibration) { c.Channels[Throttle].Driven = true }},
	{isError, PartChannel, "longest_age", "a channel without a longest age would be stale at once", func(c *Calibration) { c.Channels[Throttle].LongestAge = 0 }},
	{isError, PartChannel, "fitted", "engine speed must be fitted", func(c *Calibration) { c.Channels[EngineSpeed] = ChannelSpec{} }},
	{isError, PartCalibration, "switches", "no such switch", func(c *Calibration) { c.Switches |= 1 << NumSwitches }},

	// launch sequence
	{isError, PartSequence, "hold", "no such hold input", func(c *Calibration) { c.Sequence.Hold = numHoldInputs }},
	{isError, PartSequence, "throttle_min", "must lie above throttle_closed: otherwise no lift is ever seen", func(c *Calibration) { c.Sequence.ThrottleMin = c.Sequence.ThrottleShut }},
	{isError, PartSequence, "earn", "a hold must be earned for at least 50 ms: a bump into the beams would pass for a launch", func(c *Calibration) { c.Sequence.Earn = 50*Millisecond - 1 }},
	{isError, PartSequence, "end_after", "a launch needs a longest time", func(c *Calibration) { c.Sequence.EndAfter = 0 }},
	{isError, PartSequence, "abort_after", "must be above 0", func(c *Calibration) { c.Sequence.AbortAfter = 0 }},
	{isError, PartSequence, "clear_after", "must be above 0", func(c *Calibration) { c.Sequence.ClearAfter = 0 }},
	{isError, PartSequence, "loss_after", "must be above 0", func(c *Calibration) { c.Sequence.LossAfter = 0 }},
	{isError, PartSequence, "end_lift", "must be above 0", func(c *Calibration) { c.Sequence.EndLift = 0 }},
	{isError, PartSequence, "throttle_min", "the launch sequence needs the throttle channel", func(c *Calibration) { c.Channels[Throttle] = ChannelSpec{} }},
	{isError, PartSequence, "entry_road_speed", "the launch sequence needs the road speed channel: without it a clutch pressed at speed could pass for a launch", func(c *Calibration) { c.Channels[RoadSpeedMain] = ChannelSpec{} }},
	{isError, PartSequence, "hold", "names a switch that is not fitted", func(c *Calibration) { c.Switches = c.Switches.With(TransBrake, false) }},
	{isError, PartSequence, "hold", "names a switch that is not fitted", func(c *Calibration) {
		c.Sequence.Hold, c.Switches = HoldClutch, c.Switches.With(ClutchDown, false)
	}},
	{isError, PartSequence, "hold", "names a switch that is not fitted", func(c *Calibration) {
		c.Sequence.Hold, c.Switches = HoldFootBrake, c.Switches.With(FootBrake, false)
	}},
	{isError, PartSequence, "hold", "the brake pressure channel is not fitted", func(c *Calibration) { c.Sequence.Hold = HoldBrakePressure }},
	{isError, PartSequence, "hold_pressure", "must be above 0", func(c *Calibration) { c.Sequence.Hold = HoldBrakePressure }},

	// tables
	{isError, PartTable, "columns", "a table needs a column axis", func(c *Calibration) { c.Tables[5].Rows.N = 2 }},
	{isError, PartTable, "rows", "both axes read the same channel", func(c *Calibration) { c.Tables[0].Rows.Channel = Throttle }},
	{isError, PartTable, "columns", "an axis has 2 to 8 points", func(c *Calibration) { c.Tables[0].Columns.N = 1 }},
	{isError, PartTable, "rows", "an axis has 2 to 8 points", func(c *Calibration) { c.Tables[0].Rows.N = 9 }},
	{isError, PartTable, "rows", "points must rise", func(c *Calibration) { c.Tables[0].Rows.Points[1] = c.Tables[0].Rows.Points[0] }},
	{isError, PartTable, "columns", "the channel of this axis is not fitted", func(c *Calibration) { c.Tables[0].Columns.Channel = UserD }},
	{isError, PartTable, "columns", "the channel of this axis is not fitted", func(c *Calibration) { c.Tables[0].Columns.Channel = SinceRelease + 1 }},

	// stages
	{isError, PartStage, "kind", "there is a main stage already", func(c *Calibration) { c.Stages[4] = c.Stages[3] }},
	{isError, PartStage, "kind", "there is a launch stage already", func(c *Calibration) { c.Stages[4] = c.Stages[1] }},
	{isError, PartCalibration, "stage", "there is no main stage: one is always needed", func(c *Calibration) { c.Stages[3] = Stage{} }},
	{isError, PartCalibration, "stage", "a launch sequence needs a launch stage", func(c *Calibration) { c.Stages[1] = Stage{} }},
	{isWarning, PartStage, "ceiling", "is nowhere below the main ceiling: this stage never limits", func(c *Calibration) { c.Stages[0].Ceiling = Curve{Const: int32(9000 * RPM)} }},
	{isError, PartStage, "kind", "no such kind of stage", func(c *Calibration) { c.Stages[0].Kind = numStageKinds }},
	{isError, PartStage, "moving", "only a user stage says whether it moves; the others know", func(c *Calibration) { c.Stages[0].Moving = true }},
	{isError, PartStage, "rest_to", "must be 0 or a ceiling from 300 rpm up", func(c *Calibration) { c.Stages[1].RestTo = 300*RPM - 1 }},
	{isError, PartStage, "kind", "needs a launch sequence: declare the hold input", func(c *Calibration) { c.Sequence.Hold = HoldNone }},
	{isError, PartStage, "ceiling", "names a table that does not exist", func(c *Calibration) { c.Stages[0].Ceiling.Table = 9 }},
	{isError, PartStage, "ceiling", "names a table that does not exist", func(c *Calibration) { c.Stages[0].Ceiling.Table = MaxTables + 1 }},
	{isError, PartStage, "when", "the main stage is always in force", func(c *Calibration) { c.Stages[3].When.Qualify = 1 }},
	{isError, PartStage, "slew_up", "the main ceiling does not slew", func(c *Calibration) { c.Stages[3].SlewDown = RPM }},
	{isError, PartStage, "style", "the main stage cuts soft, hard or whole-engine", func(c *Calibration) { c.Stages[3].Cut.Style = Regulate }},
	{isError, PartStage, "depth", "the main stage must be able to cut everything: depth 1", func(c *Calibration) { c.Stages[3].Cut.Depth-- }},
	{isError, PartStage, "timing", "the main stage leaves timing alone", func(c *Calibration) { c.Stages[3].Timing.Mode = TimingOffset }},
	{isError, PartStage, "when", "has no condition: the stage would always be in force", func(c *Calibration) { c.Stages[0].When = Condition{} }},
	{isError, PartStage, "all", "terms must follow each other without a gap", func(c *Calibration) { c.Stages[0].When.All[2] = Term{Kind: SwitchOff, Switch: Arm} }},
	{isError, PartStage, "any", "names a switch that is not fitted", func(c *Calibration) { c.Stages[0].When.Any[0] = Term{Kind: SwitchOn, Switch: UserSwitch4} }},
	{isError, PartStage, "all", "names a channel that is not fitted", func(c *Calibration) { c.Stages[0].When = aCondition(Term{Kind: Within, Channel: UserB}) }},
	{isError, PartStage, "all", "the lower end lies above the upper", func(c *Calibration) {
		c.Stages[0].When = aCondition(Term{Kind: Within, Channel: Throttle, Low: 1})
	}},
	{isError, PartStage, "all", "names no state of the launch sequence, or one that there is not", func(c *Calibration) { c.Stages[0].When = aCondition(Term{Kind: SequenceIn, States: 1 << 5}) }},
	{isError, PartStage, "all", "there is no launch sequence: declare the hold input", func(c *Calibration) {
		c.Sequence.Hold = HoldNone
		c.Stages[0].When = aCondition(Term{Kind: SequenceIn, States: 1})
	}},
	{isError, PartStage, "all", "no such kind of term", func(c *Calibration) { c.Stages[0].When = aCondition(Term{Kind: numTermKinds}) }},
	{isError, PartStage, "pattern", "no such pattern", func(c *Calibration) { c.Stages[0].Cut.Pattern = numPatterns }},
	{isError, PartStage, "cylinders", "a fixed pattern lists cylinders that the engine has", func(c *Calibration) { c.Stages[0].Cut.Pattern, c.Stages[0].Cut.Cylinders = Fixed, 1<<8 }},
	{isWarning, PartStage, "band", "150 to 500 rpm is usual for a soft cut (common practice)", func(c *Calibration) { c.Stages[1].Cut.Band = 501 * RPM }},
	{isError, PartStage, "style", "no such style", func(c *Calibration) { c.Stages[0].Cut.Style = numStyles }},
	{isWarning, PartStage, "whole_limit", "a whole-engine cut of more than 2 s stops most engines", func(c *Calibration) { c.Stages[0].Cut.Style, c.Stages[0].WholeLimit = WholeEngine, 2*Second+1 }},
	{isWarning, PartStage, "hysteresis", "50 to 200 rpm is usual for a hard cut (common practice)", func(c *Calibration) { c.Stages[0].Cut.Hysteresis = 49 * RPM }},
	{isError, PartStage, "medium", "must be fuel, spark or both", func(c *Calibration) { c.Stages[0].Cut.Medium = NoMedium }},
	{isError, PartStage, "medium", "fuel is not ours to cut: use spark", func(c *Calibration) { c.Engine.Fuel = FuelNotOurs }},
	{isError, PartStage, "medium", "grouped injectors cannot withhold fuel and spark of the same cycle: use fuel or spark", func(c *Calibration) { c.Engine.Fuel = FuelGrouped }},
	{isError, PartStage, "medium", "grouped injectors can only cut the whole engine: style whole-engine, or hard with depth 1", func(c *Calibration) {
		c.Engine.Fuel, c.Stages[0].Cut.Depth = FuelGrouped, FullDemand/2
	}},
	{isWarning, PartStage, "medium", "with paired coils the partner's spark can light a withheld charge in the exhaust", func(c *Calibration) { c.Engine.Ignition = IgnitionPaired }},
	{isError, PartStage, "style", "a whole-engine cut is never spark-only while fuel can be cut", func(c *Calibration) { c.Stages[2].Cut.Style, c.Stages[2].Cut.Hysteresis = WholeEngine, 100*RPM }},
	{isError, PartStage, "medium", "a spark-only cut destroys a catalyst", func(c *Calibration) { c.Engine.Catalyst = true }},
	{isError, PartStage, "timing_mode", "no such mode", func(c *Calibration) { c.Stages[1].Timing.Mode = numTimingModes }},
	{isWarning, PartStage, "longest", "base timing comes from a channel: whether this offset passes top dead centre is not known; give the stage a guard", func(c *Calibration) {
		c.Channels[BaseTiming] = ChannelSpec{Fitted: true, Low: -4000, High: 6000, LongestAge: Second}
		c.Stages[0].Timing = Timing{Mode: TimingOffset, Angle: Curve{Const: -1000}, SlewIn: 1000, SlewOut: 1000}
	}},
	{isError, PartStage, "timing", "ignition after top dead centre destroys a catalyst", func(c *Calibration) { c.Engine.Catalyst = true }},
	{isWarning, PartStage, "timing", "later than 20 degrees after top dead centre is exceptional (common practice)", func(c *Calibration) { c.Stages[1].Timing.Angle.Const = -2001 }},
	{isWarning, PartStage, "near_band", "retard while coming up lowers a converter's stall speed: apply it near the ceiling only", func(c *Calibration) { c.Stages[1].Timing.NearBand = 0 }},
	{isWarning, PartStage, "timing", "more than 200 ms back to base after release costs the launch (common practice)", func(c *Calibration) { c.Sequence.ReturnTime = 201 * Millisecond }},
	{isWarning, PartStage, "slew_out", "an instant step of timing at release shocks tyre and driveline: 100 to 200 ms is usual", func(c *Calibration) { c.Sequence.ReturnTime, c.Stages[1].Timing.SlewOut = 0, 0 }},
	{isWarning, PartStage, "slew_out", "is slower than the return time after release, which wins", func(c *Calibration) { c.Stages[1].Timing.SlewOut = 253 * Degree }},
	{isError, PartStage, "longest", "a guard is required where timing is after top dead centre or a cut is spark-only", func(c *Calibration) { c.Stages[1].Guard = Guard{} }},
	{isError, PartStage, "longest", "a guard is required where timing is after top dead centre or a cut is spark-only", func(c *Calibration) { c.Stages[2].Guard = Guard{} }},
	{isError, PartStage, "cool_down", "has no meaning without a longest time", func(c *Calibration) { c.Stages[0].Guard.CoolDown = Second }},
	{isError, PartStage, "cool_down", "a guard needs a cool-down", func(c *Calibration) { c.Stages[1].Guard.CoolDown = 0 }},
	{isWarning, PartStage, "longest", "more than 5 s of hot working is exceptional: up to 3 s is usual (common practice)", func(c *Calibration) { c.Stages[1].Guard.Longest = 5*Second + 1 }},
	{isError, PartStage, "longest", "spark-only on fixed cylinders may last 1 s at most", func(c *Calibration) { c.Stages[2].Cut.Pattern, c.Stages[2].Cut.Cylinders = Fixed, 3 }},
	{isError, PartStage, "ramp_limit", "only an after-release stage ramps", func(c *Calibration) { c.Stages[0].RampLimit = 5000 }},
	{isError, PartStage, "ramp_limit", "a ramp over a driven wheel needs a greatest acceleration: wheelspin would run it out", func(c *Calibration) {
		c.Channels[RoadSpeedMain].Driven, c.Tables[1].Columns.Channel = true, RoadSpeedMain
	}},
	{isError, PartStage, "ramp_limit", "all ramps must follow the same road speed", func(c *Calibration) {
		c.Channels[RoadSpeedOther] = c.Channels[RoadSpeedMain]
		c.Channels[RoadSpeedMain].Driven, c.Channels[RoadSpeedOther].Driven = true, true
		c.Tables[1].Columns.Channel, c.Stages[2].RampLimit = RoadSpeedMain, 9000
		c.Tables[2] = c.Tables[1]
		c.Tables[2].Columns.Channel, c.Stages[2].Boost = RoadSpeedOther, Curve{Table: 3}
	}},

	// added power
	{isError, PartStanding, "arm", "names a switch that is not fitted", func(c *Calibration) { c.Switches = c.Switches.With(Arm, false) }},
	{isError, PartStanding, "fuel", "added power needs fuel that can be withheld together with the spark of the same cycle: grouped injectors cannot", func(c *Calibration) { c.Engine.Fuel = FuelGrouped }},
	{isError, PartStanding, "throttle_min", "added power needs the throttle channel", func(c *Calibration) { c.Channels[Throttle] = ChannelSpec{} }},
	{isError, PartStanding, "voltage", "supply voltage cannot be waived: fit the channel", func(c *Calibration) { c.Channels[SupplyVoltage] = ChannelSpec{} }},
	{isWarning, PartStanding, "lambda", "mixture is not fitted: a lean engine will not close a shot", func(c *Calibration) { c.Channels[Lambda] = ChannelSpec{} }},
	{isError, PartStanding, "lean_limit", "mixture is fitted but has no limit", func(c *Calibration) { c.Standing.LeanLimit = 0 }},
	{isWarning, PartStanding, "foot_brake", "the foot brake is not fitted: it will not close a shot after release", func(c *Calibration) { c.Switches = c.Switches.With(FootBrake, false) }},
	{isWarning, PartStanding, "bottle_pressure", "above the critical pressure of nitrous oxide (72.45 bar) the bottle holds no liquid", func(c *Calibration) { c.Standing.Bottle.High = 7245001 }},
	{isError, PartStanding, "longest_all", "open time must be limited", func(c *Calibration) { c.Standing.LongestAll = 0 }},
	{isError, PartStanding, "cool_down", "open time needs a cool-down", func(c *Calibration) { c.Standing.CoolDown = 0 }},
	{isError, PartStanding, "latch_after", "must be above 0", func(c *Calibration) { c.Standing.LatchAfter = 0 }},
	{isWarning, PartStanding, "oil_pressure", "is not fitted: it will not close a shot", func(c *Calibration) { c.Channels[OilPressure] = ChannelSpec{} }},
	{isError, PartStanding, "coolant", "is fitted but has no window", func(c *Calibration) { c.Standing.Coolant = Window{} }},
	{isError, PartStanding, "fuel_pressure", "the lower end of the window lies above the upper", func(c *Calibration) { c.Standing.Fuel.Low = c.Standing.Fuel.High + 1 }},
	{isError, PartShot, "when", "no such part of the launch", func(c *Calibration) { c.Shots[0].When = numShotWhens }},
	{isError, PartShot, "when", "a shot may be permitted while held only where a trans-brake holds the car: a free engine gains 12,000 rpm per second and more", func(c *Calibration) { c.Sequence.Hold = HoldFootBrake }},
	{isError, PartShot, "when", "a shot needs the launch sequence: declare the hold input", func(c *Calibration) { c.Sequence.Hold = HoldNone }},
	{isError, PartShot, "after", "a shot can only follow one that stands before it in the list", func(c *Calibration) { c.Shots[0].After = 1 }},
	{isError, PartShot, "after", "names a shot that does not exist", func(c *Calibration) { c.Shots[3], c.Shots[3].After = c.Shots[0], 3 }},
	{isWarning, PartShot, "margin", "is less than the band of the main stage's soft cut: main begins to cut before this shot closes", func(c *Calibration) { c.Stages[3].Cut = Cut{Medium: Both, Style: Soft, Band: 201 * RPM} }},
	{isWarning, PartShot, "throttle_min", "at least 90 % throttle is usual for a shot (common practice)", func(c *Calibration) { c.Shots[0].ThrottleMin = 8999 }},
	{isWarning, PartShot, "speed_low", "below 2,500 rpm a shot breaks engines (common practice)", func(c *Calibration) { c.Shots[0].SpeedLow-- }},
	{isError, PartShot, "speed_high", "must lie above speed_low", func(c *Calibration) { c.Shots[0].SpeedHigh = c.Shots[0].SpeedLow }},
	{isWarning, PartShot, "margin", "150 to 300 rpm below the ceiling is usual (common practice)", func(c *Calibration) { c.Shots[0].Margin = 149 * RPM }},
	{isWarning, PartShot, "reopen", "below 200 rpm a shot can open and close against the ceiling", func(c *Calibration) { c.Shots[0].Reopen-- }},
	{isError, PartShot, "gears", "the gear channel is not fitted", func(c *Calibration) { c.Shots[0].Gears = 2 }},
	{isWarning, PartShot, "clutch_up", "is not asked for: a clutch half way down will not close a shot", func(c *Calibration) { c.Sequence.Hold = HoldClutch }},
	{isError, PartShot, "clutch_up", "the clutch-up switch is not fitted", func(c *Calibration) { c.Shots[0].ClutchUp = true }},
	{isError, PartShot, "feedback", "the feedback switch of this shot is not fitted", func(c *Calibration) { c.Shots[1].Feedback = true }},
	{isError, PartShot, "longest", "open time must be limited", func(c *Calibration) { c.Shots[0].Longest = 0 }},
	{isError, PartShot, "start_duty", "the lowest duty times period must exceed the slowest valve opening plus 5 ms: the valve would not open", func(c *Calibration) { c.Shots[1].ValvePeriod = 50 * Millisecond }},
	{isError, PartShot, "enrich", "a wet shot brings its fuel itself", func(c *Calibration) { c.Shots[1].Enrich = One + 1 }},
	{isError, PartShot, "wet", "a dry shot needs fuel that is ours to enrich", func(c *Calibration) { c.Engine.Fuel = FuelNotOurs }},
	{isError, PartShot, "enrich", "a dry shot needs a fuel multiplier above 1, at most 3", func(c *Calibration) { c.Shots[0].Enrich = 3*One + 1 }},
	{isError, PartShot, "fuel_lead", "a dry shot has no fuel valve", func(c *Calibration) { c.Shots[0].FuelLag = Millisecond }},
	{isWarning, PartShot, "retard", "less than 1 degree for every 37 kW (50 hp): about 2 is usual (common practice)", func(c *Calibration) { c.Shots[0].Retard = 99 }},
	{isWarning, PartShot, "retard", "more than 2.5 degrees for every 37 kW (50 hp): about 2 is usual (common practice)", func(c *Calibration) { c.Shots[0].Retard = 251 }},
	{isError, PartStage, "mixture", "below 1 in a stage that permits a shot: lean with added power breaks engines", func(c *Calibration) { c.Stages[2].Mixture.Const = 9999 }},
}

func (x *Problem) matches(f *finding) bool {
	return x.Error == f.fatal && x.Part == f.part && x.Field == f.field && x.Reason == f.reason
}

func TestSealFindings(t *testing.T) {
	for i := range findings {
		f := &findings[i]
		c := testCar()
		f.change(&c)
		var p Problems
		ok := c.Seal(&p)
		found := false
		for k := range p.List[:p.N] {
			found = found || p.List[k].matches(f)
		}
		assert.True(t, found, "%s %q: %+v", f.field, f.reason, p.List[:p.N])
		assert.Equal(t, p.Fatal == 0, ok)
		assert.Equal(t, ok, c.Sealed())
		if f.fatal {
			assert.False(t, ok, f.reason)
		}
	}
	t.Logf("%d findings", len(findings))
}

// Every reason that the source can give stands in the list above: a new rule
// needs its row.
func TestSealEveryReasonIsTested(t *testing.T) {
	tested := map[string]bool{}
	for _, f := range findings {
		tested[f.reason] = true
	}
	count := 0
	for name, f := range sources(t) {
		ast.Inspect(f, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			sel, ok := call.Fun.(*ast.SelectorExpr)
			if !ok || sel.Sel.Name != "fail" && sel.Sel.Name != "failIf" && sel.Sel.Name != "warn" && sel.Sel.Name != "warnIf" {
				return true
			}
			if lit, ok := call.Args[len(call.Args)-1].(*ast.BasicLit); ok && lit.Kind == token.STRING {
				text, err := strconv.Unquote(lit.Value)
				require.NoError(t, err)
				assert.True(t, tested[text], "%s: no test for %q", name, text)
				count++
			}
			return true
		})
	}
	assert.Greater(t, count, 80)
}

// ranged are the fields with a range: one unit beyond each end is refused with
// the value and the range, the ends themselves are not.
var ranged = []struct {
	part      Part
	field     string
	low, high int32
	set       func(c *Calibration, x int32)
}{
	{PartEngine, "fuel_delay", 0, 144000, func(c *Calibration, x int32) { c.Engine.FuelDelay = Angle(x) }},
	{PartEngine, "spark_delay", 0, 144000, func(c *Calibration, x int32) { c.Engine.SparkDelay = Angle(x) }},
	{PartEngine, "cranking_below", 500, 10000, func(c *Calibration, x int32) { c.Engine.CrankingBelow = Speed(x) }},
	{PartEngine, "overrun_margin", 0, 20000, func(c *Calibration, x int32) { c.Engine.OverrunMargin = Speed(x) }},
	{PartEngine, "trim_step", 0, 10000, func(c *Calibration, x int32) { c.Engine.TrimStep = Speed(x) }},
	{PartEngine, "trim_max", 0, 20000, func(c *Calibration, x int32) { c.Engine.TrimMax = Speed(x) }},
	{PartEngine, "boost_min", 0, 1000000, func(c *Calibration, x int32) { c.Engine.BoostMin = Pressure(x) }},
	{PartEngine, "base", -4000, 6000, func(c *Calibration, x int32) { c.Engine.BaseAngle.Const = x }},
	{PartEngine, "boost_base", 0, 1000000, func(c *Calibration, x int32) { c.Engine.BoostBase.Const = x }},
	{PartChannel, "longest_age", 1, 60000000, func(c *Calibration, x int32) { c.Channels[Throttle].LongestAge = Duration(x) }},
	{PartSequence, "earn", 50000, 60000000, func(c *Calibration, x int32) { c.Sequence.Earn = Duration(x) }},
	{PartSequence, "end_lift", 1, 60000000, func(c *Calibration, x int32) { c.Sequence.EndLift = Duration(x) }},
	{PartSequence, "end_after", 1, 2000000000, func(c *Calibration, x int32) { c.Sequence.EndAfter = Duration(x) }},
	{PartSequence, "return_time", 0, 2000000, func(c *Calibration, x int32) { c.Sequence.ReturnTime = Duration(x) }},
	{PartSequence, "throttle_closed", 0, 5999, func(c *Calibration, x int32) { c.Sequence.ThrottleShut = Ratio(x) }},
	{PartSequence, "throttle_min", 501, 10000, func(c *Calibration, x int32) { c.Sequence.ThrottleMin = Ratio(x) }},
	{PartSequence, "comeback", 0, 10000, func(c *Calibration, x int32) { c.Sequence.Comeback = Ratio(x) }},
	{PartSequence, "entry_road_speed", 0, 30000, func(c *Calibration, x int32) { c.Sequence.EntrySpeed = RoadSpeed(x) }},
	{PartSequence, "entry_above", 0, 50000, func(c *Calibration, x int32) { c.Sequence.EntryAbove = Speed(x) }},
	{PartSequence, "earn_within", 0, 50000, func(c *Calibration, x int32) { c.Sequence.EarnWithin = Speed(x) }},
	{PartStage, "ceiling", 3000, 200000, func(c *Calibration, x int32) { c.Stages[0].Ceiling.Const = x }},
	{PartStage, "ceiling", 3000, 200000, func(c *Calibration, x int32) { c.Tables[0].Cells[2][2] = x }},
	{PartStage, "qualify", 0, 60000000, func(c *Calibration, x int32) { c.Stages[0].When.Qualify = Duration(x) }},
	{PartStage, "slew_up", 0, 1000000, func(c *Calibration, x int32) { c.Stages[0].SlewUp = Speed(x) }},
	{PartStage, "slew_down", 0, 1000000, func(c *Calibration, x int32) { c.Stages[0].SlewDown = Speed(x) }},
	{PartStage, "rest_slew", 0, 1000000, func(c *Calibration, x int32) { c.Stages[0].RestSlew = Speed(x) }},
	{PartStage, "mixture", 10000, 20000, func(c *Calibration, x int32) { c.Stages[0].Mixture.Const = x }},
	{PartStage, "refire", 0, 10000, func(c *Calibration, x int32) { c.Stages[0].Refire = Ratio(x) }},
	{PartStage, "refire_for", 0, 100, func(c *Calibration, x int32) { c.Stages[0].RefireFor = uint8(x) }},
	{PartStage, "boost", 0, 1000000, func(c *Calibration, x int32) { c.Stages[0].Boost.Const = x }},
	{PartStage, "band", 200, 30000, func(c *Calibration, x int32) { c.Stages[1].Cut.Band = Speed(x) }},
	{PartStage, "depth", 1, 55440, func(c *Calibration, x int32) { c.Stages[0].Cut.Depth = Demand(x) }},
	{PartStage, "hysteresis", 50, 20000, func(c *Calibration, x int32) { c.Stages[0].Cut.Hysteresis = Speed(x) }},
	{PartStage, "gain", 0, 20000, func(c *Calibration, x int32) { regulated(c).Gain = x }},
	{PartStage, "integral", 0, 20000, func(c *Calibration, x int32) { regulated(c).Integral = x }},
	{PartStage, "preset", 0, 55440, func(c *Calibration, x int32) { regulated(c).Preset = Demand(x) }},
	{PartStage, "timing", -4000, 6000, func(c *Calibration, x int32) { c.Stages[1].Timing.Angle.Const = x }},
	{PartStage, "timing", -6000, 6000, func(c *Calibration, x int32) {
		c.Stages[1].Timing.Mode, c.Stages[1].Timing.Angle.Const = TimingOffset, x
	}},
	{PartStage, "near_band", 0, 30000, func(c *Calibration, x int32) { c.Stages[1].Timing.NearBand = Speed(x) }},
	{PartStage, "slew_in", 0, 2000000, func(c *Calibration, x int32) { c.Stages[1].Timing.SlewIn = Angle(x) }},
	{PartStage, "slew_out", 0, 2000000, func(c *Calibration, x int32) { c.Stages[1].Timing.SlewOut = Angle(x) }},
	{PartStage, "ramp_limit", 0, 50000, func(c *Calibration, x int32) { c.Stages[2].RampLimit = x }},
	{PartStage, "whole_limit", 0, 60000000, func(c *Calibration, x int32) { c.Stages[0].WholeLimit = Duration(x) }},
	{PartStanding, "lean_limit", 1, 20000, func(c *Calibration, x int32) { c.Standing.LeanLimit = Ratio(x) }},
	{PartStanding, "persistence", 0, 200000, func(c *Calibration, x int32) { c.Standing.Persistence = Duration(x) }},
	{PartStanding, "latch_after", 1, 100000, func(c *Calibration, x int32) { c.Standing.LatchAfter = Duration(x) }},
	{PartShot, "throttle_min", 5000, 10000, func(c *Calibration, x int32) { c.Shots[0].ThrottleMin = Ratio(x) }},
	{PartShot, "speed_low", 10000, 84999, func(c *Calibration, x int32) { c.Shots[0].SpeedLow = Speed(x) }},
	{PartShot, "margin", 1, 20000, func(c *Calibration, x int32) { c.Shots[0].Margin = Speed(x) }},
	{PartShot, "reopen", 0, 20000, func(c *Calibration, x int32) { c.Shots[0].Reopen = Speed(x) }},
	{PartShot, "end_duty", 1, 10000, func(c *Calibration, x int32) { c.Shots[0].EndDuty, c.Shots[0].ValvePeriod = Ratio(x), 100*Millisecond }},
	{PartShot, "valve_period", 50001, 1000000, func(c *Calibration, x int32) { c.Shots[1].ValvePeriod = Duration(x) }},
	{PartShot, "retard", 0, 4000, func(c *Calibration, x int32) { c.Shots[0].Retard = Angle(x) }},
	{PartShot, "flush", 0, 5000000, func(c *Calibration, x int32) { c.Shots[0].Flush = Duration(x) }},
	{PartCalibration, "period", 100, 10000, func(c *Calibration, x int32) { c.Period = Duration(x) }},
}

func regulated(c *Calibration) *Cut {
	cut := &c.Stages[0].Cut
	*cut = Cut{Medium: Fuel, Style: Regulate, Band: 300 * RPM, Hysteresis: 100 * RPM}
	return cut
}

// reported reports whether sealing after a change names the field, and any range
// that it gives.
func reported(set func(c *Calibration, x int32), x int32, part Part, field string) (found bool, p Problems) {
	c := testCar()
	set(&c, x)
	c.Seal(&p)
	for _, y := range p.List[:p.N] {
		found = found || y.Error && y.Part == part && y.Field == field
	}
	return found, p
}

func TestSealRangesOneUnitEitherSide(t *testing.T) {
	for _, f := range ranged {
		for _, x := range []int32{f.low, f.high} {
			found, p := reported(f.set, x, f.part, f.field)
			if f.field != "end_duty" || x > 5000 { // a tiny duty cannot move the valve
				assert.False(t, found, "%s %d: %+v", f.field, x, p.List[:p.N])
			}
		}
		for _, x := range []int32{f.low - 1, f.high + 1} {
			if f.field == "refire_for" && x < 0 {
				continue
			}
			// Where two fields bound each other, the other one may be named.
			_, p := reported(f.set, x, f.part, f.field)
			assert.Positive(t, p.Fatal, "%s %d", f.field, x)
		}
	}
	found, p := reported(func(c *Calibration, x int32) { c.Engine.Cylinders = uint8(x) }, 13, PartEngine, "cylinders")
	assert.True(t, found)
	assert.Equal(t, Problem{Error: true, Part: PartEngine, Field: "cylinders", Reason: "out of range", Value: 13, Low: 1, High: 12, Ranged: true}, p.List[0])
	found, _ = reported(func(c *Calibration, x int32) { c.Engine.CommitLead = uint8(x) }, 15, PartEngine, "commit_lead")
	assert.False(t, found)
	found, _ = reported(func(c *Calibration, x int32) { c.Engine.CommitLead = uint8(x) }, 16, PartEngine, "commit_lead")
	assert.True(t, found, "two cycles of eight cylinders")
	found, _ = reported(func(c *Calibration, x int32) { c.Channels[EngineSpeed].High = x }, 200001, PartChannel, "range")
	assert.True(t, found)
	found, _ = reported(func(c *Calibration, x int32) { c.Channels[EngineSpeed].Low = x }, -1, PartChannel, "range")
	assert.True(t, found)
}

// A launch held by brake pressure, and one without a launch sequence at all,
// are sound calibrations, too.
func TestSealOtherKindsOfCar(t *testing.T) {
	c := testCar()
	c.Sequence.Hold, c.Sequence.HoldPressure = HoldBrakePressure, 30*Bar
	c.Channels[BrakePressure] = ChannelSpec{Fitted: true, High: int32(150 * Bar), LongestAge: 50 * Millisecond}
	c.Shots[0].When = WhileReleased
	sealed(t, c)
	c.Shots = [MaxShots]Shot{}
	c.Sequence, c.Stages[1], c.Stages[2] = Sequence{}, Stage{}, Stage{}
	cal := sealed(t, c)
	assert.True(t, sealed(t, *cal) != nil, "sealing again is harmless")
}

func TestSealCountsBeyondItsList(t *testing.T) {
	var c Calibration
	c.Period = Millisecond
	c.Engine.Cylinders = 4
	for i := range c.Stages {
		c.Stages[i].Kind = Main
	}
	for i := range c.Shots {
		c.Shots[i].When = WhileHeld
	}
	var p Problems
	assert.False(t, c.Seal(&p))
	assert.Equal(t, len(p.List), p.N)
	assert.Greater(t, p.Total, p.N)
	assert.Greater(t, p.Fatal, 0)
}
