package proving_test

import (
	"context"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

func run(t testing.TB, cal *controller.Calibration, unit harness.Unit, s *proving.Script, seed uint64) *harness.Trace {
	t.Helper()
	tr := harness.NewTrace(cal)
	_, err := harness.Run(context.Background(), proving.NewDrive(cal, s, seed), unit, harness.Session{Calibration: cal, Seed: seed}, tr)
	require.NoError(t, err)
	return tr
}

func court(t testing.TB, cal *controller.Calibration) *stl.Court {
	t.Helper()
	reqs, err := stl.Standard(cal)
	require.NoError(t, err)
	c, err := stl.NewCourt(cal, reqs)
	require.NoError(t, err)
	return c
}

// The good reference holds every requirement on every shipped script.
func TestReferenceHolds(t *testing.T) {
	cal := proving.Car()
	c := court(t, cal)
	tested := map[string]bool{}
	for _, s := range proving.Scripts(proving.Varied(0)) {
		tr := run(t, cal, &harness.Reference{}, s, 1)
		res, err := c.Judge(tr, true)
		require.NoError(t, err)
		for _, r := range res {
			if r.Verdict != harness.VerdictHolds {
				t.Errorf("%s: %s %s: margin %g %s at %.3f s, unsized %v: %s", s.Name, r.ID, r.Verdict, r.Margin, r.Unit, r.ClosestAt, r.Unsized, r.Condition)
			}
			tested[r.ID] = tested[r.ID] || !r.Vacuous
		}
		if os.Getenv("DUMP") != "" {
			seq := tr.Column("sequence")
			last := int32(-1)
			for i, v := range seq.Data {
				if v != last {
					t.Logf("%s: %d %s rpm %d ceil %d", s.Name, i, seq.Words(v), tr.Column("engine-speed").Data[i]/10, tr.Column("ceiling").Data[i]/10)
					last = v
				}
			}
			for k := range 2 {
				ph := tr.Column("shot-" + string(rune('1'+k)) + "-phase")
				last = -1
				for i, v := range ph.Data {
					if v != last {
						t.Logf("   shot %d: %d %s rpm %d target %d", k+1, i, ph.Words(v), tr.Column("engine-speed").Data[i]/10, tr.Column("target-ceiling").Data[i]/10)
						last = v
					}
				}
			}
		}
	}
	for id, ok := range tested {
		if !ok {
			t.Logf("vacuous everywhere: %s", id)
		}
	}
}

// Varied launches: times, loads and the noise of the speed sensor move with the
// seed. HOLDLINE_LONG=1 drives 10,000.
func TestReferenceHoldsOnVariedLaunches(t *testing.T) {
	cal := proving.Car()
	c := court(t, cal)
	launches := 200
	if os.Getenv("HOLDLINE_LONG") != "" {
		launches = 10000
	}
	failed := 0
	for n, seed := 0, uint64(1); n < launches; seed++ {
		for _, s := range proving.Scripts(proving.Varied(seed)) {
			n++
			tr := run(t, cal, &harness.Reference{}, s, seed)
			res, err := c.Judge(tr, true)
			require.NoError(t, err)
			for _, r := range res {
				if r.Verdict != harness.VerdictHolds {
					failed++
					t.Errorf("seed %d %s: %s %s: margin %g %s at %.3f s: %s", seed, s.Name, r.ID, r.Verdict, r.Margin, r.Unit, r.ClosestAt, r.Condition)
				}
			}
			if failed > 30 {
				t.FailNow()
			}
		}
	}
}
