package sim

// Channel names one column of the truth and gives its unit.
type Channel struct {
	Name, Unit string
}

var channels = [...]Channel{
	{"time", "s"}, {"angle", "deg"}, {"speed", "rpm"}, {"gas_torque", "N m"},
	{"pumping_torque", "N m"}, {"friction_torque", "N m"}, {"inertia_torque", "N m"}, {"load_torque", "N m"},
	{"throttle", "-"}, {"manifold_pressure", "kPa"}, {"manifold_temperature", "K"},
	{"boost_pressure", "kPa"}, {"boost_temperature", "K"},
	{"exhaust_pressure", "kPa"}, {"exhaust_temperature", "K"}, {"exhaust_wall", "K"},
	{"turbine_outlet", "K"}, {"turbo_speed", "rpm"}, {"turbine_power", "kW"}, {"compressor_power", "kW"}, {"wastegate", "-"},
	{"throttle_flow", "g/s"}, {"engine_flow", "g/s"}, {"turbine_flow", "g/s"}, {"bypass_flow", "g/s"},
	{"fuel_total", "g"}, {"film", "mg"}, {"afterburn", "kW"}, {"manifold_fuel", "mg"}, {"manifold_oxygen", "-"},
	{"oxidiser_flow", "g/s"}, {"oxidiser_share", "-"}, {"bottle_mass", "kg"}, {"bottle_pressure", "kPa"}, {"bottle_temperature", "K"},
	{"valve_1", "-"}, {"valve_2", "-"}, {"valve_3", "-"}, {"valve_4", "-"},
	{"device_torque", "N m"}, {"device_slip", "rpm"}, {"device_heat", "kJ"}, {"speed_ratio", "-"}, {"driven_speed", "rpm"},
	{"shaft_torque", "N m"}, {"gear", "-"}, {"shifting", "-"},
	{"wheel_speed", "m/s"}, {"tyre_slip", "-"}, {"tyre_force", "N"}, {"tyre_load", "N"}, {"tyre_friction", "-"},
	{"acceleration", "m/s2"}, {"car_speed", "m/s"}, {"distance", "m"},
	{"last_imep", "bar"}, {"last_ca50", "deg"}, {"last_lambda", "-"}, {"last_burnt", "-"}, {"last_fired", "-"},
	{"stalled", "-"},
}

// ChannelCount is the length that Truth needs.
const ChannelCount = len(channels)

// Channels returns the columns that Truth fills, in order.
func Channels() []Channel { return append([]Channel(nil), channels[:]...) }

// ChannelAt is the place of a channel in a row of Truth, for places that a program
// fixes at its start: it panics where there is no such channel.
func ChannelAt(name string) int {
	for i := range channels {
		if channels[i].Name == name {
			return i
		}
	}
	panic("sim: no truth channel " + name)
}

// Truth writes the present value of every channel into dst, which must hold
// ChannelCount values; a shorter dst gets what fits. It changes nothing.
func (p *Plant) Truth(dst []float64) {
	var row [ChannelCount]float64
	i := p.truthEngine(row[:])
	i += p.truthAir(row[i:])
	p.truthCar(row[i:])
	copy(dst, row[:])
}

func (p *Plant) truthEngine(d []float64) int {
	s := &p.State
	f := &s.now
	return fill(d, p.Time(), p.AngleDeg(), p.RPM(), f.gasNm, f.pumpNm, f.fricNm, f.recipNm, f.loadNm,
		p.act.Throttle, f.plenumPa*1e-3, f.plenumK, f.pipePa*1e-3, f.pipeK, f.manPa*1e-3, f.manK, s.ManWallK,
		p.turbineOutlet(), s.TurboSpeed*rpmPerRad, f.turbW*1e-3, f.compW*1e-3, s.Wastegate)
}

// turbineOutlet is the temperature behind the turbine, without what passes the
// wastegate; that of the manifold where there is none.
func (p *Plant) turbineOutlet() float64 {
	f := &p.State.now
	if f.turb <= 0 {
		return f.manK
	}
	return TurbineTemperature(f.manK, max(f.manPa/f.downPa, 1), f.turbEta, exhaustKappa)
}

func (p *Plant) truthAir(d []float64) int {
	s := &p.State
	f := &s.now
	film := 0.0
	for k := range p.model.n {
		film += s.Cyl[k].Film
	}
	return fill(d, f.throttle*1e3, f.engine*1e3, f.turb*1e3, f.wg*1e3, s.Ledger.FuelKg*1e3, film*1e6,
		f.afterburnW*1e-3, s.ManFuel*1e6, s.ManO2/s.ManKg,
		f.oxidiser*1e3, s.PlenumN2O/s.PlenumKg, s.BottleKg, s.BottlePa*1e-3, s.BottleK,
		s.Shot[0].Lift, s.Shot[1].Lift, s.Shot[2].Lift, s.Shot[3].Lift)
}

func (p *Plant) truthCar(d []float64) int {
	s := &p.State
	f := &s.now
	e := &s.event[(s.eventHead-1)%eventRing]
	sr := 0.0
	if s.Speed > 0 {
		sr = s.Driven / s.Speed
	}
	return fill(d, f.outNm, f.slipSpeed*rpmPerRad, s.Ledger.LaunchHeat*1e-3, sr, s.Driven*rpmPerRad,
		f.shaftNm, float64(s.Gear), flag(s.ShiftLeft > 0),
		s.Wheel*p.model.car.Tyre.RadiusM, s.Slip, f.fx, f.fz, f.mu, s.A, s.V, s.X,
		e.ImepPa*1e-5, e.CA50, e.Lambda, e.Burnt, flag(e.Fired), flag(s.Stalled))
}

func fill(d []float64, v ...float64) int { return copy(d, v) }

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
