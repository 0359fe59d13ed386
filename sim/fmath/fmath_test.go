package fmath

import (
	"hash/fnv"
	"math"
	"math/big"
	"testing"

	"github.com/stretchr/testify/assert"
)

// points is a deterministic walk over an interval that also hits its edges.
func points(lo, hi float64, n int) []float64 {
	out := []float64{lo, hi, 0.5 * (lo + hi)}
	s := uint64(88172645463325252)
	for range n {
		s ^= s << 13
		s ^= s >> 7
		s ^= s << 17
		u := float64(s>>11) / (1 << 53)
		out = append(out, lo+float64(u*(hi-lo)))
	}
	return out
}

const prec = 200

func bf(x float64) *big.Float { return new(big.Float).SetPrec(prec).SetFloat64(x) }

func add(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(prec).Add(a, b) }
func mul(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(prec).Mul(a, b) }
func quo(a, b *big.Float) *big.Float { return new(big.Float).SetPrec(prec).Quo(a, b) }
func tiny(t *big.Float) bool         { return t.Sign() == 0 || t.MantExp(nil) < -prec-10 }

// bigExp is the Taylor series after halving the argument ten times.
func bigExp(x *big.Float) *big.Float {
	const halvings = 20
	r := new(big.Float).SetPrec(prec).SetMantExp(x, -halvings)
	sum, term := bf(1), bf(1)
	for i := 1; !tiny(term); i++ {
		term = quo(mul(term, r), bf(float64(i)))
		sum = add(sum, term)
	}
	for range halvings {
		sum = mul(sum, sum)
	}
	return sum
}

// bigLog is Newton's iteration on bigExp.
func bigLog(x float64) *big.Float {
	y := bf(math.Log(x))
	for range 4 {
		e := bigExp(new(big.Float).Neg(y))
		d := add(mul(bf(x), e), bf(-1))
		y = add(y, add(d, new(big.Float).Neg(quo(mul(d, d), bf(2)))))
	}
	return y
}

func bigSeries(first, x2 *big.Float, k0 int) *big.Float {
	sum, term := first, first
	for k := k0; !tiny(term); k += 2 {
		term = quo(mul(term, x2), bf(-float64(k)*float64(k+1)))
		sum = add(sum, term)
	}
	return sum
}

func bigSin(x float64) *big.Float { return bigSeries(bf(x), mul(bf(x), bf(x)), 2) }
func bigCos(x float64) *big.Float { return bigSeries(bf(1), mul(bf(x), bf(x)), 1) }

// bigAtan halves the angle until the series is quick.
func bigAtan(x float64) *big.Float {
	t := bf(x)
	n := 0
	for ; n < 12; n++ {
		root := new(big.Float).SetPrec(prec).Sqrt(add(bf(1), mul(t, t)))
		t = quo(t, add(bf(1), root))
	}
	sum, term, t2 := bf(0), t, mul(t, t)
	for k := 1; !tiny(term); k += 2 {
		sum = add(sum, quo(term, bf(float64(k))))
		term = new(big.Float).Neg(mul(term, t2))
	}
	return new(big.Float).SetPrec(prec).SetMantExp(sum, n)
}

func ulpError(got float64, want *big.Float) float64 {
	w, _ := want.Float64()
	ulp := math.Nextafter(math.Abs(w), math.Inf(1)) - math.Abs(w)
	d, _ := add(bf(got), new(big.Float).Neg(want)).Float64()
	return math.Abs(d) / ulp
}

// The reference is 200-bit series arithmetic in this file, itself checked
// against digits of the constants e, ln 2 and pi from the OEIS (A001113, A002162, A000796).
func TestReferenceConstants(t *testing.T) {
	assert.Equal(t, "2.718281828459045235360287471352662497757", bigExp(bf(1)).Text('f', 39))
	assert.Equal(t, "0.693147180559945309417232121458176568076", bigLog(2).Text('f', 39))
	assert.Equal(t, "3.141592653589793238462643383279502884197", mul(bigAtan(1), bf(4)).Text('f', 39))
}

func TestAccuracy(t *testing.T) {
	for _, c := range []struct {
		name   string
		f      func(float64) float64
		ref    func(float64) *big.Float
		lo, hi float64
		ulps   float64
	}{
		{"exp small", Exp, func(x float64) *big.Float { return bigExp(bf(x)) }, -1, 1, 1},
		{"exp", Exp, func(x float64) *big.Float { return bigExp(bf(x)) }, -700, 700, 1},
		{"log near 1", Log, bigLog, 0.5, 2, 1},
		{"log", Log, bigLog, 1e-9, 1e9, 1},
		{"sin", Sin, bigSin, -30, 30, 1},
		{"cos", Cos, bigCos, -30, 30, 1},
		{"atan small", Atan, bigAtan, -1.2, 1.2, 1},
		{"atan", Atan, bigAtan, -60, 60, 1},
	} {
		worst, at := 0.0, 0.0
		for _, x := range points(c.lo, c.hi, 2500) {
			if x == 0 || c.f(x) == 0 {
				continue
			}
			if e := ulpError(c.f(x), c.ref(x)); e > worst {
				worst, at = e, x
			}
		}
		t.Logf("%-12s worst %.3f ulp at %v", c.name, worst, at)
		assert.LessOrEqual(t, worst, c.ulps, "%s at %v", c.name, at)
	}
}

func TestPowAccuracy(t *testing.T) {
	ys := points(-3, 3, 2000)
	worst := 0.0
	for i, x := range points(1e-6, 1e6, 2000) {
		want := bigExp(mul(bigLog(x), bf(ys[i])))
		worst = max(worst, ulpError(Pow(x, ys[i]), want))
	}
	t.Logf("pow worst %.3f ulp", worst)
	assert.LessOrEqual(t, worst, 1.0)
	for i, x := range points(0.05, 40, 500) {
		y := 60 * ys[i]
		want := bigExp(mul(bigLog(x), bf(y)))
		worst = max(worst, ulpError(Pow(x, y), want))
	}
	t.Logf("pow worst over the wide range %.3f ulp", worst)
	assert.LessOrEqual(t, worst, 4.0)
}

func TestSpecialValues(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	same := func(want, got float64, what string) {
		t.Helper()
		ok := want == got || (want != want && got != got)
		assert.True(t, ok, "%s: want %v, got %v", what, want, got)
	}
	for _, x := range []float64{inf, -inf, nan, 0, math.Copysign(0, -1), 1e308, -1e308, 5e-324, 1, -1, 2} {
		same(class(math.Exp(x)), class(Exp(x)), "exp")
		same(class(math.Log(x)), class(Log(x)), "log")
		for _, y := range []float64{inf, -inf, nan, 0, 1, -1, 2, 0.5, 3} {
			same(class(math.Pow(x, y)), class(Pow(x, y)), "pow")
		}
	}
	same(nan, Sin(inf), "sin inf")
	same(nan, Cos(nan), "cos nan")
	same(math.Pi/2, Atan(inf), "atan inf")
	same(nan, Log(-1), "log -1")
}

func class(x float64) float64 {
	switch {
	case x != x:
		return x
	case math.IsInf(x, 0):
		return x
	case x == 0:
		return 0
	}
	return math.Copysign(1, x)
}

// hashOf folds the exact bits of every function over many points into one
// number: any difference in any last bit, on any processor, changes it.
func hashOf() uint64 {
	h := fnv.New64a()
	put := func(x float64) {
		b := math.Float64bits(x)
		h.Write([]byte{byte(b), byte(b >> 8), byte(b >> 16), byte(b >> 24),
			byte(b >> 32), byte(b >> 40), byte(b >> 48), byte(b >> 56)})
	}
	ys := points(-4, 4, 20000)
	for i, u := range points(0, 1, 20000) {
		put(Exp(float64(1400*u) - 700))
		put(Exp(float64(2*u) - 1))
		put(Log(1e6 * u))
		put(Log(0.5 + u))
		put(Pow(1e3*u, ys[i]))
		put(Sin(float64(200*u) - 100))
		put(Cos(float64(200*u) - 100))
		put(Sin(3e7 * u))
		put(Atan(ys[i]))
		put(Atan(1 / u))
	}
	return h.Sum64()
}

func TestHashSameEverywhere(t *testing.T) {
	assert.Equal(t, uint64(0x15892c90081fa7af), hashOf())
}

func BenchmarkExp(b *testing.B) {
	s := 0.0
	for i := range b.N {
		s += Exp(float64(i&1023) * 0.01)
	}
	_ = s
}

func BenchmarkPow(b *testing.B) {
	s := 0.0
	for i := range b.N {
		s += Pow(float64(i&1023)+0.5, 0.2857)
	}
	_ = s
}
