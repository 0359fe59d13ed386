package controller

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// testCar is a calibration of our own invention with four stages and two shots:
// a V8 on a trans-brake. Numbers are common practice where there is one.
func testCar() Calibration {
	c := Calibration{Name: NameOf("test car"), Period: Millisecond}
	c.Engine = Engine{
		Cylinders: 8, Order: [MaxCylinders]uint8{1, 8, 4, 3, 6, 5, 7, 2},
		CommitLead: 3, FuelDelay: 650 * Degree, SparkDelay: 200 * Degree,
		CrankingBelow: 400 * RPM, OverrunMargin: 300 * RPM,
		BaseAngle: Curve{Const: int32(28 * Degree)},
		BoostBase: Curve{Const: int32(250 * Kilopascal)}, BoostMin: 120 * Kilopascal,
		TrimStep: 50 * RPM, TrimMax: 300 * RPM,
	}
	fit := func(ch Channel, low, high int32) {
		c.Channels[ch] = ChannelSpec{Fitted: true, Low: low, High: high, LongestAge: 50 * Millisecond}
	}
	fit(EngineSpeed, 0, int32(15000*RPM))
	fit(Throttle, 0, int32(One))
	fit(ManifoldPressure, int32(10*Kilopascal), int32(400*Kilopascal))
	fit(RoadSpeedMain, 0, int32(120*MetrePerSecond))
	fit(CoolantTemperature, -400, 1500)
	fit(FuelPressure, 0, int32(10*Bar))
	fit(OilPressure, 0, int32(12*Bar))
	fit(BottlePressure, 0, int32(100*Bar))
	fit(SupplyVoltage, 6000, 18000)
	fit(Lambda, 5000, 20000)
	fit(SurfaceTrim, -6, 6)
	for _, sw := range []Switch{ClutchDown, FootBrake, TransBrake, BurnoutButton, Arm, ShiftButton} {
		c.Switches = c.Switches.With(sw, true)
	}
	c.Sequence = Sequence{
		Hold: HoldTransBrake, Earn: 500 * Millisecond, ThrottleMin: 60 * Percent, ThrottleShut: 5 * Percent,
		EarnWithin: 300 * RPM, AbortAfter: 100 * Millisecond, ClearAfter: 500 * Millisecond,
		LossAfter: 300 * Millisecond, EndLift: Second, EndAfter: 12 * Second,
		EntrySpeed: 3 * MetrePerSecond, EntryAbove: 500 * RPM, ReturnTime: 150 * Millisecond, Comeback: 10 * Percent,
	}
	c.Tables[0] = Table{
		Columns: Axis{Channel: Throttle, N: 3, Points: [8]int32{3000, 6000, 10000}},
		Rows:    Axis{Channel: ManifoldPressure, N: 3, Points: [8]int32{100000, 160000, 200000}},
		Cells: [8][8]int32{
			{60000, 58000, 45000},
			{58000, 52000, 42000},
			{52000, 45000, 38000},
		},
	}
	c.Tables[1] = Table{
		Columns: Axis{Channel: SinceRelease, N: 3, Points: [8]int32{0, 400, 1200}},
		Cells:   [8][8]int32{{50000, 62000, 90000}},
	}
	c.Stages[0] = Stage{
		Kind: Burnout, Name: NameOf("burnout"),
		When:    Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: BurnoutButton}}},
		Ceiling: Curve{Const: int32(6500 * RPM)},
		Cut:     Cut{Medium: Fuel, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand},
	}
	c.Stages[1] = Stage{
		Kind: Launch, Name: NameOf("launch"),
		When:      Condition{All: [MaxTerms]Term{{Kind: SwitchOn, Switch: TransBrake}}},
		Ceiling:   Curve{Table: 1},
		StaysDown: true, RestTo: 3000 * RPM, RestSlew: 2000 * RPM,
		Cut:    Cut{Medium: Both, Style: Soft, Band: 250 * RPM, Anticipate: true},
		Timing: Timing{Mode: TimingAbsolute, Angle: Curve{Const: int32(-10 * Degree)}, NearBand: 400 * RPM, SlewIn: 200 * Degree, SlewOut: 300 * Degree},
		Boost:  Curve{Const: int32(200 * Kilopascal)},
		Guard:  Guard{Longest: 4 * Second, CoolDown: 30 * Second},
	}
	c.Stages[2] = Stage{
		Kind: AfterRelease, Name: NameOf("after release"),
		Ceiling: Curve{Table: 2},
		Cut:     Cut{Medium: Spark, Style: Soft, Band: 250 * RPM},
		Guard:   Guard{Longest: 3 * Second, CoolDown: 20 * Second},
	}
	c.Stages[3] = Stage{
		Kind: Main, Name: NameOf("main"),
		Ceiling: Curve{Const: int32(9000 * RPM)},
		Cut:     Cut{Medium: Both, Style: Hard, Hysteresis: 100 * RPM, Depth: FullDemand},
	}
	c.Standing = Standing{
		Coolant: Window{500, 1050}, Fuel: Window{int32(3 * Bar), int32(6 * Bar)}, Oil: Window{int32(2 * Bar), int32(9 * Bar)},
		Bottle: Window{int32(55 * Bar), int32(72 * Bar)}, Voltage: Window{11500, 16000},
		LeanLimit: 9000, MixtureWait: 300 * Millisecond, Qualify: 100 * Millisecond, LatchAfter: 20 * Millisecond,
		LongestAll: 15 * Second, CoolDown: 10 * Second,
	}
	shot := Shot{
		When: WhileHeld, Name: NameOf("come up"), Power: 37, ThrottleMin: 90 * Percent,
		SpeedLow: 2500 * RPM, SpeedHigh: 8500 * RPM, Margin: 200 * RPM, Reopen: 200 * RPM,
		QuietFor: 50 * Millisecond, Trigger: 20 * Millisecond, ReArm: 300 * Millisecond, OncePerHold: true,
		Longest: 6 * Second, Retard: 2 * Degree, RetardLead: 20 * Millisecond, EndDuty: One,
		ValveOpens: 15 * Millisecond, ValveCloses: 12 * Millisecond, Flush: 20 * Millisecond,
		Enrich: 12000, EnrichLead: 30 * Millisecond,
	}
	c.Shots[0] = shot
	shot.When, shot.Name, shot.Power, shot.Retard = WhileReleased, NameOf("run"), 74, 4*Degree
	shot.OncePerHold, shot.Wet, shot.Enrich, shot.EnrichLead = false, true, 0, 0
	shot.Delay, shot.Ramp, shot.StartDuty, shot.ValvePeriod = 500*Millisecond, Second, 40*Percent, 100*Millisecond
	shot.FuelLead, shot.FuelLag = 10*Millisecond, 10*Millisecond
	c.Shots[1] = shot
	return c
}

// sealed returns a calibration ready for use, or fails the test with what keeps
// it from that.
func sealed(t testing.TB, c Calibration) *Calibration {
	t.Helper()
	var p Problems
	if !c.Seal(&p) {
		for _, x := range p.List[:p.N] {
			t.Logf("%+v", x)
		}
		require.Fail(t, "calibration not sealed")
	}
	return &c
}

// calm is an input with everything fitted and in its window, idling.
func calm() Input {
	var in Input
	in.Periods = 1
	in.Set(EngineSpeed, int32(1200*RPM))
	in.Set(Throttle, 0)
	in.Set(ManifoldPressure, int32(60*Kilopascal))
	in.Set(RoadSpeedMain, 0)
	in.Set(CoolantTemperature, 850)
	in.Set(FuelPressure, int32(4*Bar))
	in.Set(OilPressure, int32(5*Bar))
	in.Set(BottlePressure, int32(65*Bar))
	in.Set(SupplyVoltage, 13500)
	in.Set(Lambda, 8500)
	in.Set(SurfaceTrim, 0)
	for sw := range NumSwitches {
		in.Put(sw, false)
	}
	return in
}

func TestTestCarSealsWithoutWarning(t *testing.T) {
	c := testCar()
	c.Engine.RateCheck = true // off in the car: most tests ask for no commits
	var p Problems
	require.True(t, c.Seal(&p))
	for _, x := range p.List[:p.N] {
		t.Errorf("%+v", x)
	}
}

func TestLaunchRun(t *testing.T) {
	cal := sealed(t, testCar())
	var s State
	require.NoError(t, s.Reset(cal))
	in, out := calm(), Output{}
	run := func(ms int, f func()) {
		for range ms {
			if f != nil {
				f()
			}
			s.Tick(cal, &in, &out)
		}
	}
	run(300, nil)
	in.Put(Arm, true)
	run(200, nil)
	in.Put(TransBrake, true)
	in.Set(Throttle, int32(One))
	n := int32(1200 * RPM)
	run(1000, func() { n = min(n+40, int32(4400*RPM)); in.Set(EngineSpeed, n) })
	t.Logf("%+v", out)
	require.Equal(t, Held, out.Sequence)
	in.Put(TransBrake, false)
	run(1, nil)
	require.Equal(t, Released, out.Sequence)
	run(700, nil)
	t.Logf("%+v", out)
}
