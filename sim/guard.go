package sim

// limit is one guarded quantity: outside it the equations mean nothing.
type limit struct {
	name, parameter string
	min, max        float64
	get             func(*State) float64
}

var limits = [...]limit{
	{"crank speed, rad/s", "engine.inertia_kgm2", 0, 1400, func(s *State) float64 { return s.Speed }},
	{"plenum mass, kg", "intake.plenum_l", 1e-7, 10, func(s *State) float64 { return s.PlenumKg }},
	{"plenum temperature, K", "intake.plenum_l", 60, 1500, func(s *State) float64 { return s.now.plenumK }},
	{"plenum pressure, Pa", "intake.plenum_l", 500, 2e6, func(s *State) float64 { return s.now.plenumPa }},
	{"charge pipe temperature, K", "intake.charge_pipe_l", 60, 1500, func(s *State) float64 { return s.now.pipeK }},
	{"charge pipe pressure, Pa", "intake.charge_pipe_l", 500, 2e6, func(s *State) float64 { return s.now.pipePa }},
	{"manifold mass, kg", "exhaust.volume_l", 1e-7, 10, func(s *State) float64 { return s.ManKg }},
	{"manifold temperature, K", "exhaust.volume_l", 100, 4000, func(s *State) float64 { return s.now.manK }},
	{"manifold pressure, Pa", "exhaust.volume_l", 2e4, 3e6, func(s *State) float64 { return s.now.manPa }},
	{"turbo speed, rad/s", "turbo.inertia_kgm2", 0, 60000, func(s *State) float64 { return s.TurboSpeed }},
	{"bottle temperature, K", "nitrous.bottle_kg", 0, 320, func(s *State) float64 { return s.BottleK }},
	{"driven shaft speed, rad/s", "launch.inertia_kgm2", -2000, 4000, func(s *State) float64 { return s.Driven }},
	{"wheel speed, rad/s", "tyre.inertia_kgm2", -300, 1500, func(s *State) float64 { return s.Wheel }},
	{"shaft twist, rad", "gearbox.shaft_nm_rad", -20, 20, func(s *State) float64 { return s.Twist }},
	{"tyre slip", "tyre.relaxation_m", -2, 2, func(s *State) float64 { return s.Slip }},
	{"car speed, m/s", "body.mass_kg", -50, 250, func(s *State) float64 { return s.V }},
	{"filtered acceleration, m/s2", "body.pitch_hz", -500, 500, func(s *State) float64 { return s.Pitch }},
}

// guard looks whether every quantity is finite and in its range, and stops the
// run at the first that is not. It runs once a tick, and at once when a sum of
// the fast states stops being finite.
func (p *Plant) guard() {
	s := &p.State
	for i := range limits {
		l := &limits[i]
		v := l.get(s)
		if v >= l.min && v <= l.max {
			continue
		}
		s.fault = Fault{Time: p.Time(), State: l.name, Value: v, Min: l.min, Max: l.max, Parameter: l.parameter}
		return
	}
}
