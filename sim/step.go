package sim

import "math"

func (p *Plant) endTick() Stop {
	s := &p.State
	dt := p.cond.TickS
	p.bottle(dt)
	p.gears(dt)
	p.sense(dt)
	p.guard()
	s.Tick++
	s.Within = 0
	if s.fault.Bad() {
		return Stop{Why: Diverged}
	}
	return Stop{Why: TickEnd}
}

// command takes over the actuators with every value forced into its range.
func (p *Plant) command(in *Actuators) {
	a := &p.act
	*a = *in
	a.Throttle = clamp(a.Throttle, 0, 1)
	a.Clutch = clamp(a.Clutch, 0, 1)
	a.FootBrake = clamp(a.FootBrake, 0, 1)
	if !(a.BoostPa > 0) {
		a.BoostPa = p.model.car.Turbo.BoostLimitKPa * 1e3
	}
	if !(a.Mixture > 0) {
		a.Mixture = 1
	}
	a.Mixture = min(a.Mixture, 3)
	a.Gear = min(max(a.Gear, 0), len(p.model.car.Gearbox.Ratios))
	for i := range a.NitrousDuty {
		a.NitrousDuty[i] = clamp(a.NitrousDuty[i], 0, 1)
		a.NitrousFuel[i] = clamp(a.NitrousFuel[i], 0, 1)
	}
	p.transBrake()
}

// plan chooses the next sub-step: even parts of the way to the bin edge, none
// longer than the limit, cut at the end of the tick.
func (p *Plant) plan() float64 {
	s := &p.State
	left := p.cond.TickS - s.Within
	dt := p.stepS
	if !s.Stalled {
		dt = p.toEdge()
	}
	if dt > left-1e-9 {
		return left
	}
	return dt
}

// toEdge is the time to the bin edge, with the acceleration of the last
// sub-step, or an even part of it.
func (p *Plant) toEdge() float64 {
	s := &p.State
	way := binRad - s.BinRad
	w := clamp(s.Speed+float64(0.5*s.Accel*(way/s.Speed)), 0.5*s.Speed, 2*s.Speed)
	dt := way / w
	if dt <= 1.25*p.stepS {
		return dt
	}
	return dt / math.Ceil(dt/p.stepS)
}

// cross handles the events on the bin edge just reached. It returns false,
// with everything untouched, when one of them is a commit without a decision.
func (p *Plant) cross() bool {
	m, s := p.model, &p.State
	for _, d := range m.agenda[s.Bin] {
		if p.undecided(d) {
			s.waiting = true
			return false
		}
	}
	s.waiting = false
	for _, d := range m.agenda[s.Bin] {
		p.happen(d)
	}
	s.workDebt = s.binWork - s.binTaken
	s.binWork, s.binTaken = s.workDebt, 0
	for k := range m.n {
		j := s.Bin - m.slot[k] - ivcDeg/binDeg
		if j < 0 {
			j += bins
		}
		if j < 0 {
			j += bins
		}
		if j < traceBins {
			y := &s.Cyl[k]
			s.binWork += y.work[j]
			y.Energy -= y.work[j]
		}
	}
	p.edge()
	return true
}

func (p *Plant) happen(d due) {
	switch d.kind {
	case dueEVO:
		p.exhaust(d.cyl)
	case dueTDC:
		p.State.Cyl[d.cyl].Cycle++
	case dueIVC:
		p.trap(d.cyl)
	case dueFuel:
		p.inject(d.cyl)
	case dueSpark:
		p.ignite(d.cyl)
	}
}
