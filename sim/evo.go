package sim

// exhaust is EVO: what stays behind is found by isentropic expansion to the
// manifold pressure, and what leaves carries the enthalpy that the first law
// leaves over. Nothing else sets the exhaust temperature.
func (p *Plant) exhaust(k int) {
	m, s := p.model, &p.State
	y := &s.Cyl[k]
	if y.IvcPa == 0 {
		return // never closed since the start
	}
	man := s.now.manPa
	bd := 0.0
	for j := range m.blowMan {
		w := float64(man*m.blowMan[j]) + float64(y.EvoPa*m.blowEvo[j])
		y.work[44+j] = w
		bd += w
	}
	s.Ledger.Released += y.Released
	s.Ledger.WallCyl += y.WallJ
	t := y.EvoK * m.pBlow.at(man/y.EvoPa)
	res := min(man*m.vClear/(gasR*t), 0.9*y.Mass)
	left := bd + float64(res*uBurnt(t))
	held := y.Energy + y.Released - y.WallJ // equals EvoJ
	s.PortJ += held + s.exhaustPV - left
	s.exhaustPV = 0
	y.Energy = left
	p.species(y, res)
	s.PortKg += y.Mass - res
	y.Mass, y.Res, y.ResK = res, res, t
	p.finish(k, y)
}

// species splits unburnt fuel and oxygen between residual and port. Of a
// charge that did not burn only a share mixes well enough to burn later.
func (p *Plant) species(y *Cylinder, res float64) {
	s := &p.State
	o2, fuel := y.oxygen(), y.Fuel+y.ResFuel
	burnt := float64(min(fuel, o2/oxPerFuel) * y.Burnt)
	o2 -= float64(burnt * oxPerFuel)
	fuel -= burnt
	keep := res / y.Mass
	y.ResO2, y.ResFuel = max(0, o2*keep), max(0, fuel*keep)
	mix := 1.0
	if !y.Fired {
		mix = p.model.car.Exhaust.MixShare
	}
	s.PortO2 += max(0, o2*(1-keep))
	s.PortFuel += float64(max(0, fuel*(1-keep)) * mix)
}

// finish closes the books of a cycle and reports it.
func (p *Plant) finish(k int, y *Cylinder) {
	m := p.model
	sum := 0.0
	for _, w := range y.work {
		sum += w
	}
	y.GrossJ = sum
	y.Imep = sum / m.vCyl
	p.report(Event{
		Time: p.Time(), Cylinder: m.number[k], Cycle: y.Cycle - 1,
		Fuel: y.FuelDone, Spark: y.SparkDone, Fired: y.Fired, Misfired: y.Misfired,
		AdvanceDeg: y.advance, CA50: y.CA50, Burnt: y.Burnt, Lambda: y.Lambda,
		ImepPa: y.Imep, PeakPa: y.PeakPa, PeakDeg: y.PeakDeg,
	})
}
