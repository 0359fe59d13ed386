// Package proving holds what proves the standard requirements: an invented car,
// scripted launches of it, and controllers that are broken on purpose, each in
// one way in which people break them.
package proving

import (
	"fmt"

	"github.com/holdline/holdline/controller"
)

// CarValues is the calibration of an invented car before it is sealed: a turbo
// V8 on a trans-brake with a burnout stage, a launch ceiling over throttle and
// boost, late ignition near it, a ceiling ramp after release, a full-throttle
// shift, and two shots. The numbers are ours; where there is a common practice
// they follow it.
func CarValues() controller.Calibration {
	c := controller.Calibration{Name: controller.NameOf("proving car"), Period: controller.Millisecond}
	c.Engine = controller.Engine{
		Cylinders: 8, Order: [controller.MaxCylinders]uint8{1, 8, 4, 3, 6, 5, 7, 2},
		CommitLead: 3, FuelDelay: 650 * controller.Degree, SparkDelay: 200 * controller.Degree,
		CrankingBelow: 400 * controller.RPM, OverrunMargin: 200 * controller.RPM, RateCheck: true,
		BaseAngle: controller.Curve{Const: int32(28 * controller.Degree)},
		BoostBase: controller.Curve{Const: int32(250 * controller.Kilopascal)}, BoostMin: 120 * controller.Kilopascal,
		TrimStep: 50 * controller.RPM, TrimMax: 300 * controller.RPM,
	}
	channels(&c)
	c.Sequence = controller.Sequence{
		Hold: controller.HoldTransBrake, Earn: 500 * controller.Millisecond, ThrottleMin: 60 * controller.Percent, ThrottleShut: 5 * controller.Percent,
		EarnWithin: 300 * controller.RPM, AbortAfter: 100 * controller.Millisecond, ClearAfter: 500 * controller.Millisecond,
		LossAfter: 300 * controller.Millisecond, EndLift: controller.Second, EndAfter: 6 * controller.Second,
		EntrySpeed: 3 * controller.MetrePerSecond, EntryAbove: 500 * controller.RPM, ReturnTime: 150 * controller.Millisecond, Comeback: 10 * controller.Percent,
	}
	tables(&c)
	stages(&c)
	power(&c)
	return c
}

// Car is the invented car, sealed.
func Car() *controller.Calibration {
	c := CarValues()
	if err := Seal(&c); err != nil {
		panic(err) // the car is a constant of this package, and a test seals it
	}
	return &c
}

// Seal seals a calibration, or says what keeps it from that.
func Seal(c *controller.Calibration) error {
	var p controller.Problems
	if c.Seal(&p) {
		return nil
	}
	return fmt.Errorf("calibration %q not sealed: %+v", c.Name.String(), p.List[:p.N])
}

// window spells a range, both ends included.
func window(low, high int32) controller.Window { return controller.Window{Low: low, High: high} }

func channels(c *controller.Calibration) {
	fit := func(ch controller.Channel, low, high int32) {
		c.Channels[ch] = controller.ChannelSpec{Fitted: true, Low: low, High: high, LongestAge: 50 * controller.Millisecond}
	}
	fit(controller.EngineSpeed, 0, int32(15000*controller.RPM))
	fit(controller.Throttle, 0, int32(controller.One))
	fit(controller.ManifoldPressure, int32(10*controller.Kilopascal), int32(400*controller.Kilopascal))
	fit(controller.RoadSpeedMain, 0, int32(120*controller.MetrePerSecond))
	fit(controller.CoolantTemperature, -400, 1500)
	fit(controller.FuelPressure, 0, int32(10*controller.Bar))
	fit(controller.OilPressure, 0, int32(12*controller.Bar))
	fit(controller.BottlePressure, 0, int32(100*controller.Bar))
	fit(controller.SupplyVoltage, 6000, 18000)
	fit(controller.Lambda, 5000, 20000)
	fit(controller.SurfaceTrim, -6, 6)
	for _, sw := range []controller.Switch{controller.FootBrake, controller.TransBrake, controller.BurnoutButton, controller.Arm, controller.ShiftButton, controller.Feedback1} {
		c.Switches = c.Switches.With(sw, true)
	}
}

func tables(c *controller.Calibration) {
	c.Tables[0] = controller.Table{
		Columns: controller.Axis{Channel: controller.Throttle, N: 3, Points: [8]int32{3000, 6000, 10000}},
		Rows:    controller.Axis{Channel: controller.ManifoldPressure, N: 3, Points: [8]int32{100000, 160000, 200000}},
		Cells: [8][8]int32{
			{60000, 58000, 50000},
			{58000, 52000, 48000},
			{52000, 48000, 46000},
		},
	}
	c.Tables[1] = controller.Table{
		Columns: controller.Axis{Channel: controller.SinceRelease, N: 3, Points: [8]int32{0, 400, 1200}},
		Cells:   [8][8]int32{{50000, 62000, 90000}},
	}
}

func stages(c *controller.Calibration) {
	c.Stages[0] = controller.Stage{
		Kind: controller.Burnout, Name: controller.NameOf("burnout"),
		When:    controller.Condition{All: [controller.MaxTerms]controller.Term{{Kind: controller.SwitchOn, Switch: controller.BurnoutButton}}},
		Ceiling: controller.Curve{Const: int32(6500 * controller.RPM)},
		Cut:     controller.Cut{Medium: controller.Fuel, Style: controller.Hard, Hysteresis: 100 * controller.RPM, Depth: controller.FullDemand},
	}
	c.Stages[1] = controller.Stage{
		Kind: controller.Launch, Name: controller.NameOf("launch"),
		When:      controller.Condition{All: [controller.MaxTerms]controller.Term{{Kind: controller.SwitchOn, Switch: controller.TransBrake}}},
		Ceiling:   controller.Curve{Table: 1},
		StaysDown: true, RestTo: 3000 * controller.RPM, RestSlew: 2000 * controller.RPM,
		Cut:    controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 250 * controller.RPM, Anticipate: true},
		Timing: controller.Timing{Mode: controller.TimingAbsolute, Angle: controller.Curve{Const: int32(-10 * controller.Degree)}, NearBand: 400 * controller.RPM, SlewIn: 200 * controller.Degree, SlewOut: 300 * controller.Degree},
		Boost:  controller.Curve{Const: int32(200 * controller.Kilopascal)},
		Guard:  controller.Guard{Longest: 4 * controller.Second, CoolDown: 30 * controller.Second},
	}
	c.Stages[2] = controller.Stage{
		Kind: controller.AfterRelease, Name: controller.NameOf("after release"), Ceiling: controller.Curve{Table: 2},
		Cut:   controller.Cut{Medium: controller.Spark, Style: controller.Soft, Band: 250 * controller.RPM},
		Guard: controller.Guard{Longest: 3 * controller.Second, CoolDown: 20 * controller.Second},
	}
	c.Stages[3] = controller.Stage{
		Kind: controller.Shift, Name: controller.NameOf("shift"),
		When:       controller.Condition{All: [controller.MaxTerms]controller.Term{{Kind: controller.SwitchOn, Switch: controller.ShiftButton}}},
		Ceiling:    controller.Curve{Const: int32(8000 * controller.RPM)},
		Cut:        controller.Cut{Medium: controller.Both, Style: controller.WholeEngine, Hysteresis: 100 * controller.RPM},
		WholeLimit: 150 * controller.Millisecond,
	}
	c.Stages[4] = controller.Stage{
		Kind: controller.Main, Name: controller.NameOf("main"), Ceiling: controller.Curve{Const: int32(9000 * controller.RPM)},
		Cut: controller.Cut{Medium: controller.Both, Style: controller.Hard, Hysteresis: 100 * controller.RPM, Depth: controller.FullDemand},
	}
}

func power(c *controller.Calibration) {
	c.Standing = controller.Standing{
		Coolant: window(500, 1050), Fuel: window(int32(3*controller.Bar), int32(6*controller.Bar)), Oil: window(int32(2*controller.Bar), int32(9*controller.Bar)),
		Bottle: window(int32(55*controller.Bar), int32(72*controller.Bar)), Voltage: window(11500, 16000),
		LeanLimit: 9000, MixtureWait: 300 * controller.Millisecond, Qualify: 100 * controller.Millisecond, LatchAfter: 20 * controller.Millisecond,
		LongestAll: 3200 * controller.Millisecond, CoolDown: 10 * controller.Second,
	}
	shot := controller.Shot{
		When: controller.WhileHeld, Name: controller.NameOf("come up"), Power: 37, ThrottleMin: 90 * controller.Percent,
		SpeedLow: 2500 * controller.RPM, SpeedHigh: 8500 * controller.RPM, Margin: 200 * controller.RPM, Reopen: 200 * controller.RPM,
		QuietFor: 50 * controller.Millisecond, Trigger: 20 * controller.Millisecond, ReArm: 300 * controller.Millisecond, OncePerHold: true, Feedback: true,
		Longest: 3 * controller.Second, Retard: 2 * controller.Degree, RetardLead: 20 * controller.Millisecond, EndDuty: controller.One,
		ValveOpens: 15 * controller.Millisecond, ValveCloses: 12 * controller.Millisecond, Flush: 20 * controller.Millisecond,
		Enrich: 12000, EnrichLead: 30 * controller.Millisecond,
	}
	c.Shots[0] = shot
	shot.When, shot.Name, shot.Power, shot.Retard = controller.WhileReleased, controller.NameOf("run"), 74, 4*controller.Degree
	shot.QuietFor, shot.Trigger = 100*controller.Millisecond, 40*controller.Millisecond // longer than the lead, so that it shows
	shot.OncePerHold, shot.Feedback, shot.Wet, shot.Enrich, shot.EnrichLead = false, false, true, 0, 0
	shot.Delay, shot.Ramp, shot.StartDuty, shot.ValvePeriod = 500*controller.Millisecond, controller.Second, 40*controller.Percent, 100*controller.Millisecond
	shot.FuelLead, shot.FuelLag = 10*controller.Millisecond, 10*controller.Millisecond
	c.Shots[1] = shot
}
