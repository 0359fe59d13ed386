package require_test

import (
	"errors"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
)

// upTo is a trace as it was after n ticks.
func (tr *trace) upTo(n int) *trace {
	part := *tr
	part.n = n
	part.moments = map[string][]int{}
	for name, at := range tr.moments {
		for i, t := range at {
			if t >= n {
				at = at[:i]
				break
			}
		}
		part.moments[name] = at
	}
	return &part
}

// TestMonitorAgreesWithEvaluate feeds random traces tick by tick. Finished, the
// bounds are those of Evaluate to the last bit; on the way they only narrow
// and always contain them.
func TestMonitorAgreesWithEvaluate(t *testing.T) {
	runs := 40_000
	if os.Getenv("HOLDLINE_LONG") != "" {
		runs = 400_000
	}
	taken := 0
	for seed := 0; seed < runs; seed++ {
		r := rand.New(rand.NewPCG(uint64(seed), 8))
		tr, f := randomTrace(r), generator{r}.formula()
		m, err := stl.NewMonitor(stl.Requirement{ID: "r", Formula: f.String()}, tr.upTo(0))
		var fs harness.Findings
		if errors.As(err, &fs) {
			require.Contains(t, fs[0].Reason, "cannot be judged during the run")
			continue
		}
		require.NoError(t, err)
		taken++
		res := judge(t, f.String(), tr)
		checkMonitor(t, m, f, tr, res, 1+r.IntN(3))
	}
	t.Logf("%d of %d formulas could be streamed", taken, runs)
	require.Greater(t, taken, runs/3)
}

func checkMonitor(t *testing.T, m *stl.Monitor, f *oNode, tr *trace, res stl.Result, stride int) {
	for n := 0; n <= tr.n; n += stride {
		v, err := m.Advance(tr.upTo(n))
		require.NoError(t, err)
		low, high := m.Bounds()
		require.True(t, low <= res.Low && res.High <= high, "%s: after %d ticks %v..%v, in the end %v..%v", f, n, low, high, res.Low, res.High)
		require.True(t, v == stl.Inconclusive || v == res.Verdict, "%s: after %d ticks %v, in the end %v", f, n, v, res.Verdict)
	}
	v, err := m.Finish(tr)
	require.NoError(t, err)
	low, high := m.Bounds()
	require.True(t, sameBits(low, res.Low) && sameBits(high, res.High), "%s: %v..%v, want %v..%v", f, low, high, res.Low, res.High)
	require.Equal(t, res.Verdict, v)
}

// TestMonitorStopsEarly: a breach is known at the tick at which it happens, a
// missed deadline when it has passed.
func TestMonitorStopsEarly(t *testing.T) {
	tr := ms([]float64{0, 0, 9, 0, 0, 0, 0, 0}, 0, 1, 0, 0, 0, 0, 0, 0)
	for formula, at := range map[string]int{
		"always x < 5": 3,
		"always (rising(s) implies eventually within 3 ms x > 20)":    5,
		"always (x > 5 implies once within 1 ms x > 30)":              3,
		"eventually s implies always x < 5":                           3,
		"not always (x >= 0 until from 1 ms to 2 ms x > 5 or x == 0)": -1,
	} {
		m, err := stl.NewMonitor(stl.Requirement{ID: "r", Formula: formula}, tr)
		require.NoError(t, err, formula)
		first := -1
		for n := 1; n < tr.n; n++ {
			v, err := m.Advance(tr.upTo(n))
			require.NoError(t, err)
			if v == stl.Fails && first < 0 {
				first = n
			}
		}
		assert.Equal(t, at, first, formula)
	}
}

func TestMonitorRefusals(t *testing.T) {
	tr := ms([]float64{1, 2, 3}, 0, 1, 0).moment("m")
	tr.add("lin", stl.Column{Every: 10, Interp: stl.Linear, Floats: []float64{1}})
	for _, f := range []string{
		"always (s implies eventually x > 3)", "always (s implies always before m x > 3)",
		"always between m and m s", "s until s", "always lin > 3", "s and", "always time_since(eventually s) > 3 ms",
		"always once within 9999 s s", "always delta(x, 9999 s) > 3",
	} {
		_, err := stl.NewMonitor(stl.Requirement{ID: "r", Formula: f}, tr)
		require.Error(t, err, f)
	}
	m, err := stl.NewMonitor(stl.Requirement{ID: "r", Formula: "always s"}, tr)
	require.NoError(t, err)
	_, err = m.Advance(tr)
	require.NoError(t, err)
	_, err = m.Advance(tr.upTo(1))
	require.ErrorContains(t, err, "fewer than the 3 already seen")
	_, err = m.Finish(newTrace(9, time.Second))
	require.ErrorContains(t, err, "tick of 1s")
	_, err = m.Finish(tr)
	require.NoError(t, err)
	_, err = m.Advance(tr)
	require.ErrorContains(t, err, "finished")
}

// BenchmarkMonitor feeds one launch tick by tick to one requirement.
func BenchmarkMonitor(b *testing.B) {
	tr := launchTrace()
	r := stl.Requirement{ID: "r", Formula: "always (rising(engine_speed > ceiling) implies eventually within 20 ms demand > 0)"}
	for b.Loop() {
		m, err := stl.NewMonitor(r, tr)
		require.NoError(b, err)
		_, err = m.Finish(tr)
		require.NoError(b, err)
	}
}
