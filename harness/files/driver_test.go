package files_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/files"
	"github.com/holdline/holdline/sim"
)

// cockpit drives a script by hand.
type cockpit struct {
	driver *files.ScriptDriver
	in     controller.Input
	out    controller.Output
	do     harness.Controls
	see    harness.Seen
}

func newCockpit(t *testing.T, script string, shifts files.Shifts) *cockpit {
	s, findings := files.ParseScript("", script, files.DriverWords())
	require.NoError(t, findings.Err())
	c := &cockpit{driver: files.NewScriptDriver(s, nil, shifts), do: harness.Controls{Gear: 1}}
	c.see = harness.Seen{PeriodUS: 1000, In: &c.in, Out: &c.out}
	return c
}

func (c *cockpit) at(ms int64) harness.Controls {
	c.see.NowUS = ms * 1000
	c.driver.Drive(&c.see, &c.do)
	return c.do
}

func TestScriptDriverMovesPedalsAndSwitches(t *testing.T) {
	c := newCockpit(t, `clutch 100 % at 0 s; throttle ramp 0 % to 80 % over 0.2 s at 1 s; brake 30 % from 1 s to 2 s
trans-brake on from 0.5 s to 1.5 s; arm on at 1 s; surface trim -2 at 1 s; gear 2 at 3 s`, files.Shifts{})
	assert.Equal(t, harness.Controls{Clutch: controller.One, Gear: 1}, c.at(0))
	do := c.at(1100)
	assert.Equal(t, 40*controller.Percent, do.Throttle)
	assert.Equal(t, 30*controller.Percent, do.FootBrake)
	assert.True(t, do.TransBrake)
	assert.True(t, do.Switches.Has(controller.Arm))
	assert.EqualValues(t, -2, do.Trim)
	do = c.at(3000)
	assert.False(t, do.TransBrake)
	assert.EqualValues(t, 2, do.Gear)
}

// "release 0.4 s after manifold pressure reaches 180 kPa", and what else a driver
// can wait for.
func TestScriptDriverWaits(t *testing.T) {
	c := newCockpit(t, `clutch 100 % at 0 s
clutch 0 % 0.4 s after manifold pressure reaches 180 kPa
throttle 50 % when time since release reaches 1 s
arm on at hold
switch 1 on while distance above 18 m`, files.Shifts{})
	c.at(0)
	assert.Equal(t, controller.One, c.at(1000).Clutch)
	c.in.Set(controller.ManifoldPressure, 180000)
	assert.Equal(t, controller.One, c.at(1001).Clutch)
	assert.Equal(t, controller.One, c.at(1400).Clutch)
	assert.Zero(t, c.at(1401).Clutch)
	c.out.Sequence = controller.Held
	assert.True(t, c.at(1500).Switches.Has(controller.Arm))
	c.out.Sequence, c.out.SinceRelease = controller.Released, 999
	assert.Zero(t, c.at(2500).Throttle)
	c.out.SinceRelease = 1000
	assert.Equal(t, 50*controller.Percent, c.at(2501).Throttle)
	assert.False(t, c.do.Switches.Has(controller.UserSwitch1))
	c.see.Distance = 18.5
	assert.True(t, c.at(2502).Switches.Has(controller.UserSwitch1))
}

// The next gear comes at its engine speed, not with spinning tyres, a clutch that
// is down, or a shift under way.
func TestScriptDriverShifts(t *testing.T) {
	car := sim.TurboFour()
	c := newCockpit(t, "throttle 100 % at 0 s", files.ShiftsOf(&car, 7000*controller.RPM))
	c.in.Set(controller.EngineSpeed, int32(7100*controller.RPM))
	c.in.Set(controller.RoadSpeedMain, 3000)
	assert.EqualValues(t, 1, c.at(0).Gear, "spinning")
	c.in.Set(controller.RoadSpeedMain, 17000) // 7000 rpm in first are 17.6 m/s
	c.do.TransBrake = true
	c.see.Shifting = true
	assert.EqualValues(t, 1, c.at(1).Gear)
	c.see.Shifting, c.do.TransBrake = false, false
	assert.EqualValues(t, 2, c.at(2).Gear)
	assert.EqualValues(t, 2, c.at(3).Gear, "not again at the same road speed")
	c.in.Set(controller.RoadSpeedMain, 120000)
	for ms := range int64(10) {
		c.at(10 + ms)
	}
	assert.EqualValues(t, 5, c.do.Gear, "the last one")
}
