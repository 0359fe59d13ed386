package fmath

import "math"

const (
	halfPi1 = 1.5707963267341256    // upper 31 bits of pi/2
	halfPi2 = 6.07710050359346e-11  // the next bits
	halfPi3 = 2.912732056093356e-20 // the rest
	halfPi  = 1.5707963267948966    // pi/2 rounded
	pi2Lo   = 6.123233995736766e-17 // what rounding pi/2 lost
	maxTrig = 4.0e6                 // beyond this the reduction loses accuracy
)

// reduce returns r in [-pi/4, pi/4] with its tail, and the quadrant.
func reduce(x float64) (r, tail float64, quadrant int) {
	if math.Abs(x) > maxTrig {
		x = math.Mod(x, 4*halfPi) // exact remainder of a rounded period: documented loss
	}
	k := math.Floor(float64(x*(1/halfPi)) + 0.5)
	a := x - float64(k*halfPi1)
	b := float64(k * halfPi2)
	r0, e := twoSum(a, -b)
	c := float64(k*halfPi3) - e
	r = r0 - c
	return r, (r0 - r) - c, int(int64(k) & 3)
}

// Sin returns the sine of x radians. Beyond 4e6 the argument reduction uses
// the rounded period, so accuracy falls with size; it stays the same everywhere.
func Sin(x float64) float64 {
	if x != x || math.IsInf(x, 0) {
		return math.NaN()
	}
	r, t, q := reduce(x)
	return quadrantSin(r, t, q)
}

// Cos returns the cosine of x radians, with the same limits as Sin.
func Cos(x float64) float64 {
	if x != x || math.IsInf(x, 0) {
		return math.NaN()
	}
	r, t, q := reduce(x)
	return quadrantSin(r, t, (q+1)&3)
}

func quadrantSin(r, t float64, q int) float64 {
	switch q {
	case 0:
		return sinKernel(r, t)
	case 1:
		return cosKernel(r, t)
	case 2:
		return -sinKernel(r, t)
	}
	return -cosKernel(r, t)
}

// sinKernel is sin(r+t) by Taylor series, abs(r) <= pi/4.
func sinKernel(r, t float64) float64 {
	if r == 0 {
		return r
	}
	z := float64(r * r)
	p := 1.0 / 355687428096000
	p = -1.0/1307674368000 + float64(p*z)
	p = 1.0/6227020800 + float64(p*z)
	p = -1.0/39916800 + float64(p*z)
	p = 1.0/362880 + float64(p*z)
	p = -1.0/5040 + float64(p*z)
	p = 1.0/120 + float64(p*z)
	p = -1.0/6 + float64(p*z)
	return r + (float64(float64(r*z)*p) + float64(t*(1-float64(0.5*z))))
}

// cosKernel is cos(r+t) by Taylor series, abs(r) <= pi/4.
func cosKernel(r, t float64) float64 {
	z := float64(r * r)
	p := 1.0 / 20922789888000
	p = -1.0/87178291200 + float64(p*z)
	p = 1.0/479001600 + float64(p*z)
	p = -1.0/3628800 + float64(p*z)
	p = 1.0/40320 + float64(p*z)
	p = -1.0/720 + float64(p*z)
	p = 1.0/24 + float64(p*z)
	half := float64(0.5 * z)
	w := 1 - half
	lost := (1 - w) - half
	return w + (lost + (float64(float64(z*z)*p) - float64(r*t)))
}

// arc holds atan(i/8) as a sum of two numbers.
var arc = [9][2]float64{
	{0, 0},
	{0.12435499454676144, -3.1253241424539383e-18},
	{0.24497866312686414, 1.0698755618734451e-17},
	{0.35877067027057225, -2.4623815582638635e-17},
	{0.4636476090008061, 2.2698777452961687e-17},
	{0.5585993153435624, -5.4556305485916264e-18},
	{0.6435011087932844, 1.5834785051444286e-17},
	{0.7188299996216245, -2.1478388444456983e-17},
	{0.7853981633974483, 3.061616997868383e-17},
}

// Atan returns the arc tangent of x in radians.
func Atan(x float64) float64 {
	if x != x || x == 0 {
		return x
	}
	a := math.Abs(x)
	var y float64
	if a <= 1 {
		y = atanUnit(a, 1)
	} else {
		y = atanOver(a)
	}
	if x < 0 {
		return -y
	}
	return y
}

// atanUnit is atan(n/d) for 0 <= n <= d: the nearest eighth, then the series
// in the rotated ratio.
func atanUnit(n, d float64) float64 {
	i := int(float64(float64(n/d)*8) + 0.5)
	if n < 0.1*d { // a small sum of larger parts would lose bits
		return atanSeries(n / d)
	}
	c := float64(float64(i) / 8)
	t := (n - float64(c*d)) / (d + float64(c*n))
	return arc[i][0] + (arc[i][1] + atanSeries(t))
}

func atanOver(a float64) float64 {
	if a > 1e17 {
		return halfPi
	}
	i := int(8/a + 0.5)
	c := float64(float64(i) / 8)
	// atan(a) = pi/2 - atan(1/a), and 1/a = (1)/(a) without rounding it first
	t := (1 - float64(c*a)) / (a + c)
	h, e := twoSum(halfPi, -arc[i][0])
	return h + (e + (pi2Lo - arc[i][1] - atanSeries(t)))
}

// atanSeries is atan(t) for abs(t) <= 0.1.
func atanSeries(t float64) float64 {
	z := float64(t * t)
	p := 1.0 / 17
	p = -1.0/15 + float64(p*z)
	p = 1.0/13 + float64(p*z)
	p = -1.0/11 + float64(p*z)
	p = 1.0/9 + float64(p*z)
	p = -1.0/7 + float64(p*z)
	p = 1.0/5 + float64(p*z)
	p = -1.0/3 + float64(p*z)
	return t + float64(float64(t*z)*p)
}
