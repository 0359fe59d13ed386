package work

import "github.com/holdline/holdline/controller"

// calm is an idling engine with everything fitted in its window (common
// practice).
func (d *Drive) calm() {
	in := &d.In
	in.Set(controller.EngineSpeed, d.speed)
	in.Set(controller.Throttle, 0)
	in.Set(controller.ManifoldPressure, int32(60*controller.Kilopascal))
	in.Set(controller.RoadSpeedMain, 0)
	in.Set(controller.RoadSpeedOther, 0)
	in.Set(controller.Gear, 1)
	in.Set(controller.CoolantTemperature, 850)
	in.Set(controller.IntakeTemperature, 300)
	in.Set(controller.ExhaustTemperature, 6000)
	in.Set(controller.FuelPressure, int32(4*controller.Bar))
	in.Set(controller.OilPressure, int32(5*controller.Bar))
	in.Set(controller.BottlePressure, int32(65*controller.Bar))
	in.Set(controller.BrakePressure, 0)
	in.Set(controller.SupplyVoltage, 13500)
	in.Set(controller.Lambda, 8500)
	in.Set(controller.BaseTiming, int32(28*controller.Degree))
	in.Set(controller.SurfaceTrim, 0)
	for sw := controller.Switch(0); sw < controller.NumSwitches; sw++ {
		in.Put(sw, false)
	}
	in.Put(controller.ClutchUp, true)
}

// launch plays one launch in 6,000 ticks and starts again.
func (d *Drive) launch() {
	switch d.tick % 6000 {
	case 0:
		d.calm()
	case 300:
		d.In.Put(controller.Arm, true)
	case 500:
		d.hold(true)
		d.In.Set(controller.Throttle, int32(controller.One))
		d.In.Set(controller.ManifoldPressure, 151*int32(controller.Kilopascal))
	case 2000:
		d.hold(false)
	case 3500:
		d.In.Put(controller.ShiftButton, true)
	case 3600:
		d.In.Put(controller.ShiftButton, false)
		d.In.Set(controller.Gear, 2)
	case 4800:
		d.In.Set(controller.Throttle, 0)
		d.In.Set(controller.ManifoldPressure, 60*int32(controller.Kilopascal))
	}
}

// hold works every input that can hold a car, so that it fits any calibration.
func (d *Drive) hold(on bool) {
	d.In.Put(controller.ClutchDown, on)
	d.In.Put(controller.ClutchUp, !on)
	d.In.Put(controller.TransBrake, on)
	d.In.Put(controller.FootBrake, on)
	pressure := int32(0)
	if on {
		pressure = int32(60 * controller.Bar)
	}
	d.In.Set(controller.BrakePressure, pressure)
}

// storm changes one thing in one tick of four.
func (d *Drive) storm() {
	r := d.draw()
	if r&3 != 0 {
		return
	}
	switch r >> 2 & 15 {
	case 0, 1, 2, 3:
		d.In.Put(controller.Switch(d.below(uint32(controller.NumSwitches))), d.draw()&1 != 0)
	case 4:
		d.In.Known = d.In.Known.With(controller.Switch(d.below(uint32(controller.NumSwitches))), d.draw()&3 != 0)
	case 5, 6, 7:
		d.sample()
	case 8:
		c := &d.In.Channels[d.below(uint32(controller.NumChannels))]
		c.Good, c.Age = d.draw()&3 != 0, uint16(d.draw()>>20)
	case 9:
		d.speed = int32(d.below(120000))
	case 10:
		d.hold(d.draw()&1 != 0)
	case 11:
		d.In.Set(controller.Throttle, int32(controller.One))
	case 12:
		d.In.Periods = uint16(d.below(4))
	case 13:
		if d.draw()&15 == 0 {
			d.State.LostSync()
		}
	case 14:
		d.calm() // all is well again, so that launches happen
	case 15:
		d.In.Put(controller.Arm, d.draw()&3 != 0)
	}
}

// sample sets a channel to a value around the edges of its electrical range, or
// within it.
func (d *Drive) sample() {
	c := controller.Channel(d.below(uint32(controller.NumChannels)))
	spec := &d.Cal.Channels[c]
	value := spec.Low
	switch d.draw() & 7 {
	case 0:
		value = spec.Low - 1
	case 1:
		value = spec.High
	case 2:
		value = spec.High + 1
	case 3:
	default:
		value += int32(d.below(uint32(spec.High-spec.Low) + 1))
	}
	d.In.Set(c, value)
}

// turn moves the engine by one tick: it gains with the throttle, loses while
// cycles are withheld, and firing events fall due as the crank turns.
func (d *Drive) turn() {
	gain := d.In.Channels[controller.Throttle].Value/200 - 15
	gain -= int32(d.Out.Demand) / 800
	d.speed = min(max(d.speed+gain, int32(800*controller.RPM)), int32(14000*controller.RPM))
	d.In.Channels[controller.EngineSpeed].Value = d.speed
	if d.kind == Launch {
		d.In.Channels[controller.EngineSpeed].Good = true
	}
	d.travel += d.speed * 6 / 100
	interval := int32(72000) / int32(d.Cal.Engine.Cylinders)
	d.due = d.travel / interval
	d.travel -= d.due * interval
}

// draw is a 32-bit xorshift (Marsaglia 2003, triple 13 17 5).
func (d *Drive) draw() uint32 {
	x := d.random
	x ^= x << 13
	x ^= x >> 17
	x ^= x << 5
	d.random = x
	return x
}

// below gives a number from 0 to n-1; 0 if n is 0.
func (d *Drive) below(n uint32) uint32 {
	if n == 0 {
		return 0
	}
	return (d.draw() >> 4) % n
}
