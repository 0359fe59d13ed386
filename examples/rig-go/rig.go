package main

import (
	"encoding/binary"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness/link/wire"
)

// Outputs is what the pins show: bit n-1 for the injector of cylinder n, 16 on
// for coils, and the valves.
type Outputs uint32

// The pins beyond injectors (bit 0 on) and coils (bit 16 on).
const (
	masterPin Outputs = 1 << 12
	shotPins          = 28 // four bits from here
)

// unit is the controller behind the wire. Everything in it is of fixed size: as
// a global it needs no heap.
type unit struct {
	cal   controller.Calibration
	next  controller.Calibration
	state controller.State
	rig   wire.Rig
	store [controller.MaxImage]byte
	pins  Outputs
}

// setUp fills in what the rig says of itself.
func (u *unit) setUp(token uint32, image []byte) {
	u.rig.Handler, u.rig.Store = u, u.store[:]
	u.rig.Hello = wire.Hello{
		Lowest: wire.Version, Highest: wire.Version,
		Features: wire.ReportsOutputs | wire.TakesImages | wire.IsReference | wire.TakesLockstep | wire.TakesPaced,
		Token:    token,
		Channels: 1<<controller.NumChannels - 1, Switches: 1<<controller.NumSwitches - 1,
		Cylinders: controller.MaxCylinders, Events: 64, Items: 16, Window: wire.MaxWindow,
		Frame: wire.MaxFrame, Buffer: wire.MaxFrame,
		Shortest: 100 * controller.Microsecond, Clock: 1_000_000,
		Name: wire.TextOf("holdline rig-go"), Version: wire.TextOf("1"),
	}
	u.rig.Hello.Calibration = u.Image(image)
}

// Image loads a calibration image and gives its checksum; 0 if it is none. The
// calibration in use stays as it is until the next session.
func (u *unit) Image(image []byte) uint32 {
	if u.next.LoadImage(image, nil) != nil {
		return 0
	}
	n := binary.LittleEndian.Uint16(image[6:])
	return binary.LittleEndian.Uint32(image[n-4:])
}

// Begin takes over the loaded calibration and resets the controller.
func (u *unit) Begin(s *wire.Start) (wire.Refusal, uint32) {
	u.cal = u.next
	e := &u.cal.Engine
	if s.Cylinders != e.Cylinders || s.Order != e.Order {
		return wire.RefuseOrder, 0
	}
	if s.Period != u.cal.Period {
		return wire.RefusePeriod, uint32(u.cal.Period)
	}
	if u.state.Reset(&u.cal) != nil {
		return wire.RefuseCalibration, u.rig.Hello.Calibration
	}
	return wire.Fits, 0
}

// Tick runs the controller and shows its valves on the pins.
func (u *unit) Tick(_ uint32, in *controller.Input, out *controller.Output) {
	u.state.Tick(&u.cal, in, out)
	u.pins &^= masterPin | 15<<shotPins
	if out.Master {
		u.pins |= masterPin
	}
	for i := range out.Shots {
		if out.Shots[i].Duty > 0 {
			u.pins |= 1 << (shotPins + i)
		}
	}
	setPins(u.pins)
}

// Commit decides an event and shows it on its pin.
func (u *unit) Commit(e *wire.Event) {
	pin := Outputs(1) << (e.Cylinder - 1)
	if e.Kind == wire.Fuel {
		d := u.state.FuelCommit(&u.cal, e.Cylinder, e.Cycle)
		e.Give, e.Why, e.Value = d.Give, d.Why, int32(d.Mixture)
	} else {
		pin <<= 16
		d := u.state.SparkCommit(&u.cal, e.Cylinder, e.Cycle)
		e.Give, e.Why, e.Value = d.Fire, d.Why, int32(d.Angle)
		e.Unburnt, e.Drop = d.Unburnt, d.Drop
	}
	u.pins &^= pin
	if e.Give {
		u.pins |= pin
	}
	if e.Drop {
		u.pins &^= masterPin | 15<<shotPins
	}
	setPins(u.pins)
}

// Off drops every pin at once.
func (u *unit) Off() {
	was := u.pins
	u.pins = 0
	setPins(0)
	if was != 0 {
		dropped(u.rig.Silence())
	}
}
