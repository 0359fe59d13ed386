package sim

import "math"

// Handbook relations for those who fill in a car. The plant does not use them.

// StoichAFR is the mass of air in kg that burns 1 kg of a fuel CcHhOo: per mol
// O2 138.283 g of dry air.
func StoichAFR(c, h, o float64) float64 {
	return (c + float64(h/4) - float64(o/2)) * 138.283 / (float64(12.011*c) + float64(1.008*h) + float64(15.999*o))
}

// StoichNitrous is the mass of N2O in kg that burns 1 kg of a fuel CcHhOo.
func StoichNitrous(c, h, o float64) float64 {
	return 2 * (c + float64(h/4) - float64(o/2)) * 44.013 / (float64(12.011*c) + float64(1.008*h) + float64(15.999*o))
}

// ClutchWear is the capacity in N m of a plate clutch by the uniform-wear
// theory [21]: axial force in N, friction coefficient, outer and inner
// diameter in m, number of friction pairs.
func ClutchWear(force, mu, outer, inner float64, pairs int) float64 {
	return float64(pairs) * force * mu * (outer + inner) / 4
}

// ClutchPressure is the same by the uniform-pressure theory.
func ClutchPressure(force, mu, outer, inner float64, pairs int) float64 {
	cube := float64(outer*outer*outer) - float64(inner*inner*inner)
	return float64(pairs) * force * mu / 3 * cube / (float64(outer*outer) - float64(inner*inner))
}

// BMEP is the mean effective pressure in Pa of a four-stroke engine: torque in
// N m over swept volume in m3.
func BMEP(torque, volume float64) float64 { return 4 * math.Pi * torque / volume }

// SpeedDensity is the air flow in kg/s of a four-stroke engine: volumetric
// efficiency, manifold Pa and K, swept volume in m3, engine speed in rpm.
func SpeedDensity(ve, pa, k, volume, rpm float64) float64 {
	return ve * pa * volume * rpm / (120 * gasR * k)
}

// StallRPM is the stall speed of a converter whose stall K is k0 (rad/s per
// root N m) under a torque in N m.
func StallRPM(k0, torque float64) float64 { return k0 * math.Sqrt(torque) * rpmPerRad }
