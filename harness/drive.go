package harness

import (
	"github.com/holdline/holdline/controller"
)

// Controls is what a driver does: pedals, lever and switches of a car.
type Controls struct {
	Throttle  controller.Ratio // pedal travel, 0 released to One pressed
	Clutch    controller.Ratio // pedal travel, 0 up to One at the floor
	FootBrake controller.Ratio // pedal travel

	Gear       int8 // lever: 0 neutral, 1 and up
	TransBrake bool // button of the trans-brake

	// Switches are the driver's own: burnout, shift, arm and the user switches.
	// Those of the pedals follow from their travel.
	Switches controller.SwitchSet

	Trim int32    // surface trim, numbered position
	User [4]int32 // the free channels, raw
}

// Seen is what a driver can know: instruments of this tick, and what the unit
// answered to the last one.
type Seen struct {
	NowUS    int64 // since the start of the run
	PeriodUS int64 // of a tick
	In       *controller.Input
	Out      *controller.Output

	Stalled  bool
	Shifting bool
	Distance float64 // m from the start
}

// Driver drives a car. Drive is called once a tick, before the unit's; what it
// does not change stays as it was. It must not keep the pointers.
type Driver interface {
	Drive(see *Seen, do *Controls)
}

// Pedal positions at which switches change and the clutch bites (illustrative).
// The clutch switch opens before the plates touch, as it does in a car.
const (
	clutchFloor   = 95 * controller.Percent
	clutchTop     = 5 * controller.Percent
	clutchBites   = 70 * controller.Percent
	clutchGrips   = 20 * controller.Percent
	brakeTouched  = 3 * controller.Percent
	brakeAtFull   = 80 * controller.Bar
	driverSwitch  = 1<<controller.BurnoutButton | 1<<controller.ShiftButton | 1<<controller.Arm | userSwitches
	userSwitches  = 1<<controller.UserSwitch1 | 1<<controller.UserSwitch2 | 1<<controller.UserSwitch3 | 1<<controller.UserSwitch4
	knownSwitches = controller.SwitchSet(1<<controller.NumSwitches - 1)
)

// switches gives the state of every switch but the shots' feedbacks.
func (c *Controls) switches() controller.SwitchSet {
	on := c.Switches & driverSwitch
	on = on.With(controller.ClutchDown, c.Clutch >= clutchFloor)
	on = on.With(controller.ClutchUp, c.Clutch <= clutchTop)
	on = on.With(controller.FootBrake, c.FootBrake >= brakeTouched)
	return on.With(controller.TransBrake, c.TransBrake)
}

// PedalFor is the pedal travel at which a clutch has a share of its capacity, 0 to 1:
// the pedal is taken to be fully up where it has all of it.
func PedalFor(share float64) controller.Ratio {
	if share >= 1 {
		return 0
	}
	return clutchBites - controller.Ratio(max(share, 0)*float64(clutchBites-clutchGrips))
}

// engaged is the share of the clutch capacity at a pedal travel: 0 above the
// bite point, all of it below the grip point, even between.
func engaged(travel controller.Ratio) float64 {
	share := float64(clutchBites-travel) / float64(clutchBites-clutchGrips)
	return min(max(share, 0), 1)
}
