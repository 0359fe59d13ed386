package sim

import (
	"math"

	"github.com/holdline/holdline/sim/fmath"
)

// table is a function on evenly spaced points, linear between them and held at
// its ends.
type table struct {
	x0, perStep float64
	y           []float64
}

func newTable(lo, hi float64, n int, f func(float64) float64) table {
	t := table{x0: lo, perStep: float64(n-1) / (hi - lo), y: make([]float64, n+1)}
	for i := range n {
		t.y[i] = f(lo + float64((hi-lo)*float64(i)/float64(n-1)))
	}
	t.y[n] = t.y[n-1]
	return t
}

func (t *table) at(x float64) float64 {
	u := float64((x - t.x0) * t.perStep)
	if !(u > 0) {
		return t.y[0]
	}
	last := len(t.y) - 2
	i := int(u)
	if u >= float64(last) {
		return t.y[last]
	}
	y := t.y[i]
	return y + float64((t.y[i+1]-y)*(u-float64(i)))
}

// power is x^e over 2^-20 to 2^30 by straight lines, 64 to the octave:
// relative error below 1e-4 e(e-1)/3, the same for every decade of x.
type power struct {
	y [50*64 + 1]float64
}

const (
	powerLow  = -20
	powerHigh = 30
)

func newPower(e float64) *power {
	p := new(power)
	for i := range p.y {
		m := 1 + float64(float64(i&63)/64)
		p.y[i] = fmath.Pow(m*pow2(powerLow+i>>6), e)
	}
	return p
}

func pow2(k int) float64 { return math.Float64frombits(uint64(k+1023) << 52) }

func (p *power) at(x float64) float64 {
	if !(x > 0x1p-20) {
		return p.y[0]
	}
	if x >= 0x1p30 {
		return p.y[len(p.y)-1]
	}
	bits := math.Float64bits(x)
	i := int(bits>>46) - (1023+powerLow)<<6
	frac := float64(bits&(1<<46-1)) * 0x1p-46
	y := p.y[i]
	return y + float64((p.y[i+1]-y)*frac)
}

// curve is linear between given points and held at its ends.
type curve struct {
	x, y [16]float64
	n    int
}

func newCurve(x, y []float64) curve {
	var c curve
	c.n = copy(c.x[:], x)
	copy(c.y[:], y)
	return c
}

func (c *curve) at(x float64) float64 {
	if c.n == 0 {
		return 0
	}
	if !(x > c.x[0]) {
		return c.y[0]
	}
	for i := 1; i < c.n; i++ {
		if x < c.x[i] {
			return c.y[i-1] + float64((c.y[i]-c.y[i-1])*((x-c.x[i-1])/(c.x[i]-c.x[i-1])))
		}
	}
	return c.y[c.n-1]
}

// settle is 1-exp(-x), the share of a first-order lag that is done after x
// time constants. Rational below 1 (error 2e-5 of 1), exact above.
func settle(x float64) float64 {
	if x >= 1 {
		return 1 - fmath.Exp(-x)
	}
	even := 1 + x*x/10
	odd := float64(x/2) + float64(x*x*x/120)
	return 2 * odd / (even + odd)
}

func clamp(x, lo, hi float64) float64 {
	if !(x > lo) {
		return lo
	}
	if x > hi {
		return hi
	}
	return x
}

const (
	degPerRad = 180 / math.Pi
	radPerDeg = math.Pi / 180
	rpmPerRad = 30 / math.Pi
)
