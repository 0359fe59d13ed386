package report

import (
	"fmt"
	"math"
	"strings"

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
	var out []Margin
	for _, r := range reqs {
		body, ok := alwaysOf(r.Formula)
		if !ok || tr.Ticks == 0 {
			continue
		}
		set, err := require.Compile(windows(r, body, tr, step), signals)
		if err != nil {
			return nil, fmt.Errorf("margins of %s: %w", r.ID, err)
		}
		results, err := set.Evaluate(signals)
		if err != nil {
			return nil, fmt.Errorf("margins of %s: %w", r.ID, err)
		}
		out = append(out, marginOf(r.ID, results, step))
	}
	return out, nil
}

// alwaysOf gives what a formula asks of every tick of the run. The body must be
// one comparison or stand in brackets of its own: "always (a) and b" is something
// else.
func alwaysOf(formula string) (body string, ok bool) {
	body, ok = strings.CutPrefix(strings.TrimSpace(formula), "always ")
	body = strings.TrimSpace(body)
	if !ok || body == "" {
		return "", false
	}
	if body[0] != '(' {
		for _, word := range strings.Fields(body) {
			switch word {
			case "and", "or", "implies", "until", "since", "within", "from", "before", "after", "between":
				return "", false
			}
		}
		return body, true
	}
	depth := 0
	for i, c := range body {
		switch c {
		case '"':
			return "", false // a quoted name may hold brackets
		case '(':
			depth++
		case ')':
			if depth--; depth == 0 {
				return body, i == len(body)-1
			}
		}
	}
	return "", false
}

// windows asks the same of every stretch by itself.
func windows(r require.Requirement, body string, tr *harness.Trace, step int) []require.Requirement {
	var list []require.Requirement
	for from := 0; from < tr.Ticks; from += step {
		to := min(from+step, tr.Ticks) - 1
		us := func(tick int) int64 { return int64(tick) * int64(tr.Period) }
		list = append(list, require.Requirement{
			ID: fmt.Sprint(from), Unit: r.Unit, Scale: r.Scale, Premise: r.Premise,
			Formula: fmt.Sprintf("always from %d us to %d us %s", us(from), us(to), body),
		})
	}
	return list
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
