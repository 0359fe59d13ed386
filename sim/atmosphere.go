package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

const (
	dryR    = 287.05307 // J/(kg K) of the standard atmosphere
	moistR  = 287.05    // as the moist-air formula is printed
	vapourR = 461.495
)

// StandardAir is the US Standard Atmosphere 1976 up to 11 km [20]: K, Pa and
// kg/m3 at a geopotential height in m.
func StandardAir(height float64) (k, pa, rho float64) {
	k = 288.15 - float64(0.0065*height)
	pa = 101325 * fmath.Pow(k/288.15, 5.255876)
	return k, pa, pa / (dryR * k)
}

// Geopotential turns a geometric height in m into the one that StandardAir wants.
func Geopotential(z float64) float64 { return 6356766 * z / (6356766 + z) }

// VapourPressure is the saturation pressure of water in Pa at t degrees
// Celsius: Buck 1981 with the coefficients of 1996.
func VapourPressure(t float64) float64 {
	return 611.21 * fmath.Exp((18.678-t/234.5)*t/(257.14+t))
}

// MoistDensity is the density of air in kg/m3 at pa, k and a vapour pressure in Pa.
func MoistDensity(pa, k, vapourPa float64) float64 {
	return (pa-vapourPa)/(moistR*k) + vapourPa/(vapourR*k)
}

// PowerCorrection is the factor of SAE J1349 (June 1990) for spark-ignition
// engines, from the dry-air pressure in Pa and the temperature in K.
func PowerCorrection(dryPa, k float64) float64 {
	return float64(1.180*(99000/dryPa)*math.Sqrt((k+(273-273.15))/298)) - 0.180
}

// DensityAltitude is the height in feet of the US National Weather Service
// form: station pressure in Pa, temperature and dew point in Celsius.
func DensityAltitude(pa, t, dew float64) float64 {
	hpa := pa / 100
	e := 6.11 * fmath.Pow(10, 7.5*dew/(237.7+dew))
	tv := (t + 273.15) / (1 - float64(e/hpa*(1-0.622)))
	rankine := float64(1.8*(tv-273.15)) + 32 + 459.69
	return 145366 * (1 - fmath.Pow(17.326*0.02953*hpa/rankine, 0.235))
}
