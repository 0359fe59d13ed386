package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// Saturated nitrous oxide, correlations of ESDU 91022 as given in the sources
// list of doc.go; 183 K to 309 K.
const (
	n2oTc  = 309.57  // K
	n2oPc  = 7.251e6 // Pa
	n2oRho = 452.0   // kg/m3
	n2oTb  = 184.7   // K, normal boiling point
	n2oHb  = 376e3   // J/kg heat of evaporation there
	n2oCl  = 2500.0  // J/(kg K) of the liquid
)

// n2oPressure is the saturation pressure in Pa.
func n2oPressure(t float64) float64 {
	q := 1 - t/n2oTc
	r := math.Sqrt(q)
	s := float64(-6.71893*q) + float64(1.35966*q*r) - float64(1.3779*q*q*r) - float64(4.051*q*q*q*q*q)
	return n2oPc * fmath.Exp(s*n2oTc/t)
}

// n2oLiquid is the density of the boiling liquid in kg/m3.
func n2oLiquid(t float64) float64 {
	c := fmath.Pow(1-t/n2oTc, 1.0/3)
	s := float64(1.72328*c) - float64(0.8395*c*c) + float64(0.5106*c*c*c) - float64(0.10412*c*c*c*c)
	return n2oRho * fmath.Exp(s)
}

// n2oVapour is the density of the saturated vapour in kg/m3.
func n2oVapour(t float64) float64 {
	c := fmath.Pow(n2oTc/t-1, 1.0/3)
	s := float64(-1.009*c) - float64(6.28792*c*c) + float64(7.50332*c*c*c) - float64(7.90463*c*c*c*c) + float64(0.629427*c*c*c*c*c)
	return n2oRho * fmath.Exp(s)
}

// n2oEvaporation is the heat of evaporation in J/kg, a Watson scaling [illus]
// of the value at the normal boiling point.
func n2oEvaporation(t float64) float64 {
	x := (1 - t/n2oTc) / (1 - n2oTb/n2oTc)
	return n2oHb * fmath.Pow(x, 0.38)
}

// n2oJet is the flow in kg/s of saturated liquid through effective area a:
// single-phase Bernoulli flow, reduced by the flashing factor.
func n2oJet(a, flash, rho, pBottle, pBack float64) float64 {
	dp := pBottle - pBack
	if dp <= 0 {
		return 0
	}
	return flash * a * math.Sqrt(2*rho*dp)
}

// bottle updates the two-phase bottle once per tick: the liquid that is left
// boils to fill the space of what flowed out, and cools.
func (p *Plant) bottle(dt float64) {
	m, s := p.model, &p.State
	if !m.car.Nitrous.Fitted {
		return
	}
	t := clamp(s.BottleK, 200, 309)
	rl, rv := m.n2oRl.at(t), m.n2oRv.at(t)
	out := min(s.bottleOut, s.BottleKg)
	s.bottleOut = 0
	s.BottleKg -= out
	heat := float64(s.BottleKg*n2oCl) + m.car.Nitrous.ShellJK
	if heat > 1 {
		s.BottleK = t - rv/rl*out*m.n2oHv.at(t)/heat
	}
	s.BottlePa = m.n2oP.at(clamp(s.BottleK, 200, 309))
	if s.BottleKg <= 1e-6 {
		s.BottlePa = p.cond.AmbientPa
	}
	s.bottleRho = rl
	for i := range m.shots {
		p.valve(&s.Shot[i], p.act.NitrousDuty[i], dt)
		p.valve(&s.ShotFuel[i], p.act.NitrousFuel[i], dt)
	}
}

// Valve is one solenoid and the line behind it.
type Valve struct {
	Phase  float64 // 0 to 1 of the carrier period
	Dead   float64 // s until a changed command starts to move the plunger
	On     bool    // command as last seen
	Lift   float64 // 0 to 1
	LineKg float64 // what the line to the jet holds
}

// valve moves a solenoid by dt towards its duty: 0 shut, 1 open, between them
// the carrier.
func (p *Plant) valve(v *Valve, duty, dt float64) {
	n := &p.model.car.Nitrous
	v.Phase += float64(dt * n.PwmHz)
	if v.Phase >= 1 {
		v.Phase -= 1
	}
	on := duty > v.Phase
	if duty <= 0 {
		v.Phase = 0 // the carrier starts anew, so the first pulse is whole
	}
	if on != v.On {
		v.On = on
		v.Dead = n.CloseS
		if on {
			v.Dead = n.OpenS
		}
	}
	move := dt
	if v.Dead > 0 {
		move = max(0, dt-v.Dead)
		v.Dead = max(0, v.Dead-dt)
	}
	goal := 0.0
	if on {
		goal = 1
	}
	v.Lift += float64((goal - v.Lift) * settle(move/n.LagS))
	if v.Lift < 1e-4 {
		v.Lift = 0
	}
}

// nitrousFlow gives what the jets pass into the plenum during dt: oxidiser
// and, in a wet system, fuel, in kg. A line fills and empties as a first-order
// lag whose time constant is its content over the jet flow, so opening is late
// and closing leaves a tail.
func (p *Plant) nitrousFlow(dt, plenumPa float64) (ox, fuel float64) {
	m, s := p.model, &p.State
	for i := range m.shots {
		v := &s.Shot[i]
		if m.car.Nitrous.Wet {
			fuel += float64(s.ShotFuel[i].Lift * m.shotFuel[i] * dt)
		}
		if v.Lift == 0 && v.LineKg == 0 {
			continue
		}
		jet := n2oJet(m.jet[i], m.car.Nitrous.Flash, s.bottleRho, s.BottlePa, plenumPa)
		in := float64(v.Lift * jet * dt)
		full := m.lineM3 * s.bottleRho
		grow := 0.0
		if full > 0 {
			grow = (float64(v.Lift*full) - v.LineKg) * settle(jet*dt/full)
		}
		v.LineKg += grow
		if v.Lift == 0 && v.LineKg < 1e-9 {
			in += v.LineKg // the last trace, so that a shut shot comes to rest
			v.LineKg = 0
		}
		ox += in - grow
		s.bottleOut += float64(v.Lift * jet * dt)
	}
	return ox, fuel
}
