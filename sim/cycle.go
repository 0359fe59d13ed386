package sim

import "math"

// inject is the fuel commit: the decision is taken, and when fuel is given the
// air that the coming intake will take is estimated by speed-density.
func (p *Plant) inject(k int) {
	m, s := p.model, &p.State
	y := &s.Cyl[k]
	y.fuelSet, y.fuelListed = false, false
	y.FuelDone, y.SparkDone = y.fuelGive, false
	y.Injected = 0
	if !y.fuelGive {
		return
	}
	f := &s.now
	air := float64(p.breathing() * f.plenumPa / (gasR * f.plenumK) * m.vCyl)
	fl := &m.car.Fuel
	y.shots++
	err := float64(fl.InjectorErr * p.cond.CycleNoise * normal(p.cond.Seed, streamInject+uint64(k)<<8, y.shots))
	want := float64(air / (afrStoich * fl.Lambda) * p.act.Mixture * (1 + err))
	y.Injected = min(want+p.dryFuel(), p.injectorMost())
	s.Ledger.FuelKg += y.Injected
}

// dryFuel is the extra port fuel of one cylinder and cycle in a dry system.
func (p *Plant) dryFuel() float64 {
	m := p.model
	if m.shots == 0 || m.car.Nitrous.Wet {
		return 0
	}
	rate := 0.0
	for i := range m.shots {
		rate += float64(p.act.NitrousFuel[i] * m.shotFuel[i])
	}
	return rate * p.cycleTime() / float64(m.n)
}

// injectorMost is what the injector can pass in nine tenths of a cycle.
func (p *Plant) injectorMost() float64 {
	fl := &p.model.car.Fuel
	return fl.InjectorGS * 1e-3 * max(0, float64(0.9*p.cycleTime())-fl.InjectorDead)
}

func (p *Plant) cycleTime() float64 { return 4 * math.Pi / max(p.State.Speed, 1) }

// trap is IVC: the cylinder takes what has left the plenum since the last IVC,
// fuel from injector and port film [6, 7], and mixes it with the residual.
func (p *Plant) trap(k int) {
	m, s := p.model, &p.State
	y := &s.Cyl[k]
	in := s.Trapping
	s.Trapping = Charge{}
	y.Fuel = p.film(y) + in.Fuel
	y.N2O = in.N2O
	y.Air = in.Kg - in.N2O - in.Fuel
	fresh := in.Kg + y.Fuel - in.Fuel
	y.Mass = fresh + y.Res
	y.IvcK = p.mixture(y, in, fresh)
	y.IvcPa = y.Mass * gasR * y.IvcK / m.vIvc
	y.Lambda = 99
	if fuel := y.Fuel + y.ResFuel; fuel > 0 {
		y.Lambda = min(99, y.oxygen()/(oxPerFuel*fuel))
	}
	u := float64(y.Mass * uBurnt(y.IvcK))
	got := y.Energy + in.J - s.intakePV
	s.Ledger.Exchange += u - got
	s.intakePV = 0
	y.Energy = u
	p.motor(y)
}

func (y *Cylinder) oxygen() float64 { return float64(oxInAir*y.Air) + float64(oxInN2O*y.N2O) + y.ResO2 }

// film moves fuel between injector, port wall and cylinder and returns what
// enters the cylinder.
func (p *Plant) film(y *Cylinder) float64 {
	fl := &p.model.car.Fuel
	off := float64(y.Film * settle(p.cycleTime()/fl.FilmS))
	on := float64(fl.FilmShare * y.Injected)
	in := y.Injected - on + off
	y.Film += on - off
	y.Injected = 0
	return in
}

// mixture is the temperature at IVC by mixing enthalpies: fresh charge after
// port heating and fuel evaporation, and residual.
func (p *Plant) mixture(y *Cylinder, in Charge, fresh float64) float64 {
	c := &p.model.car.Combustion
	if fresh < 1e-9 {
		return y.ResK
	}
	cold := float64(c.EvapK * min(1, y.Fuel*afrStoich/max(y.Air, 1e-9)))
	t := tFromHFresh(in.J/max(in.Kg, 1e-9)) + c.PortHeatK - cold
	h := float64(fresh*hFresh(t)) + float64(y.Res*hBurnt(y.ResK))
	a := (float64(fresh*freshA) + float64(y.Res*burntA)) / y.Mass
	return tFromU(a+gasR, h/y.Mass)
}

// motor writes the work of a cycle without combustion: two polytropes. Their
// exponents leave a small loss, which is the heat to the wall.
func (p *Plant) motor(y *Cylinder) {
	m := p.model
	sum := 0.0
	for j := range m.unitWork {
		y.work[j] = float64(y.IvcPa * m.unitWork[j])
		sum += y.work[j]
	}
	y.EvoPa = y.IvcPa * m.motored[132]
	y.EvoK = y.EvoPa * m.vEvo / (y.Mass * gasR)
	y.EvoJ = float64(y.Mass * uBurnt(y.EvoK))
	y.Released, y.Burnt = 0, 0
	y.WallJ = float64(y.Mass*uBurnt(y.IvcK)) - sum - y.EvoJ
	y.Fired, y.Misfired = false, false
	y.CA50, y.SparkDeg = 0, 0
	y.PeakPa, y.PeakDeg = y.IvcPa*m.motored[66], 0
}
