package sim

import "math"

const (
	stallSpeed = 35.0 // rad/s below which the engine is declared stalled
	gravity    = 9.80665
	slipFloor  = 0.3 // m/s
)

// step moves the whole plant on by dt: torques from the state as it is, then
// velocities, then positions and gases.
func (p *Plant) step(dt float64) {
	s := &p.State
	p.volumes()
	p.crankTorques()
	p.launch(dt)
	p.wheel(dt)
	p.car(dt)
	p.gases(dt)
	s.Ledger.step(s)
	s.BinRad += s.now.turn
	s.Within += dt
	s.Steps++
	if bad(s.Speed + s.PlenumJ + s.ManJ + s.TurboSpeed + s.V + s.Wheel + s.Twist) {
		p.guard()
	}
}

func bad(sum float64) bool { return !(sum-sum == 0) }

// crankTorques are the torques of the engine itself.
func (p *Plant) crankTorques() {
	m, s := p.model, &p.State
	f := &s.now
	if s.Stalled {
		f.gasNm, f.pumpNm, f.recipNm = 0, 0, 0
		f.fricNm = m.friction.at(s.Speed) * p.cold()
		return
	}
	f.gasNm = s.binWork / binRad
	f.pumpNm = (float64(f.manPa*m.vTotal) - float64(f.plenumPa*m.vIntake)) / (4 * math.Pi)
	f.fricNm = m.friction.at(s.Speed) * p.cold()
	f.recipNm = m.recip[s.Bin] * s.Speed * s.Speed
}

// cold is the friction factor of a cold engine: 1 at 90 C, the car's value at 20 C.
func (p *Plant) cold() float64 {
	return 1 + float64((p.model.car.Engine.ColdFactor-1)*clamp((363-p.cond.CoolantK)/70, 0, 1))
}

// Impulse is the torque that dry friction of a given capacity carries between
// two inertias over dt [10]: what makes both speeds equal at the end of it,
// cut at the capacity. wa and wb are the speeds that the other torques alone
// would give.
func Impulse(wa, wb, ja, jb, dt, capacity float64) float64 {
	t := (wa - wb) / (dt * (1/ja + 1/jb))
	return clamp(t, -capacity, capacity)
}

// launch moves crank and clutch disc or turbine through the launch device.
func (p *Plant) launch(dt float64) {
	m, s := p.model, &p.State
	f, la := &s.now, &m.car.Launch
	je, jg := m.car.Engine.InertiaKgM2, la.InertiaKgM2
	te := f.gasNm - f.pumpNm - f.fricNm + f.recipNm
	tg := -p.shaftBack()
	w0, g0 := s.Speed, s.Driven
	if la.Kind == "converter" {
		f.loadNm, f.outNm = p.converter(w0, g0)
		s.Driven = p.transHold(g0+dt*(tg+f.outNm)/jg, jg, dt)
	} else {
		a, b := w0+dt*te/je, g0+dt*tg/jg
		t := Impulse(a, b, je, jg, dt, p.clutchCapacity())
		f.loadNm, f.outNm = t, t
		s.Driven = b + dt*t/jg
	}
	s.Speed = w0 + dt*(te-f.loadNm)/je
	s.Accel = (s.Speed - w0) / dt
	f.slipSpeed = s.Speed - s.Driven
	s.Ledger.LaunchHeat += float64((float64(f.loadNm*0.5*(w0+s.Speed)) - float64(f.outNm*0.5*(g0+s.Driven))) * dt)
	p.turn(w0, dt)
}

// turn is the angle of the sub-step and the work done over it: torque is
// constant in a sub-step, so mean speed times dt is exact.
func (p *Plant) turn(w0, dt float64) {
	s := &p.State
	f := &s.now
	if s.Speed < 0 {
		s.Speed = 0
	}
	f.turn = 0.5 * (w0 + s.Speed) * dt
	s.binTaken += float64(f.gasNm * f.turn)
	s.exhaustPV += float64(f.manPa * p.model.vTotal / (4 * math.Pi) * f.turn)
	s.intakePV += float64(f.plenumPa * p.model.vIntake / (4 * math.Pi) * f.turn)
	if s.Stalled {
		f.turn = 0
		return
	}
	if s.Speed < stallSpeed {
		s.Stalled = true
	}
}

func (p *Plant) clutchCapacity() float64 {
	s := &p.State
	if s.ShiftLeft > 0 || s.Stalled && s.Speed == 0 && p.act.Clutch == 0 {
		return 0
	}
	return p.act.Clutch * p.model.car.Launch.ClutchNm
}

// converter gives impeller and turbine torque at two speeds [9; SAE J643,
// VDI 2153]: T_i = (w_i/K(SR))^2, T_t = R(SR) T_i; past lock-up the turbine
// drives with the mirrored K.
func (p *Plant) converter(wi, wt float64) (ti, tt float64) {
	m := p.model
	if wi < 1 && wt < 1 {
		return 0, 0
	}
	if wt <= wi {
		sr := max(0, wt/wi)
		q := wi / m.kFactor.at(sr)
		ti = q * q
		return ti, ti * m.tRatio.at(sr)
	}
	q := wt / m.kFactor.at(2-min(2, wt/max(wi, 0.5*wt)))
	return -q * q, -q * q
}

// transBrake follows the switch: letting go starts a dead time with its own
// scatter, taking it again holds at once.
func (p *Plant) transBrake() {
	s := &p.State
	l := &p.model.car.Launch
	held := p.act.TransBrake && l.TransNm > 0
	switch {
	case held:
		s.TransOff = -1
	case s.TransOff < 0:
		s.transUses++
		z := float64(normal(p.cond.Seed, streamRelease, s.transUses) * p.cond.CycleNoise)
		s.transDead = max(0, l.TransDeadS+float64(z*l.TransErrS))
		s.TransOff = 0
	}
}

func (p *Plant) transHold(w, j, dt float64) float64 {
	s := &p.State
	l := &p.model.car.Launch
	share := 1.0
	if s.TransOff >= 0 {
		share = 1 - clamp((s.TransOff-s.transDead)/l.TransRampS, 0, 1)
		s.TransOff += dt
	}
	if share == 0 {
		return w
	}
	most := share * l.TransNm * dt / j
	return w - clamp(w, -most, most)
}

// ratio is gearbox times final drive. A converter box blends from the old gear
// to the new over the shift; a clutch box changes at once, clutch open.
func (p *Plant) ratio() float64 {
	m, s := p.model, &p.State
	i := m.gears[s.Gear]
	if s.ShiftLeft > 0 && m.car.Launch.Kind == "converter" && m.gears[s.gearFrom] > 0 {
		i += (m.gears[s.gearFrom] - i) * s.ShiftLeft / m.car.Gearbox.ShiftS
	}
	return i * m.car.Gearbox.Final
}

// shaftBack sets the shaft torque at the wheel and returns what the gearbox
// feels of it at its input.
func (p *Plant) shaftBack() float64 {
	s := &p.State
	f, g := &s.now, &p.model.car.Gearbox
	f.ratio = p.ratio()
	if f.ratio == 0 {
		f.shaftNm = 0
		return 0
	}
	rate := s.Driven/f.ratio - s.Wheel
	f.shaftNm = float64(g.ShaftNmRad*lash(s.Twist, g.LashRad)) + float64(g.ShaftNms*rate)
	if g.LashRad > 0 && math.Abs(s.Twist) < 0.5*g.LashRad {
		f.shaftNm = 0
	}
	if f.shaftNm*s.Driven > 0 {
		return f.shaftNm / (f.ratio * g.Efficiency)
	}
	return f.shaftNm * g.Efficiency / f.ratio
}

func lash(twist, gap float64) float64 {
	return twist - clamp(twist, -0.5*gap, 0.5*gap)
}

// wheel moves the driven axle: shaft against tyre, brake and rolling drag.
func (p *Plant) wheel(dt float64) {
	s := &p.State
	f, ty := &s.now, &p.model.car.Tyre
	p.tyreForce()
	free := s.Wheel + dt*(f.shaftNm-float64(f.fx*ty.RadiusM))/ty.Inertia
	most := dt * (float64(p.act.FootBrake*ty.FootNm) + float64(ty.Rolling*f.fz*ty.RadiusM)) / ty.Inertia
	s.Wheel = free - clamp(free, -most, most)
	if f.ratio == 0 {
		s.Twist = 0
	} else {
		s.Twist += float64(dt * (s.Driven/f.ratio - s.Wheel))
	}
}

// gears starts and runs down gear changes, once a tick.
func (p *Plant) gears(dt float64) {
	s := &p.State
	if s.ShiftLeft > 0 {
		s.ShiftLeft = max(0, s.ShiftLeft-dt)
		return
	}
	if p.act.Gear == s.Gear {
		return
	}
	s.gearFrom, s.Gear = s.Gear, p.act.Gear
	s.ShiftLeft = p.model.car.Gearbox.ShiftS
	if p.model.car.Launch.Kind == "clutch" {
		s.Twist = 0
		if s.Gear > 0 {
			s.Driven = s.Wheel * p.model.gears[s.Gear] * p.model.car.Gearbox.Final // synchroniser
		}
	}
}
