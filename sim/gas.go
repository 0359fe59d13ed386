package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// Gas model (doc.go, part 1): R is one constant, cv is linear in T, energies are
// counted from 0 K. Two sets: fresh charge, and everything that has been in a
// cylinder.
const (
	gasR   = 287.0
	freshA = 672.0
	burntA = 800.0
	gasB   = 0.18

	fuelLHV    = 43.0e6 // J/kg
	afrStoich  = 14.6
	oxPerFuel  = 3.38   // kg O2 to burn 1 kg of fuel
	oxInAir    = 0.2314 // mass fraction
	oxInN2O    = 0.3635
	heatN2O    = 1.86e6 // J/kg released by decomposition
	gammaFresh = 1.4
	gammaBurnt = 1.3
	linearFrom = 0.985 // orifice flow is a straight line to zero above this pressure ratio
)

func hFresh(t float64) float64 { return float64(t * (freshA + gasR + float64(0.5*gasB*t))) }
func uBurnt(t float64) float64 { return float64(t * (burntA + float64(0.5*gasB*t))) }
func hBurnt(t float64) float64 { return float64(t * (burntA + gasR + float64(0.5*gasB*t))) }

// tFromU inverts u(T) for a gas set: u = aT + bT^2/2.
func tFromU(a, u float64) float64 {
	if !(u > 0) {
		return 1
	}
	return (math.Sqrt(float64(a*a)+float64(2*gasB*u)) - a) * (1 / gasB)
}

// tFromHFresh inverts h(T) of fresh charge.
func tFromHFresh(h float64) float64 { return tFromU(freshA+gasR, h) }

// criticalRatio is the pressure ratio below which an orifice chokes [1, 2].
func criticalRatio(gamma float64) float64 {
	return fmath.Pow(2/(gamma+1), gamma/(gamma-1))
}

// orificeExact is the flow function of an isentropic orifice [1, app. C; 2]
// before the straight line near 1:
//
//	psi = sqrt(2g/(g-1) (P^(2/g) - P^((g+1)/g)))
func orificeExact(gamma, ratio float64) float64 {
	r := max(ratio, criticalRatio(gamma))
	if r >= 1 {
		return 0
	}
	a := fmath.Pow(r, 2/gamma)
	b := fmath.Pow(r, (gamma+1)/gamma)
	return math.Sqrt(2 * gamma / (gamma - 1) * (a - b))
}

func orificeLinear(gamma, ratio float64) float64 {
	if ratio <= linearFrom {
		return orificeExact(gamma, ratio)
	}
	return orificeExact(gamma, linearFrom) * (1 - ratio) / (1 - linearFrom)
}

// flowTable tabulates psi over the pressure ratio.
type flowTable struct {
	psi table
}

func newFlowTable(gamma float64) flowTable {
	return flowTable{newTable(0, 1, 1201, func(r float64) float64 {
		return orificeLinear(gamma, r)
	})}
}

// flow is the mass flow in kg/s through effective area a from pressure p1 at
// t1 to p2 at t2; negative when it runs backwards.
func (f *flowTable) flow(a, p1, t1, p2, t2 float64) float64 {
	if p1 >= p2 {
		return a * p1 / math.Sqrt(gasR*t1) * f.psi.at(p2/p1)
	}
	return -a * p2 / math.Sqrt(gasR*t2) * f.psi.at(p1/p2)
}
