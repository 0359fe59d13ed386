package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// turbo is compressor, intercooler, turbine, wastegate, down-pipe and shaft [4, 13].
func (p *Plant) turbo(dt float64) {
	s := &p.State
	f := &s.now
	t := &p.model.car.Turbo
	p.compressor(dt)
	q := s.exhaustFlow
	f.downPa = p.cond.AmbientPa + float64(t.DownPipe*1e3*q*q*f.manK)
	nm := p.turbine()
	goal := clamp((f.pipePa-p.act.BoostPa)/(t.WastegateKPa*1e3), 0, 1)
	s.Wastegate += float64((goal - s.Wastegate) * settle(dt/t.WastegateS))
	f.wg = p.model.gas.flow(s.Wastegate*t.WastegateM2, f.manPa, f.manK, f.downPa, f.manK)
	s.exhaustFlow += float64((max(0, f.turb+f.wg) - s.exhaustFlow) * settle(dt/0.002))
	p.shaft(nm, dt)
}

func (p *Plant) shaft(nm, dt float64) {
	s := &p.State
	f, l := &s.now, &s.Ledger
	t := &p.model.car.Turbo
	w := s.TurboSpeed
	f.turbW = float64(nm * w)
	loss := float64((1-t.MechEta)*max(0, f.turbW)) + float64(t.Bearing*w*w)
	w2 := float64(w*w) + 2*dt*(f.turbW-loss-f.compW)/t.InertiaKgM2
	if w2 < 2500 {
		loss += (w2 - 2500) * t.InertiaKgM2 / (2 * dt) // a floor that keeps the shaft turning
		w2 = 2500
	}
	s.TurboSpeed = math.Sqrt(w2)
	l.TurboLoss += float64(loss * dt)
	l.TurbineJ += float64(f.turbW * dt)
	l.CompressorJ += float64(f.compW * dt)
}

// CompressorTemperature is the outlet temperature [2.2 of any thermodynamics
// text]: T1 + T1 (PR^((k-1)/k) - 1)/eta with k = 1.4.
func CompressorTemperature(t1, ratio, eta float64) float64 {
	return t1 + t1*(fmath.Pow(ratio, 2.0/7)-1)/eta
}

// TurbineTemperature is the outlet temperature in K [2.2 of any thermodynamics
// text]: T3 - eta T3 (1 - ER^(-(k-1)/k)), ER the ratio of inlet to outlet pressure.
func TurbineTemperature(t3, er, eta, k float64) float64 {
	return t3 - float64(eta*t3*(1-fmath.Pow(er, -(k-1)/k)))
}

// exhaustKappa is the ratio of specific heats of hot exhaust gas, and expansion
// the exponent that goes with it.
const (
	expansion    = 0.23
	exhaustKappa = 1 / (1 - expansion)
)

// compressor fills the charge pipe. A wheel that turns too slowly for what the
// engine draws does not choke it: below ambient pressure the eye of the wheel
// passes air like an opening as well.
func (p *Plant) compressor(dt float64) {
	m, s := p.model, &p.State
	f, l, t := &s.now, &s.Ledger, &m.car.Turbo
	t1, p1 := p.cond.AmbientK, p.cond.AmbientPa
	u := s.TurboSpeed * t.CompRadiusM
	most := m.pHead.at(1 + t.CompHead*u*u/(2*1005*t1))
	ratio := f.pipePa / p1
	root := signedRoot(1-float64((ratio/most)*(ratio/most)), 0.01)
	if root < 0 {
		root *= 0.3 // crude surge
	}
	dense := p1 / (gasR * t1) / 1.204
	f.comp = float64(t.CompFlow * dense * u * root)
	h1, hOut := hFresh(t1), hFresh(f.pipeK)
	f.compW = 0
	if f.comp > 0 {
		f.compEta = compressorEta(t.CompEta, root, ratio)
		rise := t1 * max(0, m.pComp.at(ratio)-1) / f.compEta
		f.compW = float64(f.comp * (hFresh(t1+rise) - h1))
		hOut = hFresh(t1 + float64((1-t.Intercooler)*rise))
		l.Intercooler += float64(f.comp * dt * (hFresh(t1+rise) - hOut))
		l.EnthalpyIn += float64(f.comp * dt * h1)
	} else {
		l.EnthalpyIn += float64(f.comp * dt * hOut)
	}
	in := float64(f.comp * dt)
	s.PipeJ += float64(in * hOut)
	if f.pipePa < p1 {
		drawn := float64(m.air.flow(m.eyeM2, p1, t1, f.pipePa, f.pipeK) * dt)
		in += drawn
		s.PipeJ += float64(drawn * h1)
		l.EnthalpyIn += float64(drawn * h1)
	}
	s.PipeKg += in
	l.AirKg += in
}

func compressorEta(best, phi, ratio float64) float64 {
	d, over := phi-0.55, max(0, ratio-1.8)
	return max(0.35, best-float64(0.45*d*d)-float64(0.03*over*over))
}

// signedRoot is sqrt with its sign kept, a straight line within eps of zero.
func signedRoot(x, eps float64) float64 {
	switch {
	case x > eps:
		return math.Sqrt(x)
	case x < -eps:
		return -math.Sqrt(-x)
	}
	return x / math.Sqrt(eps)
}

// turbine returns the shaft torque and sets the flow. The torque is written as
// eta over speed ratio, which stays finite at standstill.
func (p *Plant) turbine() float64 {
	m, s := p.model, &p.State
	f, t := &s.now, &m.car.Turbo
	ratio := min(f.downPa/f.manPa, 1)
	root := signedRoot(1-m.pTurb.at(ratio), 0.01)
	f.turb = float64(t.TurbFlow * f.manPa / math.Sqrt(f.manK) * max(0, root))
	if f.turb <= 0 {
		return 0
	}
	dh := float64(1248 * f.manK * (1 - m.pExp.at(ratio)))
	if dh <= 0 {
		return 0
	}
	c := math.Sqrt(2 * dh)
	bsr := s.TurboSpeed * t.TurbRadiusM / c
	b := t.TurbBSR
	perBSR := max(t.TurbEta/b*(2-bsr/b), -0.5)
	f.turbEta = perBSR * bsr
	return f.turb * dh * perBSR * t.TurbRadiusM / c
}
