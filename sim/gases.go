package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// flows are the momentary values of one sub-step: what the truth channels show.
type flows struct {
	plenumPa, plenumK float64
	pipePa, pipeK     float64
	manPa, manK       float64
	downPa            float64
	throttle, comp    float64 // kg/s
	engine, turb, wg  float64 // kg/s
	oxidiser          float64 // kg/s into the plenum
	turbW, compW      float64
	afterburnW        float64
	turn              float64 // rad of the crank in this sub-step
	gasNm, fricNm     float64
	pumpNm, recipNm   float64
	loadNm            float64 // engine side of the launch device
	outNm             float64 // its gearbox side
	shaftNm           float64
	slipSpeed         float64 // rad/s across clutch or converter
	fx, fz, mu        float64
	ratio             float64 // gearbox and final
	compEta, turbEta  float64
}

// volumes turns mass and energy into temperature and pressure.
func (p *Plant) volumes() {
	m, s := p.model, &p.State
	f := &s.now
	f.plenumK = tFromU(freshA, s.PlenumJ/s.PlenumKg)
	f.plenumPa = s.PlenumKg * gasR * f.plenumK / m.plenumM3
	f.pipePa, f.pipeK = p.cond.AmbientPa, p.cond.AmbientK
	if m.car.Turbo.Fitted {
		f.pipeK = tFromU(freshA, s.PipeJ/s.PipeKg)
		f.pipePa = s.PipeKg * gasR * f.pipeK / m.pipeM3
	}
	f.manK = tFromU(burntA, s.ManJ/s.ManKg)
	f.manPa = s.ManKg * gasR * f.manK / m.manifoldM3
}

// breathing is the volumetric efficiency at plenum density [3, 5]:
//
//	eta(N) (eps - (p_em/p_im)^(1/1.35)) / (eps - 1)
func (p *Plant) breathing() float64 {
	m, s := p.model, &p.State
	eps := m.car.Engine.Compression
	back := m.pBreath.at(s.now.manPa / s.now.plenumPa)
	return max(0.02, m.eta.at(s.Speed)*(eps-back)/(eps-1))
}

// gases moves every gas volume on by dt. The crank has already turned.
func (p *Plant) gases(dt float64) {
	p.intake(dt)
	if p.model.car.Turbo.Fitted {
		p.turbo(dt)
	} else {
		p.openPipe(dt)
	}
	p.manifold(dt)
}

// ThrottleArea is the effective area in m2 at a plate opening 0..1: a round
// plate in a round bore that starts closed across it.
func (m *Model) ThrottleArea(open float64) float64 {
	return m.leakM2 + float64(m.throttleM2*(1-fmath.Cos(open*math.Pi/2)))
}

func (p *Plant) intake(dt float64) {
	m, s := p.model, &p.State
	f, l := &s.now, &s.Ledger
	if p.act.Throttle != s.plateAt || s.plateM2 == 0 {
		s.plateAt = p.act.Throttle
		s.plateM2 = m.ThrottleArea(s.plateAt)
	}
	f.throttle = m.air.flow(s.plateM2, f.pipePa, f.pipeK, f.plenumPa, f.plenumK)
	h := hFresh(f.pipeK)
	if f.throttle < 0 {
		h = hFresh(f.plenumK)
	}
	in := float64(f.throttle * dt)
	p.engineTakes(dt)
	s.PlenumKg += in
	s.PlenumJ += float64(in * h)
	wall := float64(m.car.Intake.WallWK * (m.car.Intake.WallK - f.plenumK) * dt)
	s.PlenumJ += wall
	l.WallIntake -= wall
	if m.shots > 0 {
		p.addOxidiser(dt)
	}
	if m.car.Turbo.Fitted {
		s.PipeKg -= in
		s.PipeJ -= float64(in * h)
		return
	}
	l.AirKg += in
	l.EnthalpyIn += float64(in * h)
}

// engineTakes moves the speed-density flow from plenum to the trapping store.
func (p *Plant) engineTakes(dt float64) {
	m, s := p.model, &p.State
	f := &s.now
	pv := m.vTotal / (4 * math.Pi) * f.turn
	out := min(p.breathing()*f.plenumPa/(gasR*f.plenumK)*pv, 0.5*s.PlenumKg)
	f.engine = out / dt
	h := float64(out * hFresh(f.plenumK))
	part := out / s.PlenumKg
	ox, fuel := float64(part*s.PlenumN2O), float64(part*s.PlenumFuel)
	s.PlenumKg -= out
	s.PlenumJ -= h
	s.PlenumN2O -= ox
	s.PlenumFuel -= fuel
	t := &s.Trapping
	t.Kg += out
	t.J += h
	t.N2O += ox
	t.Fuel += fuel
}

const wetEvapJ = 350e3 // J/kg taken up by fuel sprayed beside the oxidiser

func (p *Plant) addOxidiser(dt float64) {
	m, s := p.model, &p.State
	f, l := &s.now, &s.Ledger
	ox, fuel := p.nitrousFlow(dt, f.plenumPa)
	f.oxidiser = ox / dt
	if ox == 0 && fuel == 0 {
		return
	}
	h := float64(ox*hFresh(max(f.plenumK-m.car.Nitrous.ChillK, 60))) + float64(fuel*(hFresh(f.plenumK)-wetEvapJ))
	s.PlenumKg += ox + fuel
	s.PlenumJ += h
	s.PlenumN2O += ox
	s.PlenumFuel += fuel
	l.OxidiserKg += ox
	l.FuelKg += fuel
	l.EnthalpyIn += h
}
