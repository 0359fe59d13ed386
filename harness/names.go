package harness

import (
	"math"

	"github.com/holdline/holdline/controller"
)

// Quantity describes a number that files, traces and requirements show: its
// stable name, its unit, and how many integer steps of the core make one unit.
type Quantity struct {
	Name string
	Unit string
	Per  float64 // core steps per unit
}

// Units gives an integer of the core in the quantity's unit.
func (q Quantity) Units(raw int32) float64 { return float64(raw) / q.Per }

// Raw gives a value in the quantity's unit as the nearest integer of the core,
// saturating at the ends of int32.
func (q Quantity) Raw(value float64) int32 {
	x := math.Round(float64(value * q.Per))
	switch {
	case x >= math.MaxInt32:
		return math.MaxInt32
	case x <= math.MinInt32:
		return math.MinInt32
	}
	return int32(x)
}

// Channels describes every input channel of the controller, by Channel, and the
// time since release, which tables may use as an axis.
var Channels = [controller.NumChannels + 1]Quantity{
	controller.EngineSpeed:        {"engine-speed", "rpm", 10},
	controller.Throttle:           {"throttle", "%", 100},
	controller.ManifoldPressure:   {"manifold-pressure", "kPa", 1000},
	controller.RoadSpeedMain:      {"road-speed", "m/s", 1000},
	controller.RoadSpeedOther:     {"road-speed-other", "m/s", 1000},
	controller.Gear:               {"gear", "", 1},
	controller.CoolantTemperature: {"coolant-temperature", "degC", 10},
	controller.IntakeTemperature:  {"intake-temperature", "degC", 10},
	controller.ExhaustTemperature: {"exhaust-temperature", "degC", 10},
	controller.FuelPressure:       {"fuel-pressure", "kPa", 1000},
	controller.OilPressure:        {"oil-pressure", "kPa", 1000},
	controller.BottlePressure:     {"bottle-pressure", "kPa", 1000},
	controller.BrakePressure:      {"brake-pressure", "kPa", 1000},
	controller.SupplyVoltage:      {"supply-voltage", "V", 1000},
	controller.Lambda:             {"lambda", "", 10000},
	controller.BaseTiming:         {"base-timing", "deg", 100},
	controller.SurfaceTrim:        {"surface-trim", "", 1},
	controller.UserA:              {"user-a", "", 1},
	controller.UserB:              {"user-b", "", 1},
	controller.UserC:              {"user-c", "", 1},
	controller.UserD:              {"user-d", "", 1},
	controller.SinceRelease:       {"since-release", "s", 1000},
}

// Switches names every switch of the controller, by Switch.
var Switches = [controller.NumSwitches]string{
	controller.ClutchDown:    "clutch-down",
	controller.ClutchUp:      "clutch-up",
	controller.FootBrake:     "foot-brake",
	controller.TransBrake:    "trans-brake",
	controller.BurnoutButton: "burnout-button",
	controller.ShiftButton:   "shift-button",
	controller.Arm:           "arm",
	controller.UserSwitch1:   "switch-1",
	controller.UserSwitch2:   "switch-2",
	controller.UserSwitch3:   "switch-3",
	controller.UserSwitch4:   "switch-4",
	controller.Feedback1:     "feedback-1",
	controller.Feedback2:     "feedback-2",
	controller.Feedback3:     "feedback-3",
	controller.Feedback4:     "feedback-4",
}

// ChannelNamed finds a channel by its stable name.
func ChannelNamed(name string) (controller.Channel, bool) {
	for c := range Channels {
		if Channels[c].Name == name {
			return controller.Channel(c), true
		}
	}
	return 0, false
}

// SwitchNamed finds a switch by its stable name.
func SwitchNamed(name string) (controller.Switch, bool) {
	for s := range Switches {
		if Switches[s] == name {
			return controller.Switch(s), true
		}
	}
	return 0, false
}

// MediumName gives the stable name of a medium.
func MediumName(m controller.Medium) string {
	return [...]string{"none", "fuel", "spark", "both"}[m&controller.Both]
}

// StageName gives a stage's own name, or its kind if it has none.
func StageName(cal *controller.Calibration, i int) string {
	if i < 0 || i >= len(cal.Stages) {
		return ""
	}
	if n := cal.Stages[i].Name.String(); n != "" {
		return n
	}
	return KindName(cal.Stages[i].Kind)
}

// KindName gives the stable name of a kind of stage.
func KindName(k controller.StageKind) string {
	names := [...]string{"none", "burnout", "launch", "after-release", "shift", "user", "main"}
	if int(k) < len(names) {
		return names[k]
	}
	return "invalid"
}

// ShotName gives a shot's own name, or its number.
func ShotName(cal *controller.Calibration, i int) string {
	if n := cal.Shots[i].Name.String(); n != "" {
		return n
	}
	return "shot " + string(rune('1'+i))
}
