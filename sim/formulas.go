package sim

import "github.com/holdline/holdline/sim/fmath"

// RatedShot is the flow in kg/s of shot i (from 0) from a 20 C bottle into
// 100 kPa, the flow that its fuel side is sized for.
func (m *Model) RatedShot(i int) float64 {
	const t = 293.15
	return n2oJet(m.jet[i], m.car.Nitrous.Flash, n2oLiquid(t), n2oPressure(t), 1e5)
}

// MotoringBar is the total motoring loss in bar at an engine speed in rpm, the
// Barnes-Moss correlation [8].
func MotoringBar(rpm float64) float64 {
	n := rpm / 1000
	return 0.97 + float64(0.15*n) + float64(0.05*n*n)
}

// Wiebe is the burnt share after x of the burn duration: a = 5, m = 2 [1, ch. 9].
func Wiebe(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return 1 - fmath.Exp(-5*x*x*x)
}

const wiebeHalf = 0.5175 // x at which half is burnt: (ln 2 / 5)^(1/3)

// MagicFormula is the longitudinal force over vertical load of a tyre at slip
// s, a ratio [17]: D sin(C atan(B s - E (B s - atan(B s)))).
func MagicFormula(b, c, d, e, s float64) float64 {
	x := float64(b * s)
	return d * fmath.Sin(c*fmath.Atan(x-float64(e*(x-fmath.Atan(x)))))
}

// BaseSpark is the spark advance in degrees before dead centre of this car's
// stock timing map: the one that puts CA50 where Combustion.BaseCA50 wants it
// at an engine speed in rpm and a manifold pressure in Pa absolute.
func (m *Model) BaseSpark(rpm, manifoldPa float64) float64 {
	c := &m.car.Combustion
	want := c.BaseCA50 + float64(c.BaseCA50Bar*max(0, float64(manifoldPa*1e-5)-1))
	dur := m.burnRate.at(rpm/rpmPerRad) * (1 + float64(c.BurnResidual*0.05))
	if want > 20 {
		dur *= 1 + float64(c.BurnLate*(want-20))
	}
	return min(float64(wiebeHalf*dur)-want, m.car.Engine.MaxAdvance)
}
