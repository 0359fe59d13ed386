package require_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	stl "github.com/holdline/holdline/harness/require"
)

// launchTrace is 10 s at 1 kHz with 30 channels: an invented hold on a
// limiter, a release at 4 s and a run up to the main ceiling.
func launchTrace() *trace {
	const n, release, ended = 10_000, 4000, 9500
	r := rand.New(rand.NewPCG(1, 4))
	tr := newTrace(n, time.Millisecond)
	column := func(f func(t int) int) []int32 {
		out := make([]int32, n)
		for t := range out {
			out[t] = int32(f(t))
		}
		return out
	}
	held := func(t int) bool { return t >= 1000 && t < release }
	speed := column(func(t int) int {
		switch {
		case t < 1000:
			return 2000 + 3*t + r.IntN(20)
		case t < release:
			return 4950 + (t*7)%90 + r.IntN(10)
		}
		return min(5000+(t-release)*2, 8950) + r.IntN(20)
	})
	onOff := func(f func(t int) bool) []int32 {
		return column(func(t int) int {
			if f(t) {
				return 1
			}
			return 0
		})
	}
	tr.add("engine_speed", stl.Column{Unit: "rpm", Ints: speed})
	tr.add("ceiling", stl.Column{Unit: "rpm", Ints: column(func(t int) int {
		if held(t) {
			return 5000
		}
		return 9000
	})})
	tr.add("throttle", stl.Column{Unit: "percent", PerUnit: 10, Ints: column(func(t int) int { return min(1000, t) })})
	tr.add("timing", stl.Column{Unit: "deg", PerUnit: 10, Ints: column(func(t int) int {
		if held(t) {
			return -50 + r.IntN(3)
		}
		return min(200, -50+max(0, t-release)*3)
	})})
	tr.add("demand", stl.Column{Unit: "percent", PerUnit: 100, Ints: column(func(t int) int {
		if held(t) && speed[t] > 5000 {
			return 5000 + r.IntN(100)
		}
		return 0
	})})
	tr.add("boost", stl.Column{Unit: "kPa", PerUnit: 10, Ints: column(func(t int) int { return 1000 + t/10 })})
	tr.add("lambda", stl.Column{PerUnit: 1000, Ints: column(func(t int) int { return 850 + r.IntN(20) })})
	tr.add("volts", stl.Column{Unit: "V", PerUnit: 1000, Ints: column(func(t int) int { return 13500 + r.IntN(300) })})
	tr.add("hold_input", stl.Column{Kind: stl.Switch, Ints: onOff(func(t int) bool { return t >= 500 && t < release })})
	tr.add("shot_open", stl.Column{Kind: stl.Switch, Ints: onOff(func(t int) bool { return t > 4800 && t < 7000 })})
	tr.add("arm", stl.Column{Kind: stl.Switch, Ints: onOff(func(t int) bool { return t > 100 })})
	tr.add("sequence", stl.Column{Kind: stl.State, Labels: []string{"idle", "held", "released", "ended", "aborted"},
		Ints: column(func(t int) int {
			switch {
			case t < 1000:
				return 0
			case t < release:
				return 1
			case t < ended:
				return 2
			}
			return 3
		})})
	tr.add("inhibit", stl.Column{Kind: stl.Flags, Labels: []string{"voltage", "throttle", "speed"},
		Ints: onOff(func(t int) bool { return t < 200 })})
	for i := len(tr.names); i < 30; i++ {
		base := 100 * i
		tr.add(fmt.Sprintf("aux%d", i), stl.Column{Unit: "kPa", Ints: column(func(t int) int { return base + r.IntN(50) })})
	}
	return tr.moment("release", release).moment("ended", ended).moment("launch", 1000)
}

// typicalSet is about what the standard sets will ask, 60 requirements.
func typicalSet() []stl.Requirement {
	formulas := []string{
		"always engine_speed <= 9100 rpm",
		"always (sequence is held implies engine_speed <= ceiling + 300 rpm)",
		"always (rising(engine_speed > ceiling) implies eventually within 20 ms demand > 0)",
		"always (falling(engine_speed > ceiling - 100 rpm) implies eventually within 30 ms demand <= 1 percent)",
		"always between launch and release (time_since(at launch) >= 300 ms implies abs(engine_speed - ceiling) <= 200 rpm)",
		"always (at release implies eventually within 200 ms always within 50 ms timing >= 19 deg)",
		"always (at release implies always from 24 ms to 500 ms demand <= 0)",
		"always between release and ended delta(engine_speed, 100 ms) >= -200 rpm",
		"always (sequence is held implies once within 600 ms hold_input)",
		"always (shot_open implies arm and throttle >= 90 percent and engine_speed >= 3000 rpm)",
		"always (shot_open implies historically within 20 ms (throttle >= 90 percent))",
		"always (falling(arm) implies not shot_open until rising(arm))",
		"always (rising(shot_open) implies time_since(falling(shot_open)) >= 500 ms)",
		"always (shot_open implies timing <= 20 deg and lambda <= 0.88)",
		"always (inhibit has voltage implies not shot_open)",
		"eventually after launch at release",
		"always (rising(sequence is held) implies historically from 1 ms to 400 ms hold_input)",
		"always between release and ended slope(timing, 10 ms) <= 400 deg/s",
		"always (demand > 0 implies not shot_open since engine_speed <= ceiling)",
		"always (volts >= 9 V or always within 100 ms not shot_open)",
	}
	var out []stl.Requirement
	for i, f := range formulas {
		out = append(out, stl.Requirement{ID: fmt.Sprintf("r%d", i), Formula: f})
	}
	for i := 13; i < 30; i++ {
		out = append(out,
			stl.Requirement{ID: fmt.Sprintf("low%d", i), Formula: fmt.Sprintf("always (sequence is released implies aux%d >= %d kPa)", i, 100*i-10)},
			stl.Requirement{ID: fmt.Sprintf("band%d", i), Formula: fmt.Sprintf("always (aux%d > %d kPa implies eventually within 100 ms aux%d < %d kPa)", i, 100*i+40, i, 100*i+20)})
	}
	for i := len(out); i < 60; i++ {
		out = append(out, stl.Requirement{ID: fmt.Sprintf("more%d", i),
			Formula: fmt.Sprintf("always (rising(engine_speed >= %d rpm) implies eventually within %d ms engine_speed <= %d rpm or boost >= 100 kPa)", 100*i, 10*i, 100*i-50)})
	}
	return out
}

func TestTypicalSetIsSane(t *testing.T) {
	tr := launchTrace()
	set, err := stl.Compile(typicalSet(), tr)
	require.NoError(t, err)
	results, err := set.Evaluate(tr)
	require.NoError(t, err)
	require.Len(t, results, 60)
	holds := 0
	for _, r := range results {
		if r.Verdict == stl.Holds {
			holds++
		}
	}
	require.Greater(t, holds, 40)
}

// BenchmarkTypicalSet: 60 requirements over 10 s at 1 kHz with 30 channels,
// margins and both time margins.
func BenchmarkTypicalSet(b *testing.B) {
	tr := launchTrace()
	set, err := stl.Compile(typicalSet(), tr)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := set.Evaluate(tr); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkCompileTypicalSet(b *testing.B) {
	tr := launchTrace()
	for b.Loop() {
		if _, err := stl.Compile(typicalSet(), tr); err != nil {
			b.Fatal(err)
		}
	}
}
