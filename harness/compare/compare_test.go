package compare_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/compare"
	"github.com/holdline/holdline/harness/require/proving"
)

func both(t *testing.T, a, b harness.Unit) (ta, tb *harness.Trace) {
	t.Helper()
	cal := proving.Car()
	ta, tb = harness.NewTrace(cal), harness.NewTrace(cal)
	script := proving.Scripts(proving.Varied(0))[0]
	_, err := harness.Run(t.Context(), proving.NewDrive(cal, script, 1), &compare.Pair{A: a, B: b, Second: tb}, harness.Session{Calibration: cal}, ta)
	require.NoError(t, err)
	return ta, tb
}

func broken(t *testing.T, name string) harness.Unit {
	t.Helper()
	list := proving.BrokenControllers()
	for i := range list {
		if list[i].Name == name {
			return list[i].Unit()
		}
	}
	require.Failf(t, "no such controller", "%s", name)
	return nil
}

func TestSameUnitsAgree(t *testing.T) {
	a, b := both(t, &harness.Reference{}, &harness.Reference{})
	assert.Empty(t, compare.Traces(a, b, nil))
	assert.Equal(t, a.Events, b.Events)
}

// The release of one unit is 20 ms late: the sequence differs for 20 ticks, and a
// tolerance of as much in time takes it, one of less does not.
func TestDebouncedReleaseIsFound(t *testing.T) {
	a, b := both(t, &harness.Reference{}, broken(t, "release debounced"))
	var seq *compare.Divergence
	all := compare.Traces(a, b, nil)
	require.NotEmpty(t, all)
	for i := range all {
		if i > 0 {
			assert.LessOrEqual(t, all[i-1].Tick, all[i].Tick)
		}
		// The first let-go is of the bump, which changes the stage only.
		if all[i].Column == "sequence" {
			seq = &all[i]
		}
	}
	require.NotNil(t, seq)
	assert.Equal(t, []any{4500, "released", "held"}, []any{seq.Tick, seq.A, seq.B})
	assert.InDelta(t, 4.5, seq.At, 1e-9)
	require.Len(t, seq.Before, 10)
	assert.Equal(t, compare.Row{Tick: 4499, A: "held", B: "held"}, seq.Before[9])
	assert.Equal(t, compare.Row{Tick: 4500, A: "released", B: "held"}, seq.After[0])
	assert.Contains(t, seq.String(), "4.500 s (tick 4500): sequence is released and held")

	differs := func(within controller.Duration) bool {
		for _, d := range compare.Traces(a, b, []compare.Tolerance{{Column: "sequence", Within: within}}) {
			if d.Column == "sequence" {
				return true
			}
		}
		return false
	}
	assert.True(t, differs(5*controller.Millisecond))
	assert.False(t, differs(20*controller.Millisecond))
}

func TestValueTolerance(t *testing.T) {
	a, b := both(t, &harness.Reference{}, broken(t, "main raised by trim"))
	assert.Empty(t, compare.Traces(a, b, nil), "no trim in this launch")

	a, b = both(t, &harness.Reference{}, broken(t, "timing swings over"))
	first := compare.Traces(a, b, nil)
	require.Len(t, first, 1)
	assert.Equal(t, "timing", first[0].Column)
	assert.InDelta(t, 5, first[0].By, 1e-9)
	assert.Equal(t, 149, first[0].Ticks)
	assert.Empty(t, compare.Traces(a, b, []compare.Tolerance{{Column: "timing", Value: 5}}))
	assert.Empty(t, compare.Traces(a, b, []compare.Tolerance{{Column: "*", Ignore: true}}))
	assert.NotEmpty(t, compare.Traces(a, b, []compare.Tolerance{{Column: "*", Value: 4.9}}))
}

func TestDecisionsAreCompared(t *testing.T) {
	a, b := both(t, &harness.Reference{}, broken(t, "dead cylinder"))
	list := compare.Traces(a, b, []compare.Tolerance{{Column: "*", Ignore: true}})
	require.NotEmpty(t, list)
	assert.Equal(t, "fuel 5", list[0].Column)
	assert.Contains(t, list[0].A, "given, cylinder 5")
	assert.Contains(t, list[0].B, "withheld, cylinder 5")
	assert.Empty(t, compare.Traces(a, b, []compare.Tolerance{{Column: "*", Ignore: true}, {Column: "events", Ignore: true}}))
}

func TestLengthIsCompared(t *testing.T) {
	a, b := both(t, &harness.Reference{}, &harness.Reference{})
	b.Ticks -= 5
	list := compare.Traces(a, b, nil)
	require.Len(t, list, 1)
	assert.Equal(t, "length", list[0].Column)
}

type failing struct {
	harness.Reference
	open, step error
	closed     int
}

func (f *failing) Open(s harness.Session) (harness.Caps, error) {
	if f.open != nil {
		return harness.Caps{}, f.open
	}
	return f.Reference.Open(s)
}

func (f *failing) Step(fr *harness.Frame) error {
	if f.step != nil {
		return f.step
	}
	return f.Reference.Step(fr)
}

func (f *failing) Close() error { f.closed++; return nil }

func TestPairSaysWhichUnitFailed(t *testing.T) {
	cal := proving.Car()
	gone := errors.New("gone")
	try := func(a, b *failing) error {
		_, err := harness.Run(t.Context(), proving.NewDrive(cal, proving.Scripts(proving.Varied(0))[0], 1), &compare.Pair{A: a, B: b}, harness.Session{Calibration: cal})
		return err
	}
	a := &failing{}
	assert.ErrorContains(t, try(a, &failing{open: gone}), "second unit: gone")
	assert.Equal(t, 1, a.closed)
	for _, mine := range []error{try(&failing{open: gone}, &failing{}), try(&failing{step: gone}, &failing{})} {
		assert.ErrorIs(t, mine, gone)
		assert.NotContains(t, mine.Error(), "second unit")
	}
	assert.ErrorContains(t, try(&failing{}, &failing{step: gone}), "second unit: gone")
}

// plain answers commits only, as a simple limiter behind a wire does.
type plain struct{ harness.Reference }

func (p *plain) Open(s harness.Session) (harness.Caps, error) {
	caps, err := p.Reference.Open(s)
	caps.OutputLess = true
	return caps, err
}

func (p *plain) Step(f *harness.Frame) error {
	err := p.Reference.Step(f)
	f.Out = controller.Output{}
	return err
}

func TestTheReferenceLendsItsOutputs(t *testing.T) {
	a, b := both(t, &plain{}, &harness.Reference{})
	assert.Empty(t, compare.Traces(a, b, nil))
	assert.Equal(t, a.Events, b.Events)
}
