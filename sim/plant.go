package sim

// Plant is one car being run. It is used by one goroutine; any number of
// plants may share a Model.
type Plant struct {
	State State

	// TeethStop makes Advance return at every bin edge as well, for traces
	// with one row a tooth. It does not change the run.
	TeethStop bool

	model *Model
	cond  Conditions
	act   Actuators
	pitch [60]float64 // deg, fixed errors of the tooth wheel
	stepS float64
}

// New puts a car on the line. It allocates; nothing after it does.
func New(m *Model, c Conditions) *Plant {
	p := &Plant{model: m}
	p.Reset(c)
	return p
}

// Reset starts over under other conditions, without allocating.
func (p *Plant) Reset(c Conditions) {
	p.cond = c.sane()
	p.act = Actuators{}
	p.State = State{}
	p.stepS = min(p.cond.StepS, p.model.stepMax)
	p.pitchPattern()
	p.start()
}

// Model returns the car's model.
func (p *Plant) Model() *Model { return p.model }

// Time is s since the start plus Conditions.StartS. It is computed from counts
// and does not drift.
func (p *Plant) Time() float64 {
	return p.cond.StartS + float64(float64(p.State.Tick)*p.cond.TickS) + p.State.Within
}

// RPM is the momentary crank speed.
func (p *Plant) RPM() float64 { return p.State.Speed * rpmPerRad }

// ManifoldPa is the absolute plenum pressure.
func (p *Plant) ManifoldPa() float64 { return p.State.now.plenumPa }

// AngleDeg is the crank angle, 0 to 720 from the firing dead centre of the
// first cylinder in firing order.
func (p *Plant) AngleDeg() float64 {
	a := float64(binDeg*float64(p.State.Bin)) + float64(p.State.BinRad*degPerRad)
	if a < 0 {
		a += cycleDeg
	}
	return a
}

// Fault tells what stopped a run; see Stop.
func (p *Plant) Fault() Fault { return p.State.fault }

func (p *Plant) start() {
	m, s, c := p.model, &p.State, &p.cond
	s.Speed = c.StartRPM / rpmPerRad
	s.Stalled = s.Speed < stallSpeed
	s.Gear = min(max(c.Gear, 0), len(m.car.Gearbox.Ratios))
	s.PlenumKg, s.PlenumJ = charge(c.AmbientPa, c.AmbientK, m.plenumM3, freshA)
	s.PipeKg, s.PipeJ = charge(c.AmbientPa, c.AmbientK, m.pipeM3, freshA)
	s.ManKg, s.ManJ = charge(c.AmbientPa, 700, m.manifoldM3, burntA)
	s.ManO2 = 0.1 * s.ManKg
	s.ManWallK = m.car.Exhaust.WallStartK
	s.TurboSpeed = 500
	s.BottleKg, s.BottleK = m.car.Nitrous.BottleKg, c.BottleK
	s.BottlePa, s.bottleRho = m.n2oP.at(c.BottleK), m.n2oRl.at(c.BottleK)
	s.TransOff = 1e6
	for k := range m.n {
		y := &s.Cyl[k]
		y.ResK = 600
		y.Res = c.AmbientPa * m.vClear / (gasR * y.ResK)
		y.Mass = y.Res
		y.Energy = y.Res * uBurnt(y.ResK)
	}
	p.volumes()
	p.startSensors()
}

func charge(pa, k, v, a float64) (kg, j float64) {
	kg = pa * v / (gasR * k)
	return kg, kg * k * (a + float64(0.5*gasB*k))
}

// StopKind says why Advance returned.
type StopKind uint8

const (
	TickEnd      StopKind = iota // the tick is over
	NeedDecision                 // Stop.Commit is reached and undecided: Decide, then Advance again
	ToothEdge                    // a bin edge, if Plant.TeethStop
	Diverged                     // the run left the range of the equations: Plant.Fault tells where
)

// Stop is why Advance returned.
type Stop struct {
	Why    StopKind
	Commit Commit
}

// Advance runs to the end of the present tick. It returns early at a commit
// for which no decision lies ready; the same tick goes on with the next call.
// A diverged plant stays where it is.
func (p *Plant) Advance(in *Actuators) Stop {
	s := &p.State
	p.command(in)
	if s.fault.Bad() {
		return Stop{Why: Diverged}
	}
	if s.waiting && !p.cross() {
		return Stop{NeedDecision, s.waitFor}
	}
	// A remainder of rounding is no sub-step: rates taken over it would read zero.
	for p.cond.TickS-s.Within > 1e-12 {
		p.step(p.plan())
		if s.fault.Bad() {
			return Stop{Why: Diverged}
		}
		if s.BinRad < binRad*(1-2e-3) {
			continue
		}
		s.BinRad -= binRad
		s.Bin = (s.Bin + 1) % bins
		if !p.cross() {
			return Stop{NeedDecision, s.waitFor}
		}
		if p.TeethStop {
			return Stop{Why: ToothEdge}
		}
	}
	return p.endTick()
}
