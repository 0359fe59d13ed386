package harness

import (
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/sim"
)

const celsiusZero = 273.15

// measuredEvery says how often each channel is measured anew, in microseconds:
// what moves fast is read every tick, temperatures ten times a second
// (illustrative).
var measuredEvery = [controller.NumChannels]int64{
	controller.RoadSpeedMain: 5000, controller.RoadSpeedOther: 5000,
	controller.CoolantTemperature: 100000, controller.IntakeTemperature: 100000, controller.ExhaustTemperature: 100000,
	controller.FuelPressure: 10000, controller.OilPressure: 10000, controller.BottlePressure: 10000,
	controller.BrakePressure: 5000, controller.SupplyVoltage: 10000, controller.Lambda: 10000,
}

// measure fills in the channels of this tick.
func (p *Plant) measure() {
	q := &p.sim.State.Sensors
	n := p.engineSpeed()
	p.read(controller.Throttle, q.Throttle*float64(controller.One))
	p.read(controller.ManifoldPressure, q.MapPa)
	p.read(controller.RoadSpeedMain, q.FreeMS*float64(controller.MetrePerSecond))
	p.read(controller.RoadSpeedOther, q.WheelMS*float64(controller.MetrePerSecond))
	p.read(controller.Gear, float64(p.sim.State.Gear))
	p.read(controller.CoolantTemperature, celsius(q.CoolantK))
	p.read(controller.IntakeTemperature, celsius(q.IntakeK))
	p.read(controller.ExhaustTemperature, celsius(q.ExhaustK))
	p.read(controller.FuelPressure, q.FuelPa)
	p.read(controller.OilPressure, q.OilPa)
	p.read(controller.BottlePressure, q.BottlePa)
	p.read(controller.BrakePressure, ratio(p.controls.FootBrake)*float64(brakeAtFull))
	p.read(controller.SupplyVoltage, q.VoltageV*float64(controller.Volt))
	p.read(controller.Lambda, q.Lambda*float64(controller.One))
	p.read(controller.SurfaceTrim, float64(p.controls.Trim))
	for i, x := range p.controls.User {
		p.read(controller.UserA+controller.Channel(i), float64(x))
	}
	base := p.sim.Model().BaseSpark(float64(n)/float64(controller.RPM), q.MapPa)
	p.read(controller.BaseTiming, base*float64(controller.Degree))
}

func celsius(k float64) float64 { return (k - celsiusZero) * float64(controller.Celsius) }

// read stores a channel when its time has come, or makes it a tick older.
func (p *Plant) read(c controller.Channel, value float64) {
	s := &p.in.Channels[c]
	if every := measuredEvery[c]; every > int64(p.cal.Period) && p.nowUS()%every >= int64(p.cal.Period) {
		s.Age++
		return
	}
	*s = controller.Sample{Value: nearest(value), Good: value == value}
}

// nearest rounds half away from zero and saturates.
func nearest(x float64) int32 {
	x = math.Round(x)
	switch {
	case !(x > math.MinInt32):
		return math.MinInt32
	case x > math.MaxInt32:
		return math.MaxInt32
	}
	return int32(x)
}

// engineSpeed sets the engine speed channel, from the decoder where there is
// one, and returns it.
func (p *Plant) engineSpeed() controller.Speed {
	s := &p.in.Channels[controller.EngineSpeed]
	if d := p.options.Crank; d != nil {
		n, age, ok := d.Speed(p.nowUS())
		if !ok {
			s.Good = false
			s.Age = uint16(min(int(s.Age)+1, math.MaxUint16))
			return controller.Speed(s.Value)
		}
		*s = controller.Sample{Value: int32(n), Good: true, Age: uint16(min(age/int64(p.cal.Period), math.MaxUint16))}
		return n
	}
	*s = controller.Sample{Value: nearest(p.mean.rpm * float64(controller.RPM)), Good: true}
	return controller.Speed(s.Value)
}

// crankMean is the mean of the true crank speed over a firing interval.
type crankMean struct {
	interval float64 // degrees
	turned   float64 // degrees since the start
	last     float64 // crank angle at the tick before
	ring     [256]float64
	n        int
	rpm      float64
}

func (m *crankMean) start(interval float64, p *sim.Plant) {
	m.interval, m.last, m.rpm = interval, p.AngleDeg(), p.RPM()
}

// step adds the end of a tick and looks back by one interval, straight between
// ticks.
func (m *crankMean) step(p *sim.Plant, period float64) {
	a := p.AngleDeg()
	d := a - m.last
	if d < -1 {
		d += 720
	}
	m.last = a
	m.turned += d
	m.ring[m.n%len(m.ring)] = m.turned
	m.n++
	goal := m.turned - m.interval
	for back := 1; back < min(m.n, len(m.ring)); back++ {
		then := m.ring[(m.n-1-back)%len(m.ring)]
		if then > goal {
			continue
		}
		after := m.ring[(m.n-back)%len(m.ring)]
		ticks := float64(back) - (goal-then)/(after-then)
		m.rpm = m.interval / (ticks * period * 6)
		return
	}
	m.rpm = p.RPM()
}
