package sim

// openPipe is the exhaust of an engine without a turbo: one orifice.
func (p *Plant) openPipe(float64) {
	f := &p.State.now
	f.downPa = p.cond.AmbientPa
	f.wg = p.model.gas.flow(p.model.car.Exhaust.OrificeM2, f.manPa, f.manK, f.downPa, p.cond.AmbientK)
	f.turb, f.turbW = 0, 0
}

// manifold is the exhaust volume: ports in, turbine and wastegate out, wall,
// after-burning.
func (p *Plant) manifold(dt float64) {
	m, s := p.model, &p.State
	f, l := &s.now, &s.Ledger
	p.release()
	out := float64((f.turb + f.wg) * dt)
	h := out * hBurnt(f.manK)
	if out < 0 {
		h = out * hBurnt(p.cond.AmbientK)
	}
	part := max(out/s.ManKg, 0)
	s.ManKg -= out
	s.ManJ -= h
	s.ManFuel -= float64(part * s.ManFuel)
	s.ManO2 -= min(out, part*s.ManO2)
	if out < 0 {
		s.ManO2 -= float64(out * oxInAir)
	}
	l.OutKg += out
	l.EnthalpyOut += h - float64(f.turbW*dt) // the turbine works on the gas that left
	p.afterburn(dt)
	p.exhaustWall(dt, m)
}

// release lets the ports empty into the manifold, a fixed share per angle.
func (p *Plant) release() {
	s := &p.State
	share := settle(s.now.turn * degPerRad / p.model.car.Exhaust.PortDeg)
	kg, j, fuel, o2 := float64(share*s.PortKg), float64(share*s.PortJ), float64(share*s.PortFuel), float64(share*s.PortO2)
	s.PortKg -= kg
	s.PortJ -= j
	s.PortFuel -= fuel
	s.PortO2 -= o2
	s.ManKg += kg
	s.ManJ += j
	s.ManFuel += fuel
	s.ManO2 += o2
}

// afterburn burns fuel in the manifold as fast as mixing and the overall
// hydrocarbon rate [1, ch. 11] let it, while there is oxygen.
func (p *Plant) afterburn(dt float64) {
	m, s := p.model, &p.State
	f := &s.now
	f.afterburnW = 0
	if s.ManFuel < 1e-10 || s.ManO2 <= 0 {
		return
	}
	x := &m.car.Exhaust
	rate := min(x.MixRate, m.oxidise.at(f.manK)*s.ManO2/s.ManKg*10)
	burn := min(s.ManFuel*settle(rate*dt), s.ManO2/oxPerFuel)
	s.ManFuel -= burn
	s.ManO2 -= float64(burn * oxPerFuel)
	q := float64(burn * fuelLHV * x.OxEff)
	s.ManJ += q
	s.Ledger.Oxidised += q
	s.Ledger.Afterburnt += burn
	f.afterburnW = q / dt
}

// exhaustWall moves heat from gas to wall and from wall to the surroundings [14].
func (p *Plant) exhaustWall(dt float64, m *Model) {
	s := &p.State
	f, x := &s.now, &m.car.Exhaust
	flow := max(0, f.turb+f.wg)
	q := float64(x.WallWK * m.p08.at(flow*10) * (f.manK - s.ManWallK) * dt)
	lost := float64(x.WallOutWK * (s.ManWallK - p.cond.AmbientK) * dt)
	s.ManJ -= q
	s.ManWallK += (q - lost) / x.WallJK
	s.Ledger.WallExhaust += lost
}
