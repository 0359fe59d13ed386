package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// ignite is the spark commit: dwell starts, the decision is taken, and with
// everything that matters already trapped the rest of the cycle is computed.
func (p *Plant) ignite(k int) {
	m, s := p.model, &p.State
	y := &s.Cyl[k]
	y.sparkSet, y.sparkListed = false, false
	upshift := s.ShiftLeft > 0 && s.gearFrom > 0 && s.Gear > s.gearFrom
	interrupted := m.car.Gearbox.Interrupter && upshift
	y.SparkDone = y.sparkGive && !interrupted
	if !y.SparkDone || y.IvcPa == 0 {
		return
	}
	y.SparkDeg = -y.advance
	c := &m.car.Combustion
	lights := y.Lambda >= c.LambdaRich && y.Lambda <= c.LambdaLean &&
		y.Res <= c.MaxResidual*y.Mass && y.SparkDeg < evoDeg-12
	if !lights {
		y.Misfired = true
		return
	}
	y.burns++
	y.Fired = true
	p.burn(y, p.duration(k, y))
}

// duration is the Wiebe burn duration in degrees [1, ch. 9; 12], with the
// cycle's own scatter of CA50 put on it.
func (p *Plant) duration(k int, y *Cylinder) float64 {
	m := p.model
	c := &m.car.Combustion
	d := float64(m.burnRate.at(p.State.Speed) * (1 + c.BurnResidual*y.Res/y.Mass))
	off := y.Lambda - 0.9
	d *= 1 + float64(c.BurnLambda*off*off)
	late := y.SparkDeg + float64(wiebeHalf*d) - 20
	if late > 0 {
		d *= 1 + float64(c.BurnLate*late)
	}
	if y.N2O > 0 {
		d *= 1 - float64(c.BurnNitrous*min(1, 4*y.N2O/max(y.Air, 1e-9)))
	}
	if p.cond.CycleNoise > 0 {
		sd := float64(p.cond.CycleNoise * (c.ScatterDeg + float64(c.ScatterPer*max(0, y.SparkDeg+25))))
		z := normal(p.cond.Seed, streamPhase+uint64(k)<<8, y.burns)
		d *= clamp(1+sd*z/(wiebeHalf*d), 0.6, 1.6)
	}
	return d
}

// burn integrates the single-zone closed cycle [1, ch. 9 and 12] from the
// spark to EVO in steps of 2 degrees, predictor and corrector on p dV, and
// overwrites the motored work from the spark on:
//
//	dU = dQ_b - dQ_w - p dV,  T = T(U/m),  p = m R T / V
func (p *Plant) burn(y *Cylinder, dur float64) {
	m := p.model
	c := &m.car.Combustion
	y.CA50 = y.SparkDeg + float64(wiebeHalf*dur)
	heat := float64(min(y.Fuel+y.ResFuel, y.oxygen()/oxPerFuel)*fuelLHV*c.BurnEff) + float64(y.N2O*heatN2O)
	st := p.atSpark(y)
	u0 := st.u
	a := y.SparkDeg
	i := int(math.Floor((a+132)/2)) + 1
	j := (i - 1) / 3
	y.work[j] = st.headWork
	xb := 0.0
	for ; i <= 132; i++ {
		next := float64(2*i) - 132
		x := m.wiebe.at((next - a) / dur)
		st.advance(m, y, i, heat*(x-xb), y.IvcPa*m.motored[i-1])
		if (i-1)/3 != j {
			j = (i - 1) / 3
			y.work[j] = 0
		}
		y.work[j] += st.work
		xb = x
	}
	y.Burnt, y.Released = xb, heat*xb
	y.EvoPa, y.EvoK, y.EvoJ = st.p, st.t, st.u
	y.PeakPa, y.PeakDeg = st.peak, st.peakDeg
	y.WallJ = st.wall + p.motoredLoss(y, u0)
}

// motoredLoss is the heat lost by the polytrope between IVC and the spark.
func (p *Plant) motoredLoss(y *Cylinder, uSpark float64) float64 {
	m := p.model
	i := int(math.Floor((y.SparkDeg + 132) / 2))
	j := i / 3
	sum := 0.0
	for b := range j {
		sum += y.work[b]
	}
	return float64(y.Mass*uBurnt(y.IvcK)) - sum - p.headWork(y, m) - uSpark
}

// headWork is the polytropic work from the start of the spark's bin to it.
func (p *Plant) headWork(y *Cylinder, m *Model) float64 {
	i := 3 * (int(math.Floor((y.SparkDeg+132)/2)) / 3)
	ps, vs := p.polytrope(y)
	n := m.car.Combustion.PolyComp
	if i >= 66 {
		n = m.car.Combustion.PolyExp
	}
	return (float64(y.IvcPa*m.motored[i]*m.vol[i]) - float64(ps*vs)) / (n - 1)
}

// polytrope is motored pressure and volume at the spark.
func (p *Plant) polytrope(y *Cylinder) (pa, v float64) {
	m := p.model
	i := int(math.Floor((y.SparkDeg + 132) / 2))
	v = m.volume(y.SparkDeg)
	n := m.car.Combustion.PolyComp
	if i >= 66 {
		n = m.car.Combustion.PolyExp
	}
	return y.IvcPa * m.motored[i] * fmath.Pow(m.vol[i]/v, n), v
}

func (p *Plant) atSpark(y *Cylinder) closed {
	m := p.model
	pa, v := p.polytrope(y)
	t := pa * v / (y.Mass * gasR)
	w := p.State.Speed
	return closed{
		p: pa, v: v, t: t, u: y.Mass * uBurnt(t), peak: pa, peakDeg: y.SparkDeg,
		from: y.SparkDeg, headWork: p.headWork(y, m), speed: w,
		gas: 2.28 * m.meanSpeed * w,
		aux: 3.24e-3 * m.vCyl * y.IvcK / (y.IvcPa * m.vIvc),
	}
}

// closed is the running state of one closed cycle.
type closed struct {
	p, v, t, u    float64
	from          float64 // deg, start of the coming step
	work          float64 // J of the last step
	wall          float64 // J so far
	headWork      float64
	speed         float64
	gas, aux      float64 // Woschni's two velocities
	peak, peakDeg float64
}

func (c *closed) advance(m *Model, y *Cylinder, i int, burn, motored float64) {
	v := m.vol[i]
	dv := v - c.v
	to := float64(2*i) - 132
	dt := (to - c.from) * radPerDeg / c.speed
	q := float64(c.wallHeat(m, i, motored) * dt)
	guess := c.u + burn - q - float64(c.p*dv)
	pg := y.Mass * gasR * tFromU(burntA, guess/y.Mass) / v
	c.work = float64(0.5 * (c.p + pg) * dv)
	c.u += burn - q - c.work
	c.wall += q
	c.t = tFromU(burntA, c.u/y.Mass)
	c.v, c.from = v, to
	c.p = y.Mass * gasR * c.t / v
	if c.p > c.peak {
		c.peak, c.peakDeg = c.p, to
	}
}

// wallHeat is Woschni's heat flow in W [11; 1, eq. 12.19].
func (c *closed) wallHeat(m *Model, i int, motored float64) float64 {
	w := c.gas + float64(c.aux*max(0, c.p-motored))
	h := m.woschni * m.p08.at(c.p*1e-3*w) * m.p055.at(c.t)
	return h * m.wall[i] * (c.t - m.car.Combustion.WallK)
}
