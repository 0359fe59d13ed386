package record

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestCursorHeld(t *testing.T) {
	c := Channel{TimeUS: ms(100, 200, 300, 600, 700), Value: []float64{1, 2, nan, 4, 5}, IntervalUS: 100_000}
	k := c.Cursor(Held, 0)
	cases := []struct {
		t    int64 // ms
		v    float64
		age  int64 // ms; -1: none
		want bool
	}{
		{0, nan, -1, false}, {99, nan, -1, false},
		{100, 1, 0, true}, {199, 1, 99, true}, {200, 2, 0, true},
		{300, 2, 100, true}, {350, 2, 150, true}, {351, 2, 151, false}, // the missing sample is none
		{599, 2, 399, false}, {600, 4, 0, true}, {700, 5, 0, true}, {850, 5, 150, true}, {851, 5, 151, false},
		{100, 1, 0, true}, // back
		{650, 4, 50, true}, {320, 2, 120, true}, {50, nan, -1, false}, {900, 5, 200, false},
	}
	for _, x := range cases {
		assertSample(t, k.At(x.t*1000), x.t, x.v, x.age, x.want)
	}
}

func assertSample(t *testing.T, s Sample, at int64, v float64, ageMs int64, fresh bool) {
	t.Helper()
	if ageMs >= 0 {
		ageMs *= 1000
	}
	assert.Equal(t, ageMs, s.AgeUS, "age at %d", at)
	assert.Equal(t, fresh, s.Fresh, "fresh at %d", at)
	if math.IsNaN(v) {
		assert.True(t, math.IsNaN(s.Value), "value at %d", at)
		return
	}
	assert.Equal(t, v, s.Value, "value at %d", at)
}

func TestCursorLinear(t *testing.T) {
	c := Channel{TimeUS: ms(0, 100, 250, 401, 500), Value: []float64{0, 10, 25, 40, 30}, IntervalUS: 100_000}
	k := c.Cursor(Linear, 0)
	cases := []struct {
		t     int64
		v     float64
		age   int64
		fresh bool
	}{
		{0, 0, 0, true}, {50, 5, 50, true}, {100, 10, 0, true},
		{175, 17.5, 75, true}, {249, 24.9, 149, true}, // 150 ms apart: one and a half intervals, to the microsecond
		{250, 25, 0, true}, {251, 25, 1, false}, {400, 25, 150, false}, // 151 ms apart: a gap
		{401, 40, 0, true}, {500, 30, 0, true}, {650, 30, 150, true}, {651, 30, 151, false},
	}
	for _, x := range cases {
		s := k.At(x.t * 1000)
		assert.InDelta(t, x.v, s.Value, 1e-12, "at %d", x.t)
		assert.Equal(t, x.age*1000, s.AgeUS, "at %d", x.t)
		assert.Equal(t, x.fresh, s.Fresh, "at %d", x.t)
	}
}

func TestCursorOfLittle(t *testing.T) {
	var zero Cursor
	none := Channel{}
	allMissing := Channel{TimeUS: ms(0, 1), Value: []float64{nan, nan}}
	empty, missing := none.Cursor(Held, 0), allMissing.Cursor(Linear, 0)
	for _, k := range []*Cursor{&empty, &missing} {
		assertSample(t, k.At(0), 0, nan, -1, false)
		assertSample(t, k.At(math.MaxInt64), 0, nan, -1, false)
	}
	assert.NotPanics(t, func() { assertSample(t, zero.At(5), 5, nan, -1, false) })
	one := Channel{TimeUS: ms(5), Value: []float64{7}}
	k := one.Cursor(Linear, 0)
	assertSample(t, k.At(5000), 5, 7, 0, true)
	assertSample(t, k.At(6000), 6, 7, 1, false)
	k = one.Cursor(Held, 2000)
	assertSample(t, k.At(8000), 8, 7, 3, true)
	assertSample(t, k.At(9000), 9, 7, 4, false)
	k.At(math.MinInt64)
	k.At(math.MaxInt64)
}

func TestRepeatedStampsTakeTheLast(t *testing.T) {
	c := Channel{TimeUS: ms(0, 10, 10, 10, 20), Value: []float64{1, 2, 3, 4, 5}, IntervalUS: 10_000}
	for _, m := range []Mode{Held, Linear} {
		k := c.Cursor(m, 0)
		assert.Equal(t, 4.0, k.At(10_000).Value)
	}
}

// simpleAt is the plainest way to sample: look at every value.
func simpleAt(c *Channel, m Mode, at int64) Sample {
	now, next := -1, -1
	for i, v := range c.Value {
		if math.IsNaN(v) {
			continue
		}
		if c.TimeUS[i] <= at {
			now = i
		} else if next < 0 {
			next = i
		}
	}
	if now < 0 {
		return Sample{nan, -1, false}
	}
	a := at - c.TimeUS[now]
	s := Sample{c.Value[now], a, 2*a <= 3*c.IntervalUS}
	if m == Linear && next >= 0 && a > 0 {
		span := c.TimeUS[next] - c.TimeUS[now]
		s.Fresh = 2*span <= 3*c.IntervalUS
		if s.Fresh {
			s.Value = c.Value[now] + (c.Value[next]-c.Value[now])*float64(a)/float64(span)
		}
	}
	return s
}

// TestCursorAgainstSimple races the cursor, going forwards and back, against
// simpleAt, with gaps, repeats and missing values.
func TestCursorAgainstSimple(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 300 {
		c := Channel{IntervalUS: 2 * rng.Int64N(6)}
		at := int64(0)
		for range rng.IntN(30) {
			at += rng.Int64N(12)
			v := float64(rng.IntN(5))
			if rng.IntN(4) == 0 {
				v = nan
			}
			c.TimeUS, c.Value = append(c.TimeUS, at), append(c.Value, v)
		}
		for _, m := range []Mode{Held, Linear} {
			k := c.Cursor(m, 0)
			ask := int64(-3)
			for range 100 {
				ask += rng.Int64N(9) - 2
				got, want := k.At(ask), simpleAt(&c, m, ask)
				require.Equal(t, want.AgeUS, got.AgeUS)
				if c.IntervalUS > 0 {
					require.Equal(t, want.Fresh, got.Fresh, "%v %v at %d: %+v %+v", c, m, ask, got, want)
				}
				if math.IsNaN(want.Value) {
					require.True(t, math.IsNaN(got.Value))
				} else {
					require.InDelta(t, want.Value, got.Value, 1e-12)
				}
			}
		}
	}
}

func TestLinearStaysBetween(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for range 100_000 {
		a, b := math.Float64frombits(rng.Uint64()), math.Float64frombits(rng.Uint64())
		if rng.IntN(3) == 0 {
			b = a
		}
		if math.IsNaN(a) || math.IsInf(a, 0) || math.IsNaN(b) || math.IsInf(b, 0) {
			continue
		}
		v := between(a, b, rng.Float64())
		require.True(t, v >= min(a, b) && v <= max(a, b), "%v %v %v", a, b, v)
	}
}

func TestCursorAllocatesNothing(t *testing.T) {
	c := Channel{TimeUS: ms(0, 10, 20, 30), Value: []float64{1, nan, 3, 4}, IntervalUS: 10_000}
	for _, m := range []Mode{Held, Linear} {
		k := c.Cursor(m, 0)
		at := int64(0)
		assert.Zero(t, testing.AllocsPerRun(1000, func() {
			k.At(at)
			at = (at + 1700) % 40_000
		}))
	}
}
