package sim

import "math"

// load is the vertical load on the driven axle in N: static share, and load
// transfer of which a part follows the acceleration at once and the rest
// through the pitch of the body [16, 18].
func (p *Plant) load() float64 {
	s := &p.State
	b := &p.model.car.Body
	w := b.MassKg * gravity
	if b.Drive == "all" {
		return w
	}
	felt := float64(b.Direct*s.A) + float64((1-b.Direct)*s.Pitch)
	moved := b.MassKg * b.HeightM / b.BaseM * felt
	if b.Drive == "front" {
		moved = -moved
	}
	return clamp(float64(w*b.DrivenPart)+moved, 0.02*w, w)
}

// staticLoad is the load that the tyre's nominal friction belongs to.
func (m *Model) staticLoad() float64 {
	b := &m.car.Body
	if b.Drive == "all" {
		return b.MassKg * gravity
	}
	return b.MassKg * gravity * b.DrivenPart
}

// tyreForce sets the longitudinal force of the driven axle [17].
func (p *Plant) tyreForce() {
	m, s := p.model, &p.State
	f, ty := &s.now, &m.car.Tyre
	f.fz = p.load()
	slide := float64(ty.RadiusM*s.Wheel) - s.V
	grip := p.cond.Grip + float64(p.cond.GripPerM*s.X)
	mu := ty.Mu0 * max(grip, 0.01) * m.pLoad.at(f.fz/m.staticLoad()) / (1 + math.Abs(slide)/ty.SpeedMS)
	f.mu = mu
	most := mu * f.fz
	fx := float64(most * m.magic.at(s.Slip))
	if v := math.Abs(s.V); v < 1 {
		fx += float64(ty.DampNsM * slide * (1 - v))
	}
	f.fx = clamp(fx, -most, most)
}

// car moves the body, the pitch filter and the tyre's slip.
func (p *Plant) car(dt float64) {
	s := &p.State
	f, b, ty := &s.now, &p.model.car.Body, &p.model.car.Tyre
	rho := p.cond.AmbientPa / (gasR * p.cond.AmbientK)
	drag := float64(0.5 * rho * b.CdA * s.V * math.Abs(s.V))
	mass := b.MassKg + b.RotKg
	v0 := s.V
	free := v0 + dt*(f.fx-drag)/mass
	rest := max(0, float64(b.MassKg*gravity)-f.fz)
	brake := min(p.act.FootBrake*ty.FootFreeN, f.mu*rest)
	most := dt * (float64(ty.Rolling*rest) + brake) / mass
	s.V = free - clamp(free, -most, most)
	s.A = (s.V - v0) / dt
	w := 2 * math.Pi * b.PitchHz
	s.PitchRate += float64(dt * (float64(w*w*(s.A-s.Pitch)) - float64(2*b.PitchZeta*w*s.PitchRate)))
	s.Pitch += float64(dt * s.PitchRate)
	p.slip(dt, ty)
	x0 := s.X
	s.X += float64(0.5 * (v0 + s.V) * dt)
	p.clocks(x0, dt)
}

// slip relaxes towards the steady slip over the relaxation length.
func (p *Plant) slip(dt float64, ty *Tyre) {
	s := &p.State
	rw := float64(ty.RadiusM * s.Wheel)
	den := max(math.Abs(rw), math.Abs(s.V), slipFloor)
	goal := (rw - s.V) / den
	s.Slip += float64((goal - s.Slip) * settle(den*dt/ty.RelaxM))
}

// clocks notes crossings of the beams, interpolated inside the sub-step that
// went from x0 to where the car is now.
func (p *Plant) clocks(x0, dt float64) {
	s := &p.State
	t0, x1 := p.Time(), s.X
	c := &s.Strip
	if c.Moved == 0 && x1 > 1e-3 {
		c.Moved = t0
	}
	if x1 <= x0 {
		return
	}
	hit := func(mark float64) float64 { return t0 + dt*(mark-x0)/(x1-x0) }
	if c.Left == 0 && x1 >= p.cond.Rollout {
		c.Left = hit(p.cond.Rollout)
	}
	for i, mark := range Marks {
		at := mark + p.cond.MarkFrom
		if c.At[i] == 0 && x1 >= at {
			c.At[i] = hit(at)
		}
		if c.At[i] == 0 {
			return
		}
	}
}

// Elapsed is the time in s from clearing the stage beam to mark i, 0 while the
// mark lies ahead.
func (s *Strip) Elapsed(i int) float64 {
	if s.At[i] == 0 {
		return 0
	}
	return s.At[i] - s.Left
}

// Trap is the mean speed in m/s over the last 66 ft before the eighth (false)
// or the quarter mile (true), 0 while it lies ahead.
func (s *Strip) Trap(quarter bool) float64 {
	a, b := 2, 3
	if quarter {
		a, b = 5, 6
	}
	if s.At[b] == 0 {
		return 0
	}
	return (Marks[b] - Marks[a]) / (s.At[b] - s.At[a])
}
