package require_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	stl "github.com/holdline/holdline/harness/require"
)

// ms is a trace at 1 ms with a channel x of scale 1 and a switch s.
func ms(x []float64, s ...int32) *trace {
	tr := newTrace(len(x), time.Millisecond).floats("x", "", x...)
	if s != nil {
		tr.add("s", stl.Column{Kind: stl.Switch, Ints: s})
	}
	return tr
}

// TestEndOfTraceIsInconclusive stands every operator with its window over the
// end: an outcome that the unseen part could change is never given.
func TestEndOfTraceIsInconclusive(t *testing.T) {
	good, bad := []float64{1, 1, 1}, []float64{-1, -1, -1}
	inf := math.Inf(1)
	cases := []struct {
		formula   string
		x         []float64
		verdict   stl.Verdict
		low, high float64
	}{
		{"always within 3 ms x >= 0", good, stl.Inconclusive, -inf, 1},
		{"always within 2 ms x >= 0", good, stl.Holds, 1, 1},
		{"always within 3 ms x >= 0", bad, stl.Fails, -inf, -1},
		{"eventually within 3 ms x >= 0", bad, stl.Inconclusive, -1, inf},
		{"eventually within 2 ms x >= 0", bad, stl.Fails, -1, -1},
		{"eventually within 3 ms x >= 0", good, stl.Holds, 1, inf},
		{"x <= 5 until within 3 ms x >= 0", bad, stl.Inconclusive, -1, 6},
		{"x <= 5 until within 2 ms x >= 0", bad, stl.Fails, -1, -1},
		{"x >= 0 until within 3 ms x >= 2", bad, stl.Fails, -3, -1},
		{"not always within 3 ms x >= 0", good, stl.Inconclusive, -1, inf},
		{"x >= 0 and always within 3 ms x >= 0", good, stl.Inconclusive, -inf, 1},
		{"x < 0 and always within 3 ms x >= 0", good, stl.Fails, -inf, -1},
		{"x >= 0 or always within 3 ms x >= 0", good, stl.Holds, 1, 1},
		{"x >= 0 implies always within 3 ms x >= 0", good, stl.Inconclusive, -1, 1},
		{"x >= 2 implies always within 3 ms x >= 0", good, stl.Holds, 1, 1},
		{"rising(always within 3 ms x >= 0)", good, stl.Fails, -inf, -inf},
		{"eventually rising(always within 1 ms x >= 0)", []float64{-1, 1, 1}, stl.Holds, 1, 1},
		{"eventually rising(always within 2 ms x >= 0)", []float64{-1, 1, 1}, stl.Inconclusive, -inf, 1},
		{"eventually falling(always within 1 ms x >= 0)", good, stl.Inconclusive, -1, 1},
		{"eventually once within 1 ms always within 3 ms x >= 0", good, stl.Inconclusive, -inf, 1},
		{"always historically within 1 ms eventually within 3 ms x >= 0", bad, stl.Inconclusive, -1, inf},
		{"eventually (x >= 0 since always within 3 ms x >= 0)", good, stl.Inconclusive, -inf, 1},
		{"always time_since(always within 3 ms x >= 0) <= 9 ms", good, stl.Inconclusive, -inf, inf},
	}
	for _, c := range cases {
		res := judge(t, c.formula, ms(c.x))
		assert.Equal(t, c.verdict, res.Verdict, c.formula)
		assert.Equal(t, c.low, res.Low, "low of %s", c.formula)
		assert.Equal(t, c.high, res.High, "high of %s", c.formula)
	}
}

// TestCutShort: a trace that stopped before the run did leaves open what it
// would have decided by ending.
func TestCutShort(t *testing.T) {
	for _, c := range []struct {
		formula      string
		whole, short stl.Verdict
	}{
		{"always x >= 0", stl.Holds, stl.Inconclusive},
		{"always x >= 5", stl.Fails, stl.Fails},
		{"eventually x >= 0", stl.Holds, stl.Holds},
		{"eventually x >= 5", stl.Fails, stl.Inconclusive},
		{"x >= 0 until x >= 5", stl.Fails, stl.Inconclusive},
		{"x >= 2 until x >= 5", stl.Fails, stl.Fails},
		{"always before m x >= 0", stl.Holds, stl.Holds},
		{"always before never x >= 0", stl.Holds, stl.Inconclusive},
		{"always between m and never x >= 0", stl.Holds, stl.Inconclusive},
		{"historically x >= 0", stl.Holds, stl.Holds},
	} {
		tr := ms([]float64{1, 1, 1}).moment("m", 1).moment("never")
		assert.Equal(t, c.whole, judge(t, c.formula, tr).Verdict, c.formula)
		tr.cut = true
		assert.Equal(t, c.short, judge(t, c.formula, tr).Verdict, "cut short: %s", c.formula)
	}
}

func TestUnknownSamplesNeverPass(t *testing.T) {
	nan := math.NaN()
	for _, x := range [][]float64{{1, nan, 1}, {1, math.Inf(1), 1}, {1, 1}} {
		tr := newTrace(3, time.Millisecond).floats("x", "", x...)
		for _, f := range []string{"always x >= 0", "always x != 7", "always abs(x) / x > 0", "always max(x, 5) > 0"} {
			assert.Equal(t, stl.Inconclusive, judge(t, f, tr).Verdict, "%v: %s", x, f)
		}
		assert.Equal(t, stl.Fails, judge(t, "always x >= 2", tr).Verdict, "%v", x)
	}
	empty := newTrace(0, time.Millisecond).floats("x", "")
	assert.Equal(t, stl.Inconclusive, judge(t, "always x >= 0", empty).Verdict)
	zero := ms([]float64{0, 1})
	assert.Equal(t, stl.Inconclusive, judge(t, "always 1 / x > 0", zero).Verdict)
	short := newTrace(2, time.Millisecond).add("s", stl.Column{Kind: stl.Switch, Ints: []int32{1}})
	assert.Equal(t, stl.Inconclusive, judge(t, "always s", short).Verdict)
}

// TestOnTheLimit: a margin of zero keeps the verdict of plain logic.
func TestOnTheLimit(t *testing.T) {
	for f, want := range map[string]stl.Verdict{
		"x <= 5": stl.Holds, "x >= 5": stl.Holds, "x < 5": stl.Fails, "x > 5": stl.Fails,
		"not x <= 5": stl.Fails, "not x < 5": stl.Holds, "x <= 5 and x >= 5": stl.Holds,
		"x == 5": stl.Holds, "x != 5": stl.Fails, "x < 5 or x > 5": stl.Fails,
	} {
		res := judge(t, f, ms([]float64{5}))
		assert.Equal(t, want, res.Verdict, f)
		if res.Margin.Sized {
			assert.Zero(t, res.Margin.Value, f)
		}
	}
}

// TestSwitchesDoNotHideMargins is row 8 of the worked vectors with the
// solenoid as what it is, a switch: the margin is that of the throttle.
func TestSwitchesDoNotHideMargins(t *testing.T) {
	tr := newTrace(5, time.Second).floats("throttle", "percent", 100, 99, 95, 88, 60)
	tr.add("sol", stl.Column{Kind: stl.Switch, Ints: []int32{0, 1, 1, 1, 0}})
	res := judge(t, "always (sol implies throttle >= 90 percent)", tr)
	assert.Equal(t, stl.Fails, res.Verdict)
	assert.Equal(t, "-2 percent", res.Margin.String())
	assert.Equal(t, 3, res.Tick)
	assert.Equal(t, "throttle >= 90 percent", res.Atom)
	res = judge(t, "always not sol", tr)
	assert.Equal(t, stl.Fails, res.Verdict)
	assert.False(t, res.Margin.Sized)
	assert.Equal(t, 1, res.Tick)
	assert.Equal(t, "no size", res.Margin.String())
}

func TestScalesRankUnlikeUnits(t *testing.T) {
	tr := newTrace(2, time.Millisecond)
	tr.add("rpm", stl.Column{Unit: "rpm", Ints: []int32{4900, 4950}})
	tr.add("map", stl.Column{Unit: "kPa", Ints: []int32{1100, 1200}, PerUnit: 10, MarginScale: 50})
	res := judge(t, "always (rpm <= 5000 rpm and map >= 1 bar)", tr)
	// 50 rpm of 100 against 10 kPa of 50: the pressure is closer.
	assert.Equal(t, "map >= 1 bar", res.Atom)
	assert.Equal(t, stl.Margin{Value: 10, Unit: "kPa", Scaled: 0.2, Sized: true}, res.Margin)
	assert.Equal(t, 0, res.Tick)

	set, err := stl.Compile([]stl.Requirement{
		{ID: "own", Formula: "always (rpm <= 5000 rpm and map >= 1 bar)", Unit: "rpm", Scale: 500},
		{ID: "shown", Formula: "always map >= 1 bar", Unit: "bar", Scale: 0.5},
	}, tr)
	require.NoError(t, err)
	out, err := set.Evaluate(tr)
	require.NoError(t, err)
	assert.Equal(t, stl.Margin{Value: 50, Unit: "rpm", Scaled: 0.1, Sized: true}, out[0].Margin)
	assert.Equal(t, stl.Margin{Value: 0.1, Unit: "bar", Scaled: 0.2, Sized: true}, out[1].Margin)
}

// TestUnitsCompose: handbook relations. 1 rpm is 6 degrees a second; 100 km/h
// is 27.78 m/s; 1 kW is 1 Nm at 1000/2pi rev/s (SI definitions).
func TestUnitsCompose(t *testing.T) {
	tr := newTrace(3, 100*time.Millisecond)
	tr.floats("rpm", "rpm", 1000, 2000, 3000).floats("lag", "ms", 5, 5, 5).floats("v", "km/h", 36, 36, 36)
	tr.floats("duty", "percent", 50, 50, 50).floats("lambda", "", 0.5, 0.5, 0.5)
	for f, want := range map[string]float64{
		"rpm * lag <= 200 deg":                             170, // 1000 rpm for 5 ms is 30 deg
		"200 deg >= rpm * lag":                             170,
		"v <= 20 m/s":                                      36,   // 20 m/s is 72 km/h
		"eventually slope(rpm, 100 ms) >= 9000 rpm/s":      1000, // 1000 rpm in 0.1 s
		"eventually delta(rpm, 200 ms) >= 1500 rpm":        500,
		"eventually slope(rpm, 100 ms) * lag >= 40 rpm":    10, // slope x delay
		"duty + lambda <= 200 percent":                     100,
		"62 bar >= 6200 kPa":                               0,
		"eventually time_since(rpm <= 1000 rpm) >= 0.15 s": 50,
		"max(1 s, 200 ms, 3 ms) >= 0.25 s":                 0.75,
		"lag >= 0":                                         5,
		"0 <= lag":                                         5,
		"-lag <= -2 ms":                                    3,
		"abs(-lag) >= abs(-2 ms)":                          3,
		"lag / 5 ms >= 0.5":                                0.5,
	} {
		res := judge(t, f, tr)
		assert.InDelta(t, want, res.Margin.Value, 1e-9, f)
		assert.True(t, res.Verdict == stl.Holds, f)
	}
}

func TestVacuity(t *testing.T) {
	tr := ms([]float64{1, 2, 3, 4}, 0, 0, 1, 0).moment("never").moment("m", 1).moment("k", 3)
	for f, want := range map[string][]string{
		"always (s implies x > 0)":                                   nil,
		"always (x > 9 implies x > 0)":                               {"x > 9"},
		"x > 1 implies x > 0":                                        {"x > 1"},
		"always within 1 ms (s implies x > 0)":                       {"s"},
		"always from 1 ms to 2 ms (s implies x > 0)":                 nil,
		"always (s implies (x > 3 implies x > 0))":                   {"x > 3"}, // true, but never while s
		"always (s implies eventually (x > 3 implies x > 0))":        nil,
		"always (x > 9 implies (s implies x > 0))":                   {"x > 9"},
		"always between never and m x > 9":                           {"at never"},
		"always between m and k (x > 3 implies x > 9)":               {"x > 3"},
		"always between m and k (x > 2 implies x > 0)":               nil,
		"always ((s implies x > 0) and (x > 8 implies x > 0))":       {"x > 8"},
		"always historically within 9 ms (x > 9 implies x > 0)":      {"x > 9"},
		"always (true since (x > 9 implies x > 0))":                  {"x > 9"},
		"(s implies x > 0) until x > 2":                              nil,
		"eventually after m (x > 1 implies x > 0)":                   nil,
		"always (x > 0 implies once back to m (s implies x > 0))":    nil,
		"not (x > 9 implies x > 0) or x > 0":                         {"x > 9"},
		"eventually from 50 ms to 60 ms (s implies x > 0) or x >= 0": nil, // never asked
	} {
		assert.Equal(t, want, judge(t, f, tr).Vacuous, f)
	}
}

func TestPremise(t *testing.T) {
	tr := ms([]float64{1, 2}).moment("release")
	set, err := stl.Compile([]stl.Requirement{
		{ID: "a", Formula: "always x < 0", Premise: "eventually at release"},
	}, tr)
	require.NoError(t, err)
	out, err := set.Evaluate(tr)
	require.NoError(t, err)
	assert.Equal(t, stl.Holds, out[0].Verdict)
	assert.Equal(t, []string{"eventually at release"}, out[0].Vacuous)
	tr.moments["release"] = []int{1}
	out, err = set.Evaluate(tr)
	require.NoError(t, err)
	assert.Equal(t, stl.Fails, out[0].Verdict)
	assert.Empty(t, out[0].Vacuous)
	assert.Equal(t, -2.0, out[0].Margin.Value)
}

func TestMarginInTime(t *testing.T) {
	// Timing is back at base 150 ms after a release at 100 ms, and stays.
	x := make([]float64, 1000)
	for i := range x {
		if i >= 250 {
			x[i] = 20
		}
	}
	tr := ms(x).moment("release", 100)
	res := judge(t, "always (at release implies eventually within 200 ms x >= 20)", tr)
	assert.Equal(t, stl.Holds, res.Verdict)
	assert.Equal(t, stl.Shift{Known: true, Limited: true, Ticks: 50, Time: 50 * time.Millisecond}, res.Later)
	// Nor may the release come more than 50 ms earlier, timing staying put.
	assert.Equal(t, 50, res.Earlier.Ticks)

	// A breach of 30 ticks: nothing short of moving it 29 ticks clears its
	// first sample, nor its last.
	for i := range x {
		x[i] = 0
		if i >= 500 && i < 530 {
			x[i] = 20
		}
	}
	res = judge(t, "always x < 10", ms(x))
	assert.Equal(t, stl.Fails, res.Verdict)
	assert.Equal(t, 29, res.Earlier.Ticks)
	assert.Equal(t, 29, res.Later.Ticks)

	res = judge(t, "always within 5 s x < 30", ms(x))
	assert.Equal(t, stl.Shift{}, res.Later, "inconclusive has no margin in time")
	res = judge(t, "always x < 30", ms(x))
	assert.Equal(t, stl.Shift{Known: true}, res.Later)
}

func TestStretches(t *testing.T) {
	tr := ms([]float64{9, 1, 2, 9, 9, 3, 4, 9}).moment("a", 1, 5).moment("b", 3, 7).moment("never")
	for f, want := range map[string]stl.Verdict{
		"always between a and b x <= 4":                                stl.Holds,
		"always between a and b x <= 3":                                stl.Fails,
		"eventually between a and b x >= 4":                            stl.Fails, // not in the first stretch
		"eventually between a and b x >= 2":                            stl.Holds,
		"always before a x >= 9":                                       stl.Holds,
		"eventually before a x < 9":                                    stl.Fails,
		"eventually after a x <= 3":                                    stl.Holds,
		"always after a x <= 3":                                        stl.Fails,
		"always between never and b x < 0":                             stl.Holds,
		"always between b and never x >= 3":                            stl.Holds,
		"always (at b implies historically back to a x <= 4)":          stl.Fails,
		"always (at b implies once back to a x <= 3)":                  stl.Holds,
		"eventually once back to never x > 0":                          stl.Fails,
		"always historically back to never x < 0":                      stl.Holds,
		"always (at b implies value_at(x, a) <= 3)":                    stl.Holds,
		"always value_at(x, a) <= 3":                                   stl.Inconclusive,
		"always (at b implies time_since(at a) == 2 ms)":               stl.Holds,
		"always (time_since(at never) > 1 s)":                          stl.Holds,
		"x >= 9 until before b x <= 1":                                 stl.Holds,
		"eventually (at b and (x >= 9 since back to a x >= 9))":        stl.Holds,
		"eventually (at a and x == 3) and not eventually rising(true)": stl.Holds,
	} {
		assert.Equal(t, want, judge(t, f, tr).Verdict, f)
	}
}

func TestMarginJSON(t *testing.T) {
	res := judge(t, "always s", ms([]float64{1}, 1))
	out, err := json.Marshal(res.Margin)
	require.NoError(t, err)
	assert.JSONEq(t, `{"value":null,"unit":"","scaled":null}`, string(out))
	res = judge(t, "always (s implies eventually within 5 ms x >= 3)", ms([]float64{1, 2}, 1, 0))
	out, err = json.Marshal(res)
	require.NoError(t, err)
	assert.JSONEq(t, `{"id":"formula","verdict":"inconclusive","margin":{"value":-1,"unit":"","scaled":-1},
		"low":-1,"high":null,"tick":1,"condition":"x >= 3","channels":["x"],"earlier_ms":null,"later_ms":null}`, string(out))
	res = judge(t, "always (x <= 1 implies abs(x) + time_since(s) / 1 ms <= 3)", ms([]float64{1, 2}, 1, 0))
	out, err = json.Marshal(res)
	require.NoError(t, err)
	assert.JSONEq(t, `{"id":"formula","verdict":"holds","margin":{"value":1,"unit":"","scaled":1},
		"low":1,"high":1,"tick":1,"condition":"x <= 1","channels":["x"],"earlier_ms":null,"later_ms":null}`, string(out))
}

func TestTraceMustMatch(t *testing.T) {
	tr := ms([]float64{1, 2}, 1, 0).moment("m", 1)
	set, err := stl.Compile([]stl.Requirement{{ID: "a", Formula: "always (s or at m or x > 0)"}}, tr)
	require.NoError(t, err)
	for name, spoil := range map[string]func(*trace){
		"tick of 2ms":      func(tr *trace) { tr.period = 2 * time.Millisecond },
		`no channel "s"`:   func(tr *trace) { delete(tr.columns, "s") },
		`no moment "m"`:    func(tr *trace) { delete(tr.moments, "m") },
		"outside 0..1":     func(tr *trace) { tr.moments["m"] = []int{2} },
		"out of order":     func(tr *trace) { tr.moments["m"] = []int{1, 0} },
		`unit is "rpm"`:    func(tr *trace) { tr.columns["x"] = stl.Column{Unit: "rpm"} },
		"is a quantity":    func(tr *trace) { tr.columns["s"] = stl.Column{} },
		"the formula was ": func(tr *trace) { tr.columns["s"] = stl.Column{Kind: stl.State} },
	} {
		other := ms([]float64{1, 2}, 1, 0).moment("m", 1)
		spoil(other)
		_, err := set.Evaluate(other)
		require.ErrorContains(t, err, name)
	}
	out, err := set.Evaluate(ms([]float64{-1, -1, -1}, 1, 1, 0).moment("m"))
	require.NoError(t, err, "after errors, and with another length")
	assert.Equal(t, stl.Fails, out[0].Verdict)
	_, err = stl.Evaluate("true", newTrace(1, 0))
	require.ErrorContains(t, err, "above 0")
}

// TestSetIsRepeatable: order, company and earlier traces change nothing.
func TestSetIsRepeatable(t *testing.T) {
	tr := launchTrace()
	set, err := stl.Compile(typicalSet(), tr)
	require.NoError(t, err)
	assert.Subset(t, tr.names, set.Channels())
	assert.Contains(t, set.Channels(), "engine_speed")
	first, err := set.Evaluate(tr)
	require.NoError(t, err)
	second, err := set.Evaluate(tr)
	require.NoError(t, err)
	assert.Equal(t, first, second)
	for i, r := range typicalSet() {
		alone := judge(t, r.Formula, tr)
		alone.ID = r.ID
		assert.Equal(t, first[i], alone, r.Formula)
	}
}
