package proving_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/require/proving"
)

func stage(c *controller.Calibration, k controller.StageKind) *controller.Stage {
	for i := range c.Stages {
		if c.Stages[i].Kind == k {
			return &c.Stages[i]
		}
	}
	return nil
}

// variants are other cars and other ways to use this one. The sets must compile
// for each, ask only what it has, and the reference must hold them.
var variants = map[string]func(c *controller.Calibration){
	"no shots": func(c *controller.Calibration) {
		c.Shots = [controller.MaxShots]controller.Shot{}
		c.Standing = controller.Standing{}
		c.Switches = c.Switches.With(controller.Feedback1, false)
	},
	"no launch sequence": func(c *controller.Calibration) {
		c.Sequence = controller.Sequence{}
		*stage(c, controller.Launch) = controller.Stage{}
		*stage(c, controller.AfterRelease) = controller.Stage{}
		c.Shots = [controller.MaxShots]controller.Shot{}
		c.Standing = controller.Standing{}
	},
	"four cylinders": func(c *controller.Calibration) {
		c.Engine.Cylinders, c.Engine.Order = 4, [controller.MaxCylinders]uint8{1, 3, 4, 2}
	},
	"hard launch": func(c *controller.Calibration) {
		c.Tables[0].Cells = [8][8]int32{{50000, 49000, 47000}, {49000, 48000, 46000}, {48000, 47000, 45000}}
		stage(c, controller.Launch).Cut = controller.Cut{Medium: controller.Both, Style: controller.Hard, Hysteresis: 80 * controller.RPM, Depth: controller.FullDemand}
	},
	"half depth": func(c *controller.Calibration) {
		stage(c, controller.Launch).Cut = controller.Cut{Medium: controller.Both, Style: controller.Hard, Hysteresis: 80 * controller.RPM, Depth: controller.FullDemand * 3 / 4}
	},
	"regulated launch": func(c *controller.Calibration) {
		stage(c, controller.Launch).Cut = controller.Cut{Medium: controller.Both, Style: controller.Regulate, Band: 300 * controller.RPM, Hysteresis: 100 * controller.RPM, Gain: 100, Integral: 30, Preset: controller.FullDemand / 3}
	},
	"round robin":  func(c *controller.Calibration) { stage(c, controller.Launch).Cut.Pattern = controller.RoundRobin },
	"fuel cut":     func(c *controller.Calibration) { stage(c, controller.Launch).Cut.Medium = controller.Fuel },
	"spark cut":    func(c *controller.Calibration) { stage(c, controller.Launch).Cut.Medium = controller.Spark },
	"keeps firing": func(c *controller.Calibration) { c.Engine.KeepFiring = true },
	"slewed ceiling": func(c *controller.Calibration) {
		stage(c, controller.Launch).SlewDown, stage(c, controller.Launch).SlewUp = 3000*controller.RPM, 3000*controller.RPM
	},
	"no trim": func(c *controller.Calibration) {
		c.Channels[controller.SurfaceTrim] = controller.ChannelSpec{}
		c.Engine.TrimStep, c.Engine.TrimMax = 0, 0
	},
	"half a tick":          func(c *controller.Calibration) { c.Period = 500 },
	"two ticks":            func(c *controller.Calibration) { c.Period = 2 * controller.Millisecond },
	"retard by duty":       func(c *controller.Calibration) { c.Shots[1].RetardByDuty = true },
	"persistent pressures": func(c *controller.Calibration) { c.Standing.Persistence = 80 * controller.Millisecond },
	"timing at once": func(c *controller.Calibration) {
		stage(c, controller.Launch).Timing.SlewIn, stage(c, controller.Launch).Timing.SlewOut = 0, 0
	},
	"rest on loss": func(c *controller.Calibration) {
		c.Channels[controller.ManifoldPressure].OnLoss = controller.LossRest
	},
	"user stage": func(c *controller.Calibration) {
		c.Switches = c.Switches.With(controller.UserSwitch1, true)
		c.Stages[5] = controller.Stage{
			Kind: controller.User, Name: controller.NameOf("Pit road"), When: controller.Condition{All: [controller.MaxTerms]controller.Term{{Kind: controller.SwitchOn, Switch: controller.UserSwitch1}}},
			Ceiling: controller.Curve{Const: int32(4000 * controller.RPM)}, Cut: controller.Cut{Medium: controller.Fuel, Style: controller.Soft, Band: 200 * controller.RPM},
		}
	},
}

func TestReferenceHoldsOnOtherCars(t *testing.T) {
	for name, change := range variants {
		t.Run(name, func(t *testing.T) {
			cal := proving.CarValues()
			change(&cal)
			require.NoError(t, proving.Seal(&cal))
			c := court(t, &cal)
			for _, s := range proving.Scripts(proving.Varied(3)) {
				if s.Name == "overrun" && cal.Shots[1].When == controller.NoShot {
					continue // throws the engine over the limiter faster than any engine goes
				}
				switch s.Name {
				case "launch", "steady", "shots", "trim", "overrun", "speed lost in hold", "long hold", "manifold pressure lost in hold":
				default:
					continue
				}
				res, err := c.Judge(run(t, &cal, &harness.Reference{}, s, 3), true)
				require.NoError(t, err)
				for _, r := range res {
					assert.Equalf(t, harness.VerdictHolds, r.Verdict, "%s: %s: margin %g %s at %.3f s: %s", s.Name, r.ID, r.Margin, r.Unit, r.ClosestAt, r.Condition)
				}
			}
		})
	}
}
