package require_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	stl "github.com/holdline/holdline/harness/require"
)

// TestAgainstBruteForce races the evaluator against the oracle on random
// formulas and traces: bounds equal to the last bit, time margins equal to
// the tick. HOLDLINE_LONG=1 runs a million pairs.
func TestAgainstBruteForce(t *testing.T) {
	pairs := 50_000
	if os.Getenv("HOLDLINE_LONG") != "" {
		pairs = 1_000_000
	}
	verdicts := map[stl.Verdict]int{}
	for seed := 0; seed < pairs; seed++ {
		r := rand.New(rand.NewPCG(uint64(seed), 4))
		tr, f := randomTrace(r), generator{r}.formula()
		res, err := stl.Evaluate(f.String(), tr)
		require.NoError(t, err, "seed %d: %s", seed, f)
		verdicts[res.Verdict]++
		if diff := compareWithOracle(f, tr, res); diff != "" {
			t.Fatalf("seed %d: %s\n%s\n%+v", seed, f, diff, res)
		}
		if seed%8 == 0 {
			if diff := checkMoment(tr, res); diff != "" {
				t.Fatalf("seed %d: %s\n%s\n%+v", seed, f, diff, res)
			}
		}
	}
	t.Logf("%d pairs: %v", pairs, verdicts)
	for _, v := range []stl.Verdict{stl.Holds, stl.Fails, stl.Inconclusive} {
		require.Greater(t, verdicts[v], pairs/20, "%v is too rare to test anything", v)
	}
}

func sameBits(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }

func compareWithOracle(f *oNode, tr *trace, res stl.Result) string {
	want := f.eval(tr, 0, oracleMargin)
	if !sameBits(want.lo, res.Low) || !sameBits(want.hi, res.High) {
		return fmt.Sprintf("want bounds %v", want)
	}
	verdict := map[int]stl.Verdict{1: stl.Holds, -1: stl.Fails, 0: stl.Inconclusive}[want.truth()]
	if verdict != res.Verdict {
		return fmt.Sprintf("want verdict %v", verdict)
	}
	if verdict == stl.Inconclusive {
		return ""
	}
	if d := compareShift(f.eval(tr, 0, oracleAhead), want.truth(), res.Earlier); d != "" {
		return "earlier: " + d
	}
	if d := compareShift(f.eval(tr, 0, oracleBack), want.truth(), res.Later); d != "" {
		return "later: " + d
	}
	return ""
}

func compareShift(b bounds, side int, got stl.Shift) string {
	d := b.lo
	if side < 0 {
		d = -b.hi
	}
	limited := d < oracleNoLimit
	if got.Limited != limited || limited && got.Ticks != int(d)-1 {
		return fmt.Sprintf("want %v ticks, limited %v", d-1, limited)
	}
	return ""
}

// checkMoment asks the condition that is said to have set the margin for its
// own margin at the moment that is said.
func checkMoment(tr *trace, res stl.Result) string {
	if res.Tick >= tr.n {
		return "moment lies beyond the trace"
	}
	if !res.Margin.Sized {
		return ""
	}
	f := fmt.Sprintf("eventually from %d ms to %d ms (%s)", res.Tick, res.Tick, res.Atom)
	alone, err := stl.Evaluate(f, tr)
	if err != nil {
		return err.Error()
	}
	m, w := alone.Margin, res.Margin
	if math.Abs(m.Scaled) != math.Abs(w.Scaled) || math.Abs(m.Value) != math.Abs(w.Value) || m.Unit != w.Unit {
		return fmt.Sprintf("condition has margin %+v there", m)
	}
	return ""
}

// TestLongWindows repeats the race with windows of many widths on traces long
// enough to be cut into blocks, by Evaluate and by Monitor.
func TestLongWindows(t *testing.T) {
	for seed := uint64(0); seed < 25; seed++ {
		r := rand.New(rand.NewPCG(seed, 12))
		n := 80 + r.IntN(120)
		p, q := make([]float64, n), make([]float64, n)
		for i := range p {
			p[i], q[i] = r.Float64()*10-1, r.Float64()*10-9
		}
		tr := newTrace(n, time.Millisecond).floats("p", "", p...).floats("q", "", q...)
		for _, op := range []string{"always", "eventually", "until", "historically", "once", "since"} {
			a := r.IntN(3) * r.IntN(20)
			o := &oNode{op: op, a: a, b: a + r.IntN(60), kids: []*oNode{longAtom("p")}}
			if op == "until" || op == "since" {
				o.kids = append(o.kids, longAtom("q"))
			}
			outer := pick(r, "always", "eventually")
			f := &oNode{op: outer, b: -1, kids: []*oNode{o}}
			res, err := stl.Evaluate(f.String(), tr)
			require.NoError(t, err)
			require.Empty(t, compareWithOracle(f, tr, res), "seed %d: %s", seed, f)
			m, err := stl.NewMonitor(stl.Requirement{Formula: f.String()}, tr)
			require.NoError(t, err)
			checkMonitor(t, m, f, tr, res, 1+r.IntN(50))
		}
	}
}

func longAtom(name string) *oNode {
	x := oArith{name, func(tr *trace, t int) float64 { return tr.columns[name].Floats[t] }}
	return compareAtom(x, ">=", oArith{"0", func(*trace, int) float64 { return 0 }}, 1)
}
