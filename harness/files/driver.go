package files

import (
	"math"
	"sync"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/sim"
)

// IDs of what only a driver's phrases know, above those of controller channels,
// switches and states.
const (
	throttlePedal = 100 + iota
	clutchPedal
	brakePedal
	gearLever
	distanceDone
)

var driverWords = sync.OnceValue(func() *Vocabulary {
	pedal := func(id int, name string, aliases ...string) Channel {
		return Channel{ID: id, Name: name, Aliases: aliases, Units: []Scale{PercentInPct2}, Lo: 0, Hi: int64(controller.One)}
	}
	read := func(c controller.Channel, name string, units ...Scale) Channel {
		return Channel{ID: int(c), Name: name, Units: units, ReadOnly: true}
	}
	press := func(s controller.Switch, name string) Switch { return Switch{ID: int(s), Name: name} }
	see := func(s controller.Switch, name string) Switch { return Switch{ID: int(s), Name: name, ReadOnly: true} }
	return &Vocabulary{
		Switches: []Switch{
			press(controller.TransBrake, "trans-brake"), press(controller.BurnoutButton, "burnout button"),
			press(controller.ShiftButton, "shift button"), press(controller.Arm, "arm"),
			press(controller.UserSwitch1, "switch 1"), press(controller.UserSwitch2, "switch 2"),
			press(controller.UserSwitch3, "switch 3"), press(controller.UserSwitch4, "switch 4"),
			see(controller.ClutchDown, "clutch down"), see(controller.ClutchUp, "clutch up"),
		},
		Channels: []Channel{
			pedal(throttlePedal, "throttle", "throttle pedal"), pedal(clutchPedal, "clutch", "clutch pedal"),
			pedal(brakePedal, "brake", "brake pedal", "foot brake"),
			{ID: gearLever, Name: "gear", Aliases: []string{"gear lever"}, Units: []Scale{Number}, Lo: 0, Hi: 8},
			{ID: int(controller.SurfaceTrim), Name: "surface trim", Units: []Scale{Number}, Lo: -100, Hi: 100},
			read(controller.EngineSpeed, "engine speed", RPMTenths),
			read(controller.ManifoldPressure, "manifold pressure", KilopascalInPa),
			read(controller.RoadSpeedMain, "road speed", MetresInMm, KmhInMmPerS),
			read(controller.BottlePressure, "bottle pressure", KilopascalInPa),
			read(controller.SinceRelease, "time since release", SecondsInMs),
			{ID: distanceDone, Name: "distance", Units: []Scale{{Unit: "m", Mul: 1000}}, ReadOnly: true},
		},
		Moments: []Moment{
			{ID: int(controller.Idle), Name: "idle"}, {ID: int(controller.Held), Name: "hold", Aliases: []string{"held"}},
			{ID: int(controller.Released), Name: "release", Aliases: []string{"released"}},
			{ID: int(controller.Ended), Name: "end"}, {ID: int(controller.Aborted), Name: "abort"},
		},
	}
})

// DriverWords is what the phrases of a driver can talk about: pedals, lever and
// switches to move, instruments and states of the launch sequence to wait for.
func DriverWords() *Vocabulary { return driverWords() }

// Shifts says when a driver takes the next gear: at an engine speed, once the
// road speed says that the tyres are not just spinning. The zero value never
// shifts.
type Shifts struct {
	At   controller.Speed
	road []int64 // mm/s that belongs to At in gear i+1
}

// ShiftsOf prepares the shifts of a car.
func ShiftsOf(car *sim.Car, at controller.Speed) Shifts {
	s := Shifts{At: at}
	for _, ratio := range car.Gearbox.Ratios {
		rad := float64(at) / float64(controller.RPM) * math.Pi / 30
		s.road = append(s.road, int64(rad/(ratio*car.Gearbox.Final)*car.Tyre.RadiusM*1000))
	}
	return s
}

// ScriptDriver is a harness.Driver that plays phrases. What no phrase says
// stays: pedals up, first gear, switches off.
type ScriptDriver struct {
	player *Player
	shifts Shifts
	see    *harness.Seen
	lever  int8 // after the driver's own shifts; 0: none yet
}

// NewScriptDriver prepares a driver. r gives the scatter of the phrases; nil for
// none.
func NewScriptDriver(s *Script, r Random, shifts Shifts) *ScriptDriver {
	return &ScriptDriver{player: NewPlayer(s, r), shifts: shifts}
}

// Drive implements harness.Driver.
func (d *ScriptDriver) Drive(see *harness.Seen, do *harness.Controls) {
	d.see = see
	d.player.Tick(see.NowUS, d)
	for _, o := range d.player.Outputs() {
		if o.Target.Kind == SwitchTarget {
			d.press(controller.Switch(o.Target.ID), o.On && o.Scripted, do)
		} else if o.Scripted {
			d.move(o.Target.ID, o.Value, do)
		}
	}
	if d.lever > 0 {
		do.Gear = d.lever
	}
	d.shift(do)
}

func (d *ScriptDriver) press(s controller.Switch, on bool, do *harness.Controls) {
	if s == controller.TransBrake {
		do.TransBrake = on
		return
	}
	do.Switches = do.Switches.With(s, on)
}

func (d *ScriptDriver) move(id int, value int64, do *harness.Controls) {
	switch id {
	case throttlePedal:
		do.Throttle = controller.Ratio(value)
	case clutchPedal:
		do.Clutch = controller.Ratio(value)
	case brakePedal:
		do.FootBrake = controller.Ratio(value)
	case gearLever:
		do.Gear = int8(value)
	case int(controller.SurfaceTrim):
		do.Trim = int32(value)
	}
}

// shift takes the next gear when engine and road both say so.
func (d *ScriptDriver) shift(do *harness.Controls) {
	g := int(do.Gear)
	if d.shifts.At == 0 || g < 1 || g >= len(d.shifts.road) || d.see.Shifting || do.TransBrake || do.Clutch > 0 {
		return
	}
	speed := &d.see.In.Channels[controller.EngineSpeed]
	road := int64(d.see.In.Channels[controller.RoadSpeedMain].Value)
	if speed.Good && controller.Speed(speed.Value) >= d.shifts.At && 5*road >= 4*d.shifts.road[g-1] {
		d.lever = int8(g + 1)
		do.Gear = d.lever
	}
}

// Switch implements Present.
func (d *ScriptDriver) Switch(id int) bool {
	sw := controller.Switch(id)
	return d.see.In.Known.Has(sw) && d.see.In.On.Has(sw)
}

// Channel implements Present.
func (d *ScriptDriver) Channel(id int) (int64, bool) {
	switch {
	case id == distanceDone:
		return int64(d.see.Distance * 1000), true
	case id == int(controller.SinceRelease):
		return int64(d.see.Out.SinceRelease) * d.see.PeriodUS / 1000, d.see.Out.Sequence == controller.Released
	case id == throttlePedal:
		return int64(d.see.In.Channels[controller.Throttle].Value), true
	case id < int(controller.NumChannels):
		x := d.see.In.Channels[id]
		return int64(x.Value), x.Good
	}
	return 0, false
}

// Moment implements Present.
func (d *ScriptDriver) Moment(id int) bool { return int(d.see.Out.Sequence) == id }
