// Package fmath holds the elementary functions that the plant needs, written
// so that the same argument gives the same bits on every processor.
//
// The functions of the standard math package are free to use assembly, and the
// compiler is free to fuse x*y+z into one rounding on the processors that can.
// Both change last bits, and a limiter that cuts on a threshold turns a last
// bit into a different cut sequence. Here every product that is added to
// something is rounded first, and only operations that IEEE 754 defines to the
// bit are used: + - * / and the bit patterns of numbers.
//
// Accuracy, measured against 200-bit arithmetic in the tests: Exp, Log, Sin,
// Cos and Atan within 1 unit in the last place, Pow within 1 for results
// between 1e-40 and 1e40 and within 4 elsewhere. Special values follow
// the standard math package. Methods: argument reduction by a split constant
// (Cody & Waite, Software Manual for the Elementary Functions, 1980) and the
// Taylor or inverse hyperbolic tangent series.
package fmath

import "math"

const (
	ln2Hi = 0.6931471803691238     // upper 32 bits of ln 2
	ln2Lo = 1.9082149292705877e-10 // the rest
)

// Exp returns e to the power x.
func Exp(x float64) float64 {
	switch {
	case x != x:
		return x
	case x > 709.782712893384:
		return math.Inf(1)
	case x < -745.1332191019412:
		return 0
	}
	return expSum(x, 0)
}

// expSum returns e to the power x+dx for a dx that is tiny beside x.
func expSum(x, dx float64) float64 {
	k := math.Floor(float64(x*(1/math.Ln2)) + 0.5)
	hi := x - float64(k*ln2Hi)
	lo := float64(k*ln2Lo) - dx
	r := hi - lo
	tail := (hi - r) - lo // what rounding r lost
	q := float64(float64(r*r) * expTail(r))
	y := 1 + (r + (q + tail))
	return scale(y, int(k))
}

// expTail is (e^r - 1 - r)/r^2 as a Taylor series, abs(r) <= 0.35.
func expTail(r float64) float64 {
	p := 1.0 / 87178291200
	p = 1.0/6227020800 + float64(p*r)
	p = 1.0/479001600 + float64(p*r)
	p = 1.0/39916800 + float64(p*r)
	p = 1.0/3628800 + float64(p*r)
	p = 1.0/362880 + float64(p*r)
	p = 1.0/40320 + float64(p*r)
	p = 1.0/5040 + float64(p*r)
	p = 1.0/720 + float64(p*r)
	p = 1.0/120 + float64(p*r)
	p = 1.0/24 + float64(p*r)
	p = 1.0/6 + float64(p*r)
	return 0.5 + float64(p*r)
}

// scale returns y times 2^k, in two steps where one would leave the normal range.
func scale(y float64, k int) float64 {
	switch {
	case k > 1023:
		return y * pow2(1023) * pow2(k-1023)
	case k < -1022:
		return y * pow2(k+200) * pow2(-200)
	}
	return y * pow2(k)
}

func pow2(k int) float64 { return math.Float64frombits(uint64(k+1023) << 52) }

// split returns f in [sqrt(1/2), sqrt(2)) and k with x = f * 2^k, for x > 0.
func split(x float64) (f float64, k int) {
	if x < 0x1p-1022 {
		x *= 0x1p54
		k = -54
	}
	bits := math.Float64bits(x)
	k += int(bits>>52) - 1023
	f = math.Float64frombits(bits&(1<<52-1) | 1023<<52)
	if f >= math.Sqrt2 {
		f *= 0.5
		k++
	}
	return f, k
}

// Log returns the natural logarithm of x.
func Log(x float64) float64 {
	switch {
	case x != x || x > math.MaxFloat64:
		return x
	case x < 0:
		return math.NaN()
	case x == 0:
		return math.Inf(-1)
	}
	f, k := split(x)
	f--
	s := f / (2 + f)
	half := float64(0.5 * float64(f*f))
	dk := float64(k)
	inner := half - float64(s*(half+logTail(s)))
	return float64(dk*ln2Hi) - ((inner - float64(dk*ln2Lo)) - f)
}

// logTail is (2 artanh(s) - 2s)/s, abs(s) <= 0.172.
func logTail(s float64) float64 {
	z := float64(s * s)
	p := 2.0 / 23
	p = 2.0/21 + float64(p*z)
	p = 2.0/19 + float64(p*z)
	p = 2.0/17 + float64(p*z)
	p = 2.0/15 + float64(p*z)
	p = 2.0/13 + float64(p*z)
	p = 2.0/11 + float64(p*z)
	p = 2.0/9 + float64(p*z)
	p = 2.0/7 + float64(p*z)
	p = 2.0/5 + float64(p*z)
	p = 2.0/3 + float64(p*z)
	return float64(p * z)
}

// logPair returns ln x as an unevaluated sum with about 20 extra bits, x > 0.
func logPair(x float64) (hi, lo float64) {
	f, k := split(x)
	num := f - 1
	den, denLo := twoSum(f, 1)
	s := num / den
	ph, pl := twoProd(s, den)
	sLo := ((num - ph) - pl - float64(s*denLo)) / den
	dk := float64(k)
	hi, lo = twoSum(float64(dk*ln2Hi), 2*s)
	lo += float64(2*sLo) + float64(s*logTail(s)) + float64(dk*ln2Lo)
	return twoSum(hi, lo)
}

func twoSum(a, b float64) (s, e float64) {
	s = a + b
	t := s - a
	return s, (a - (s - t)) + (b - t)
}

// twoProd returns a*b exactly as a sum, by Dekker's split (1971): a fused
// multiply would do it in one step, but not at the same speed everywhere.
func twoProd(a, b float64) (p, e float64) {
	p = float64(a * b)
	ah, al := halves(a)
	bh, bl := halves(b)
	e = float64(ah*bh) - p
	e += float64(ah * bl)
	e += float64(al * bh)
	e += float64(al * bl)
	return p, e
}

func halves(a float64) (hi, lo float64) {
	hi = math.Float64frombits(math.Float64bits(a) &^ (1<<27 - 1))
	return hi, a - hi
}

// Pow returns x to the power y. A negative x needs a whole y.
func Pow(x, y float64) float64 {
	switch {
	case y == 0 || x == 1:
		return 1
	case x != x || y != y:
		return math.NaN()
	case x == 0 || math.IsInf(x, 0) || math.IsInf(y, 0):
		return math.Pow(x, y) // exact special values, the same everywhere
	case x < 0:
		return powNegative(x, y)
	}
	return powPositive(x, y)
}

func powNegative(x, y float64) float64 {
	if y != math.Floor(y) {
		return math.NaN()
	}
	p := powPositive(-x, y)
	half := y * 0.5
	if half != math.Floor(half) {
		return -p
	}
	return p
}

func powPositive(x, y float64) float64 {
	lh, ll := logPair(x)
	ph, pl := lh*y, 0.0
	switch {
	case ph > 709.8:
		return math.Inf(1)
	case ph < -745.2:
		return 0
	}
	if math.Abs(y) < 0x1p500 {
		ph, pl = twoProd(lh, y)
	}
	return expSum(ph, pl+float64(ll*y))
}
