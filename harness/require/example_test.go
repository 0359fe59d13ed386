package require_test

import (
	"fmt"
	"time"

	stl "github.com/holdline/holdline/harness/require"
)

// An invented launch: the ceiling is 5000 rpm, the release comes at 40 ms.
func exampleTrace() *trace {
	tr := newTrace(6, 10*time.Millisecond)
	tr.add("engine_speed", stl.Column{Unit: "rpm", Ints: []int32{4800, 4950, 5030, 5060, 5010, 4990}})
	tr.add("sequence", stl.Column{Kind: stl.State, Labels: []string{"idle", "held", "released"}, Ints: []int32{1, 1, 1, 1, 2, 2}})
	return tr.moment("release", 4)
}

func ExampleEvaluate() {
	res, err := stl.Evaluate("always (sequence is held implies engine_speed <= 5050 rpm)", exampleTrace())
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%v by %v at tick %d: %s\n", res.Verdict, res.Margin, res.Tick, res.Atom)
	// Output: fails by -10 rpm at tick 3: engine_speed <= 5050 rpm
}

func ExampleCompile() {
	_, err := stl.Compile([]stl.Requirement{
		{ID: "launch.overshoot", Formula: "always (sequence is hold implies engine_speed <= 5100)"},
	}, exampleTrace())
	fmt.Println(err)
	// Output:
	// error: launch.overshoot.formula: channel sequence has no such label (got hold); did you mean held?
	// error: launch.overshoot.formula: cannot compare rpm and a bare number (got engine_speed <= 5100); write 5100 rpm
}

func ExampleMonitor() {
	tr := exampleTrace()
	m, err := stl.NewMonitor(stl.Requirement{Formula: "always engine_speed <= 5050 rpm"}, tr)
	if err != nil {
		fmt.Println(err)
		return
	}
	for n := 1; n <= tr.Len(); n++ {
		if v, _ := m.Advance(tr.upTo(n)); v != stl.Inconclusive {
			fmt.Printf("%v after %d ticks\n", v, n)
			return
		}
	}
	// Output: fails after 4 ticks
}
