// Package demo holds the calibrations and drivers of the demo cars. Cars,
// numbers and drivers are inventions of this project and belong to no one: they
// show what a choice does, and are no advice for a real engine.
package demo

import (
	"github.com/holdline/holdline/controller"
)

// Short forms of the units, for readable numbers below.
const (
	rpm = controller.RPM
	deg = controller.Degree
	kPa = controller.Kilopascal
	pct = controller.Percent
	ms  = controller.Millisecond
	sec = controller.Second
)

// Positions of the stages in every calibration of this package.
const (
	LaunchStage = 0
	MainStage   = 1
)

// common is what the demo calibrations share. Both commits have the angles of
// the demo cars: fuel 516 and spark 96 degrees before firing dead centre; torque
// comes about 130 degrees after it.
func common(name string, order ...uint8) controller.Calibration {
	c := controller.Calibration{Name: controller.NameOf(name), Period: ms}
	c.Engine = controller.Engine{
		Cylinders: uint8(len(order)), CommitLead: uint8(len(order) * (516 - 96) / 720),
		FuelDelay: 650 * deg, SparkDelay: 200 * deg,
		CrankingBelow: 400 * rpm, RateCheck: true, OverrunMargin: 300 * rpm,
		BaseAngle: controller.Curve{Const: int32(20 * deg)}, BoostMin: 110 * kPa,
		TrimStep: 50 * rpm, TrimMax: 300 * rpm,
	}
	copy(c.Engine.Order[:], order)
	fit := func(ch controller.Channel, low, high int32, age controller.Duration) {
		c.Channels[ch] = controller.ChannelSpec{Fitted: true, Low: low, High: high, LongestAge: age}
	}
	fit(controller.EngineSpeed, 0, int32(15000*rpm), 0)
	fit(controller.Throttle, -500, int32(105*pct), 20*ms)
	fit(controller.ManifoldPressure, int32(10*kPa), int32(400*kPa), 20*ms)
	fit(controller.RoadSpeedMain, 0, int32(130*controller.MetrePerSecond), 50*ms)
	fit(controller.BaseTiming, int32(controller.LatestTiming), int32(controller.EarliestTiming), 20*ms)
	fit(controller.Gear, -1, 8, 100*ms)
	for _, sw := range []controller.Switch{controller.ClutchDown, controller.ClutchUp, controller.FootBrake, controller.TransBrake, controller.Arm} {
		c.Switches = c.Switches.With(sw, true)
	}
	c.Sequence = controller.Sequence{
		Hold: controller.HoldClutch, Earn: 300 * ms, ThrottleMin: 60 * pct, ThrottleShut: 5 * pct,
		EarnWithin: 500 * rpm, AbortAfter: 100 * ms, ClearAfter: 500 * ms, LossAfter: 300 * ms,
		EndLift: sec, EndAfter: 20 * sec, EntrySpeed: 3 * controller.MetrePerSecond, EntryAbove: 500 * rpm,
		ReturnTime: 150 * ms, Comeback: 10 * pct,
	}
	return c
}

// stages adds a launch stage that a switch calls up, and main.
func stages(c *controller.Calibration, hold controller.Switch, launch, main controller.Speed) {
	c.Stages[LaunchStage] = controller.Stage{
		Kind: controller.Launch, Name: controller.NameOf("launch"),
		When:    controller.Condition{All: [controller.MaxTerms]controller.Term{{Kind: controller.SwitchOn, Switch: hold}}},
		Ceiling: controller.Curve{Const: int32(launch)},
		Cut:     Regulated(controller.Both),
		Guard:   controller.Guard{Longest: 5 * sec, CoolDown: 30 * sec},
	}
	c.Stages[MainStage] = controller.Stage{
		Kind: controller.Main, Name: controller.NameOf("main"),
		Ceiling: controller.Curve{Const: int32(main)},
		Cut:     controller.Cut{Medium: controller.Both, Style: controller.Hard, Depth: controller.FullDemand, Hysteresis: 100 * rpm},
	}
}

// Hard withholds every cycle from the ceiling on, until the engine has fallen 100
// rpm below.
func Hard(m controller.Medium) controller.Cut {
	return controller.Cut{Medium: m, Style: controller.Hard, Depth: controller.FullDemand, Hysteresis: 100 * rpm}
}

// Soft withholds more and more cycles over the last 300 rpm below the ceiling,
// on as few cylinders at a time as will do.
func Soft(m controller.Medium) controller.Cut {
	return controller.Cut{Medium: m, Style: controller.Soft, Pattern: controller.RoundRobin, Band: 300 * rpm}
}

// Spread is Soft with the withheld cycles as far from each other as they will
// go, and looking ahead by the delay of the medium.
func Spread(m controller.Medium) controller.Cut {
	return controller.Cut{Medium: m, Style: controller.Soft, Pattern: controller.Spread, Band: 300 * rpm, Anticipate: true}
}

// Regulated spreads, and trims the share so that the mean speed of a cycle is
// the ceiling.
func Regulated(m controller.Medium) controller.Cut {
	return controller.Cut{
		Medium: m, Style: controller.Regulate, Pattern: controller.Spread, Band: 400 * rpm, Hysteresis: 200 * rpm,
		Gain: int32(controller.FullDemand) / 2400, Integral: int32(controller.FullDemand) / 16000,
		Preset: controller.FullDemand * 8 / 10, Anticipate: true,
	}
}

// Late is ignition after dead centre while the engine is held, the trade's way
// to heat for a turbo: 10 to 20 degrees after (common practice).
func Late(after controller.Angle) controller.Timing {
	return controller.Timing{
		Mode: controller.TimingAbsolute, Angle: controller.Curve{Const: int32(-after)},
		SlewIn: 400 * deg, SlewOut: 600 * deg,
	}
}

// TurboFour is for the turbocharged four with a clutch.
func TurboFour() controller.Calibration {
	c := common("Saltmarsh 20T", 1, 3, 4, 2)
	c.Engine.BoostBase = controller.Curve{Const: int32(180 * kPa)}
	stages(&c, controller.ClutchDown, 4000*rpm, 7400*rpm)
	c.Stages[LaunchStage].Boost = controller.Curve{Const: int32(180 * kPa)}
	return c
}

// PlainEight is for the naturally aspirated eight with a clutch.
func PlainEight() controller.Calibration {
	c := common("Dray Mare", 1, 8, 4, 3, 6, 5, 7, 2)
	stages(&c, controller.ClutchDown, 4500*rpm, 6900*rpm)
	return c
}

// TurboEight is for the turbocharged eight with a converter and a trans-brake.
func TurboEight() controller.Calibration {
	c := common("Iron Heron", 1, 8, 4, 3, 6, 5, 7, 2)
	c.Engine.BoostBase = controller.Curve{Const: int32(220 * kPa)}
	c.Sequence.Hold = controller.HoldTransBrake
	stages(&c, controller.TransBrake, 3800*rpm, 6700*rpm)
	c.Stages[LaunchStage].Boost = controller.Curve{Const: int32(220 * kPa)}
	c.Stages[LaunchStage].Cut.Preset = controller.FullDemand / 5 // a converter holds most of the torque itself
	fit := func(ch controller.Channel, low, high int32) {
		c.Channels[ch] = controller.ChannelSpec{Fitted: true, Low: low, High: high, LongestAge: 250 * ms}
	}
	fit(controller.CoolantTemperature, -400, 1500)
	fit(controller.FuelPressure, 0, int32(10*controller.Bar))
	fit(controller.OilPressure, 0, int32(12*controller.Bar))
	fit(controller.BottlePressure, 0, int32(100*controller.Bar))
	fit(controller.SupplyVoltage, 6000, 18000)
	fit(controller.Lambda, 5000, 20001)
	c.Standing = controller.Standing{
		Coolant:   controller.Window{Low: 500, High: 1050},
		Fuel:      controller.Window{Low: int32(250 * kPa), High: int32(600 * kPa)},
		Oil:       controller.Window{Low: int32(200 * kPa), High: int32(900 * kPa)},
		Bottle:    controller.Window{Low: int32(4000 * kPa), High: int32(7200 * kPa)},
		Voltage:   controller.Window{Low: 11500, High: 16000},
		LeanLimit: 10500, MixtureWait: 300 * ms, Persistence: 100 * ms, Qualify: 100 * ms, LatchAfter: 20 * ms,
		LongestAll: 15 * sec, CoolDown: 10 * sec,
	}
	return c
}

// Shots of the turbocharged eight, by the jet that they flow through. Retard is
// about 2 degrees for every 37 kW (50 hp), and none opens below 2,500 rpm
// (common practice).
const (
	SmallShot = 0
	LargeShot = 1
)

// WithShot opens one shot while the trans-brake holds.
func WithShot(c controller.Calibration, jet int) controller.Calibration {
	sh := controller.Shot{
		When: controller.WhileHeld, Name: controller.NameOf("small"), Wet: true, Power: 37, Retard: 2 * deg,
		ThrottleMin: 90 * pct, SpeedLow: 2500 * rpm, SpeedHigh: 6000 * rpm, Margin: 200 * rpm, Reopen: 200 * rpm,
		QuietFor: 50 * ms, Trigger: 20 * ms, ReArm: 300 * ms, OncePerHold: true, Longest: 6 * sec,
		RetardLead: 20 * ms, EndDuty: controller.One, ValveOpens: 25 * ms, ValveCloses: 20 * ms, Flush: 30 * ms,
		FuelLead: 10 * ms, FuelLag: 10 * ms,
	}
	if jet == LargeShot {
		sh.Name, sh.Power, sh.Retard = controller.NameOf("large"), 66, 7*deg/2
	}
	c.Shots[jet] = sh
	return c
}

// ClutchLaunch is the driver of a clutch car: full throttle with the clutch at
// the floor, off the clutch 3 s later.
const ClutchLaunch = `clutch 100 % at 0 s
throttle ramp to 100 % over 0.15 s at 0.5 s
clutch ramp to 70 % over 0.03 s at 3.5 s
clutch ramp to 22 % over 0.12 s at 3.53 s
clutch ramp to 0 % over 0.4 s at 3.7 s`

// BrakeLaunch is the driver of the converter car.
const BrakeLaunch = `trans-brake on from 0.1 s to 5 s
arm on at 0.3 s
throttle ramp to 100 % over 0.15 s at 0.5 s`
