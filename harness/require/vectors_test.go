package require_test

import (
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	stl "github.com/holdline/holdline/harness/require"
)

// The vectors below are those of the project's reference on temporal logic:
// rows 1-6 and 8-10 were computed there both by a brute-force evaluator and by
// an independent monitor, 7, 11 and 13 by that monitor and by hand. One sample
// is one second. Scales are 1, so that scaled and raw margins agree.

func second(n int) *trace { return newTrace(n, time.Second) }

func TestWorkedVectors(t *testing.T) {
	rpm := func() *trace { return second(6).floats("rpm", "rpm", 4800, 4950, 5030, 5060, 5010, 4990) }
	x := func() *trace { return second(5).floats("x", "", 1, 2, 4, 3, -1) }
	cut := func() *trace {
		return second(5).floats("throttle", "percent", 100, 99, 95, 88, 60).floats("sol", "", 0, 1, 1, 1, 0)
	}
	z := func() *trace { return second(7).floats("z", "", -1, 1, 2, 3, 1, -2, 0) }
	pq := func(p, q []float64) *trace { return second(len(p)).floats("p", "", p...).floats("q", "", q...) }
	p5, q5 := []float64{5, 4, 3, 2, -2}, []float64{-3, -2, 1, 2, 4}
	cases := []struct {
		row     string
		tr      *trace
		formula string
		rho     float64
	}{
		{"1", rpm(), "always rpm <= 5100 rpm", 40},
		{"2", rpm(), "always rpm <= 5050 rpm", -10},
		{"3", rpm(), "always (rpm >= 5050 rpm implies eventually within 2 s rpm <= 5020 rpm)", 20},
		{"4a", x(), "eventually within 4 s x >= 3", 1},
		{"4b", x(), "always within 3 s x >= 0", 1},
		{"4c", x(), "always within 4 s x >= 0", -1},
		{"5", pq(p5, q5), "p >= 0 until within 4 s q >= 0", 2},
		{"6", pq([]float64{5, 4, -1, 2, 2}, []float64{-3, -2, -1, 2, 4}), "p >= 0 until within 4 s q >= 0", -1},
		// Row 7: p must hold up to, not at, the moment q does: W = [t, u).
		{"7", pq([]float64{5, -1}, []float64{-3, 2}), "p >= 0 until within 1 s q >= 0", 2},
		// The other convention can be written: q and p together at the end.
		{"7 closed", pq([]float64{5, -1}, []float64{-3, 2}), "p >= 0 until within 1 s (q >= 0 and p >= 0)", -1},
		{"8", cut(), "always (sol >= 0.5 implies throttle >= 90 percent)", -0.5},
		{"9", cut(), "always (not throttle >= 90 percent implies eventually within 1 s sol <= 0.5)", 0.5},
		{"10", z(), "eventually within 3 s always within 2 s z >= 0", 1},
	}
	for _, c := range cases {
		t.Run(c.row, func(t *testing.T) {
			res := judge(t, c.formula, c.tr)
			assert.Equal(t, c.rho, res.Margin.Scaled)
			assert.Equal(t, c.rho, res.Margin.Value)
			assert.Equal(t, c.rho > 0, res.Verdict == stl.Holds)
			assert.Equal(t, c.rho < 0, res.Verdict == stl.Fails)
		})
	}
}

// at gives the margin of a past formula at tick k, by cutting the trace there:
// "eventually, at the last tick" is the formula there.
func at(t *testing.T, formula string, tr *trace, k int) stl.Result {
	t.Helper()
	return judge(t, fmt.Sprintf("eventually from %d s to %d s (%s)", k, k, formula), tr)
}

func TestVectorRow11Past(t *testing.T) {
	tr := second(7).floats("z", "", -1, 1, 2, 3, 1, -2, 0)
	for k, want := range []float64{-1, -1, -1, 1, 1, -2, -2} {
		assert.Equal(t, want, at(t, "historically within 2 s z >= 0", tr, k).Margin.Value, "historically, tick %d", k)
	}
	for k, want := range []float64{-1, 1, 2, 3, 3, 3, 1} {
		assert.Equal(t, want, at(t, "once within 2 s z >= 0", tr, k).Margin.Value, "once, tick %d", k)
	}
}

// Row 12: that monitor gives +inf and -inf for windows beyond the trace; the
// reference asks for inconclusive instead.
func TestVectorRow12BeyondTheEnd(t *testing.T) {
	tr := second(2).floats("y", "", 2, 1)
	for _, f := range []string{"always from 3 s to 5 s y >= 0", "eventually from 3 s to 5 s y >= 0"} {
		res := judge(t, f, tr)
		assert.Equal(t, stl.Inconclusive, res.Verdict)
		assert.Equal(t, math.Inf(-1), res.Low)
		assert.Equal(t, math.Inf(1), res.High)
	}
}

// Row 13: step-hold between samples that stand two ticks apart.
func TestVectorRow13StepHold(t *testing.T) {
	tr := newTrace(14, 500*time.Millisecond)
	tr.add("x", stl.Column{Every: 2, MarginScale: 1, Floats: []float64{3, 1, -1, 4, 4, 4, 4}})
	for k := 0; k < 10; k++ {
		want := -1.0
		if k >= 6 {
			want = 4
		}
		f := fmt.Sprintf("eventually from %d ms to %d ms always within 2 s x >= 0", 500*k, 500*k)
		assert.Equal(t, want, judge(t, f, tr).Margin.Value, "at %d ms", 500*k)
	}
}
