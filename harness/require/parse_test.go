package require_test

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
)

func TestParseErrorsPointAndExplain(t *testing.T) {
	cases := []struct {
		src    string
		column int
		want   string // in the printed finding
	}{
		{"", 1, `expected a channel, a number, a function, a condition or "("`},
		{"x >", 4, "expected a channel"},
		{"always (x > 1", 14, `expected ")" to close the bracket`},
		{"x > 1)", 6, "expected an operator or the end"},
		{"x = 1", 3, "write == to compare"},
		{"x > 5 rmp", 7, "did you mean rpm?"},
		{"x > 5 parsecs", 7, "units are"},
		{"always within 5 rpm x", 15, "expected a time, such as 200 ms"},
		{"always within x > 3", 15, "expected a time"},
		{"always from 5 ms 7 ms x", 18, `expected "to" and a time`},
		{"once before m x", 6, `expected "within" or "from" or "back to" after "once"`},
		{"always back to m x", 8, `expected "within" or "from" after "always"`},
		{"p until after m q", 9, `expected "within" or "from" or "before" after "until"`},
		{"p until q until r", 11, "group two until or since with parentheses"},
		{"1 <= x <= 2", 8, "write a <= x and x <= b"},
		{"at and", 4, "put a name that is also a keyword in double quotes"},
		{"ab(x) > 1", 1, "did you mean abs?"},
		{"max(x) > 1", 6, `expected "," and a second argument`},
		{"delta(x, y) > 1", 10, "expected a time"},
		{"value_at(x, 3) > 1", 13, "expected the name of a moment"},
		{`"oil`, 1, "quote is not closed"},
		{`x is "" `, 6, "name is empty"},
		{"x > 1 § 2", 7, "character has no meaning here"},
		{"(x + 1) is held", 9, "needs a channel name at its left"},
		{"x > 1e999", 5, "number is too large"},
		{strings.Repeat("(", 500) + "x", 67, "nested too deeply"},
		{strings.Repeat("not ", 500) + "x", 797, "nested too deeply"},
		{"x" + strings.Repeat(" + x", 500), 0, "nested too deeply"},
	}
	for _, c := range cases {
		_, err := stl.Parse(c.src)
		var fs harness.Findings
		require.ErrorAs(t, err, &fs, c.src)
		require.Len(t, fs, 1)
		assert.Contains(t, fs[0].String(), c.want, c.src)
		if c.column > 0 {
			assert.Equal(t, c.column, fs[0].Column, c.src)
		}
	}
}

func TestBindErrorsPointAndExplain(t *testing.T) {
	tr := newTrace(10, 10*time.Millisecond)
	tr.add("engine_speed", stl.Column{Unit: "rpm"}).add("throttle", stl.Column{Unit: "percent"})
	tr.add("lambda", stl.Column{}).add("arm", stl.Column{Kind: stl.Switch})
	tr.add("sequence", stl.Column{Kind: stl.State, Labels: []string{"idle", "held"}})
	tr.add("inhibit", stl.Column{Kind: stl.Flags, Labels: []string{"voltage"}})
	tr.add("odd", stl.Column{Unit: "furlong"}).add("bad", stl.Column{MarginScale: -1})
	tr.moment("release")
	cases := []struct {
		src    string
		column int
		want   string
	}{
		{"always engin_speed <= 5000 rpm", 8, "no such channel (got engin_speed); did you mean engine_speed?"},
		{"release", 1, "it is a moment: write at release"},
		{"at relase", 1, "did you mean release?"},
		{"engine_speed + 5 ms > 3 rpm", 14, "cannot add rpm and ms"},
		{"engine_speed - throttle > 3 rpm", 14, "cannot subtract rpm and percent"},
		{"engine_speed <= 5000", 14, "write 5000 rpm"},
		{"throttle >= 90", 10, "cannot compare percent and a bare number"},
		{"throttle >= 90", 10, "write 90 percent"},
		{"max(throttle, 3 kPa) > 0", 1, "cannot combine percent and kPa"},
		{"lambda <= 3 ms", 8, "cannot compare a bare number and ms"},
		{"engine_speed", 1, "expected a condition, found a quantity in rpm"},
		{"always (lambda + 1)", 16, "expected a condition, found a quantity"},
		{"arm > 3", 1, "expected a quantity, found a switch"},
		{"sequence", 1, "write sequence is idle"},
		{"inhibit", 1, "write inhibit has voltage"},
		{"(arm and arm) > 3", 6, "expected a quantity, found a condition"},
		{"sequence is hold", 1, "did you mean held?"},
		{"sequence has held", 1, `"has" needs a set of flags, but the channel is a state`},
		{"arm is on", 1, `"is" needs a state, but the channel is a switch`},
		{"always within 5 ms arm", 8, ""},
		{"always from 1 ms to 9 ms arm", 8, "no tick lies in the window"},
		{"always from 90 ms to 50 ms arm", 8, "window ends before it starts"},
		{"always within 1e9 s arm", 8, "window is too long"},
		{"delta(lambda, 15 ms) > 0", 1, "whole number of ticks"},
		{"lambda / 0 > 1", 10, "division by zero"},
		{"odd > 1", 1, "unknown unit"},
		{"bad > 1", 1, "margin scale"},
		{"always before relese arm", 8, "did you mean release?"},
	}
	for _, c := range cases {
		_, err := stl.Compile([]stl.Requirement{{ID: "a", Formula: c.src}}, tr)
		if c.want == "" {
			require.NoError(t, err, c.src)
			continue
		}
		var fs harness.Findings
		require.ErrorAs(t, err, &fs, c.src)
		assert.Contains(t, fs[0].String(), c.want, c.src)
		assert.Equal(t, c.column, fs[0].Column, c.src)
		assert.Equal(t, "a.formula", fs[0].Field)
	}
}

func TestAllFindingsAtOnce(t *testing.T) {
	tr := newTrace(1, time.Millisecond).floats("x", "rpm", 1)
	_, err := stl.Compile([]stl.Requirement{
		{ID: "a", Formula: "y > 1 and x > 2 ms and z > 3"},
		{ID: "a", Formula: "x >", Premise: "at nowhere", Unit: "ell", Scale: -2},
		{ID: "b", Formula: "always x >= 0 rpm", Unit: "kPa", Scale: 3},
	}, tr)
	var fs harness.Findings
	require.ErrorAs(t, err, &fs)
	var fields []string
	for _, f := range fs {
		fields = append(fields, f.Field)
	}
	assert.Equal(t, []string{
		"a.formula", "a.formula", "a.formula", "a.unit", "a.scale", "a.formula", "a.premise", "a.id", "b.unit",
	}, fields)
}

// samePrint checks that the canonical text reads back to itself.
func samePrint(t *testing.T, src string) {
	f, err := stl.Parse(src)
	if err != nil {
		return
	}
	again, err := stl.Parse(f.String())
	require.NoError(t, err, "%q printed as %q", src, f.String())
	require.Equal(t, f.String(), again.String())
	require.True(t, stl.SameTree(f, again), "%q printed as %q", src, f.String())
}

func TestPrintedFormulaReadsBack(t *testing.T) {
	for seed := uint64(0); seed < 5000; seed++ {
		r := rand.New(rand.NewPCG(seed, 9))
		samePrint(t, generator{r}.node(5).String())
	}
}

// TestPrintedFormulaMeansTheSame judges the canonical text, whose brackets are
// only those needed, against the fully bracketed original.
func TestPrintedFormulaMeansTheSame(t *testing.T) {
	for seed := uint64(0); seed < 3000; seed++ {
		r := rand.New(rand.NewPCG(seed, 10))
		tr, src := randomTrace(r), generator{r}.formula().String()
		f, err := stl.Parse(src)
		require.NoError(t, err)
		a, b := judge(t, src, tr), judge(t, f.String(), tr)
		require.True(t, sameBits(a.Low, b.Low) && sameBits(a.High, b.High), "%s\n%s", src, f)
	}
}

func TestPrecedence(t *testing.T) {
	for src, want := range map[string]string{
		"((a)) and ((b or c))":                  "a and (b or c)",
		"(not a) or (b and c)":                  "not a or b and c",
		"a implies (b implies c)":               "a implies b implies c",
		"(a implies b) implies c":               "(a implies b) implies c",
		"always (a and b)":                      "always (a and b)",
		"(always a) and b":                      "always a and b",
		"always from 0 ms to 3 ms (x > 1)":      "always within 3 ms x > 1",
		"(x - (y - z)) * 2 > -(-3 %) ":          "(x - (y - z)) * 2 > --3 percent",
		`"until" > 3 rpm/s and at "stage up"`:   `"until" > 3 rpm/s and at "stage up"`,
		"(a until b) since before_x":            "(a until b) since before_x",
		"not (st is held) and (st is not held)": "not st is held and st is not held",
	} {
		f, err := stl.Parse(src)
		require.NoError(t, err, src)
		assert.Equal(t, want, f.String(), src)
		assert.Equal(t, src, f.Text())
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"always (rpm >= 5050 rpm implies eventually within 2 s rpm <= 5020 rpm)",
		`p until from 1 ms to 2 ms "q r" has x`, "-(3e2 km/h) < slope(x, 1 s) * 2",
		"always between a and b (once back to c (time_since(rising(d)) < 3 %))",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, src string) { samePrint(t, src) })
}

// FuzzEvaluate: whatever is written, binding and judging it never panics.
func FuzzEvaluate(f *testing.F) {
	f.Add("always (rpm >= 5050 rpm implies eventually within 2 ms rpm <= 5020 rpm)", uint64(1))
	f.Add("value_at(lin, m) * x / pct > 0 or fl has hot since from 3 ms to 400 ms st is held", uint64(2))
	f.Fuzz(func(t *testing.T, src string, seed uint64) {
		tr := randomTrace(rand.New(rand.NewPCG(seed, 0)))
		_, _ = stl.Evaluate(src, tr)
	})
}
