package report

import (
	"fmt"
	"math"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/require"
)

// Margin is the margin of one requirement along a run: Values[i] is the smallest
// within ticks i*Step to (i+1)*Step-1, in Unit. Infinite values have a side but
// no size; NaN is unknown.
type Margin struct {
	ID     string
	Unit   string  // "" if conditions of different units took turns: Values are then scaled
	Scale  float64 // the value, in Unit, that ranks as 1; above 0
	Step   int     // ticks, 1 or more
	Values []float64
}

// Margins works out margins over time for the requirements that ask something of
// every tick, "always (...)", each run cut into about so many stretches. Others
// have no margin at a time and are left out. complete is false for a run that
// stopped early.
func Margins(tr *harness.Trace, cal *controller.Calibration, reqs []require.Requirement, complete bool, stretches int) ([]Margin, error) {
	signals := require.OfTrace(tr, cal)
	if !complete {
		signals.Stopped()
	}
	step := max((tr.Ticks+max(stretches, 1)-1)/max(stretches, 1), 1)
	set, err := require.Compile(reqs, signals)
	if err != nil {
		return nil, fmt.Errorf("margins over time: %w", err)
	}
	results, err := set.Stretches(signals, step)
	if err != nil {
		return nil, fmt.Errorf("margins over time: %w", err)
	}
	var out []Margin
	for i := range reqs {
		if len(results[i]) > 0 {
			out = append(out, marginOf(reqs[i].ID, results[i], step))
		}
	}
	return out, nil
}

func marginOf(id string, results []require.Result, step int) Margin {
	m := Margin{ID: id, Step: step, Scale: 1}
	units := map[string]bool{}
	for _, r := range results {
		if r.Margin.Sized {
			units[r.Margin.Unit] = true
			m.Unit = r.Margin.Unit
		}
	}
	mixed := len(units) > 1
	if mixed {
		m.Unit = ""
	}
	for _, r := range results {
		m.Values = append(m.Values, valueOf(r, mixed))
		if s := r.Margin; !mixed && s.Sized && s.Scaled != 0 && !math.IsInf(s.Scaled, 0) {
			m.Scale = math.Abs(s.Value / s.Scaled)
		}
	}
	return m
}

func valueOf(r require.Result, mixed bool) float64 {
	switch {
	case r.Verdict == require.Inconclusive:
		return math.NaN()
	case r.Margin.Sized && mixed:
		return r.Margin.Scaled
	case r.Margin.Sized:
		return r.Margin.Value
	case r.Verdict == require.Fails:
		return math.Inf(-1)
	}
	return math.Inf(1)
}
