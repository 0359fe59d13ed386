package sim

// Ledger adds up what has crossed the boundary of the engine (air path,
// cylinders, manifold, turbo shaft, crank) since the start, so that mass and
// energy can be checked to round-off. J and kg. Nothing in the plant reads it.
type Ledger struct {
	AirKg, FuelKg, OxidiserKg, OutKg float64
	EnthalpyIn, EnthalpyOut          float64
	Released                         float64 // by combustion and decomposition in cylinders
	Oxidised                         float64 // by after-burning
	Afterburnt                       float64 // kg of fuel
	WallCyl, WallIntake, WallExhaust float64 // heat lost to coolant and surroundings
	Intercooler, TurboLoss           float64
	TurbineJ, CompressorJ            float64 // work of the two wheels, inside the boundary
	Exchange                         float64 // gas exchange: see doc.go, weaknesses
	Friction, Shaft, Recip           float64 // work done by the crank
	LaunchHeat                       float64 // in clutch or converter; outside the boundary
}

// step adds the crank's work of one sub-step.
func (l *Ledger) step(s *State) {
	f := &s.now
	l.Friction += float64(f.fricNm * f.turn)
	l.Shaft += float64(f.loadNm * f.turn)
	l.Recip -= float64(f.recipNm * f.turn)
}

// MassHeld is the gas and fuel in kg inside the engine boundary.
func (p *Plant) MassHeld() float64 {
	s := &p.State
	sum := s.PlenumKg + s.Trapping.Kg + s.PortKg + s.ManKg
	if p.model.car.Turbo.Fitted {
		sum += s.PipeKg
	}
	for k := range p.model.n {
		y := &s.Cyl[k]
		sum += y.Mass + y.Film + y.Injected
	}
	return sum
}

// EnergyHeld is the energy in J inside the engine boundary: gas, turbo shaft,
// crank, manifold wall. Unburnt fuel counts nothing until it burns.
func (p *Plant) EnergyHeld() float64 {
	m, s := p.model, &p.State
	sum := s.PlenumJ + s.Trapping.J + s.PortJ + s.ManJ + float64(s.ManWallK*m.car.Exhaust.WallJK)
	if m.car.Turbo.Fitted {
		sum += s.PipeJ + float64(0.5*m.car.Turbo.InertiaKgM2*s.TurboSpeed*s.TurboSpeed)
	}
	sum += float64(0.5 * m.car.Engine.InertiaKgM2 * s.Speed * s.Speed)
	for k := range m.n {
		sum += s.Cyl[k].Energy
	}
	return sum + s.binWork - s.binTaken + s.exhaustPV - s.intakePV
}

// MassError is in less out less growth of MassHeld, in kg, from the start
// values that MassHeld and the Ledger had.
func (l *Ledger) MassError(grown float64) float64 {
	return l.AirKg + l.FuelKg + l.OxidiserKg - l.OutKg - grown
}

// EnergyError is the same for energy, in J.
func (l *Ledger) EnergyError(grown float64) float64 {
	in := l.Released + l.Oxidised + l.EnthalpyIn + l.Exchange
	out := l.EnthalpyOut + l.WallCyl + l.WallIntake + l.WallExhaust + l.Intercooler +
		l.TurboLoss + l.Friction + l.Shaft + l.Recip
	return in - out - grown
}
