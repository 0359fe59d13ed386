package boards_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
)

// heavy is the most work that we know how to ask of a tick: every stage and shot
// in use, all inputs fitted, and eight tables of 8 by 8 points looked up in it.
// Its numbers are our own and mean nothing.
func heavy(t testing.TB) *controller.Calibration {
	_, cal := image(t, "v8-trans-brake")
	c := *cal
	c.Name = controller.NameOf("heavy")
	fit(&c)
	for i := range 8 {
		c.Tables[i] = square(i)
	}
	speed := func(table uint8) controller.Curve { return controller.Curve{Table: table} }
	c.Engine.BaseAngle = controller.Curve{Const: int32(28 * controller.Degree)}
	stages := c.Stages
	main := -1
	for i := range stages {
		if stages[i].Kind == controller.Main {
			main = i
		}
	}
	c.Stages = [controller.MaxStages]controller.Stage{}
	for i, st := range stages[:3] {
		st.When.Qualify = 10 * controller.Millisecond
		st.Ceiling = speed(uint8(i + 1))
		st.Cut = controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 250 * controller.RPM, Anticipate: true}
		st.SlewUp, st.SlewDown = 20000*controller.RPM, 20000*controller.RPM
		c.Stages[i] = st
	}
	for i := 3; i < 7; i++ {
		st := controller.Stage{Kind: controller.User, Name: controller.NameOf("user"), Moving: true}
		st.When.All[0] = controller.Term{Kind: controller.Within, Channel: controller.Throttle, Low: -500, High: 10500}
		st.When.All[1] = controller.Term{Kind: controller.SwitchOff, Switch: controller.UserSwitch1}
		st.When.Any[0] = controller.Term{Kind: controller.Within, Channel: controller.Gear, Low: -1, High: 8}
		st.Ceiling = speed(uint8(i + 1))
		st.Cut = controller.Cut{Medium: controller.Both, Style: controller.Soft, Band: 250 * controller.RPM, Anticipate: true}
		st.SlewUp, st.SlewDown = 20000*controller.RPM, 20000*controller.RPM
		c.Stages[i] = st
	}
	c.Stages[7] = stages[main]
	c.Stages[7].Boost = controller.Curve{Table: 8}
	for i := range 2 {
		c.Shots[2+i] = c.Shots[1]
		c.Shots[2+i].After = 2
		c.Shots[2+i].Name = controller.NameOf([]string{"third", "fourth"}[i])
	}
	var p controller.Problems
	require.True(t, c.Seal(&p), "%+v", p.List[:min(p.N, 5)])
	return &c
}

// fit declares every channel and switch.
func fit(c *controller.Calibration) {
	for ch, r := range map[controller.Channel][2]int32{
		controller.EngineSpeed: {0, 150000}, controller.Throttle: {-500, 10500},
		controller.ManifoldPressure: {10000, 400000}, controller.RoadSpeedMain: {0, 130000},
		controller.RoadSpeedOther: {0, 130000}, controller.Gear: {-1, 8},
		controller.CoolantTemperature: {-400, 1500}, controller.IntakeTemperature: {-400, 1500},
		controller.ExhaustTemperature: {-400, 12000}, controller.FuelPressure: {0, 1000000},
		controller.OilPressure: {0, 1200000}, controller.BottlePressure: {0, 10000000},
		controller.BrakePressure: {0, 20000000}, controller.SupplyVoltage: {6000, 18000},
		controller.Lambda: {5000, 20000}, controller.BaseTiming: {-4000, 6000}, controller.SurfaceTrim: {-6, 6},
	} {
		if !c.Channels[ch].Fitted {
			c.Channels[ch] = controller.ChannelSpec{Fitted: true, Low: r[0], High: r[1], LongestAge: 50 * controller.Millisecond}
		}
	}
	c.Switches = 1<<controller.NumSwitches - 1
}

// square is a full table of ceilings, or of boost for the last one.
func square(k int) controller.Table {
	x := controller.Table{
		Columns: controller.Axis{Channel: controller.Throttle, N: 8},
		Rows:    controller.Axis{Channel: controller.ManifoldPressure, N: 8},
	}
	for i := range int32(8) {
		x.Columns.Points[i] = i * 1428
		x.Rows.Points[i] = 50000 + i*25000
		for j := range int32(8) {
			x.Cells[i][j] = 46000 + (i*8+j)*100 + int32(k)*500
			if k == 7 {
				x.Cells[i][j] = 100000 + (i*8+j)*1000
			}
		}
	}
	return x
}

// With everything in use a tick takes what it takes: the worst that we found.
func TestCostOfAHeavyCalibration(t *testing.T) {
	report(t, counted(t, "measure", imageOf(t, heavy(t))))
}
