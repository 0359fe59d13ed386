package require_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	stl "github.com/holdline/holdline/harness/require"
)

// trace is a Signals in memory.
type trace struct {
	n       int
	period  time.Duration
	cut     bool
	names   []string
	columns map[string]stl.Column
	moments map[string][]int
	mNames  []string
}

func newTrace(n int, period time.Duration) *trace {
	return &trace{n: n, period: period, columns: map[string]stl.Column{}, moments: map[string][]int{}}
}

func (tr *trace) add(name string, c stl.Column) *trace {
	tr.names = append(tr.names, name)
	tr.columns[name] = c
	return tr
}

func (tr *trace) floats(name, unit string, v ...float64) *trace {
	return tr.add(name, stl.Column{Unit: unit, MarginScale: 1, Floats: v})
}

func (tr *trace) moment(name string, ticks ...int) *trace {
	tr.mNames = append(tr.mNames, name)
	tr.moments[name] = ticks
	return tr
}

func (tr *trace) Len() int              { return tr.n }
func (tr *trace) Period() time.Duration { return tr.period }
func (tr *trace) Complete() bool        { return !tr.cut }
func (tr *trace) Lookup(name string) (stl.Column, bool) {
	c, ok := tr.columns[name]
	return c, ok
}
func (tr *trace) Moments(name string) ([]int, bool) {
	m, ok := tr.moments[name]
	return m, ok
}
func (tr *trace) Names() (channels, moments []string) { return tr.names, tr.mNames }

// judge evaluates one formula that must compile.
func judge(t *testing.T, formula string, tr *trace) stl.Result {
	t.Helper()
	res, err := stl.Evaluate(formula, tr)
	require.NoError(t, err, formula)
	return res
}
