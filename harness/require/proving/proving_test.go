package proving_test

import (
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

func run(t testing.TB, cal *controller.Calibration, unit harness.Unit, s *proving.Script, seed uint64) *harness.Trace {
	t.Helper()
	tr := harness.NewTrace(cal)
	_, err := harness.Run(t.Context(), proving.NewDrive(cal, s, seed), unit, harness.Session{Calibration: cal, Seed: seed}, tr)
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

// untested are the requirements that no shipped launch puts to the test, and why.
var untested = map[string]string{
	"inputs.speed-trusted":               "only a fault of the controller makes its premise true",
	"inputs.noticed.oil_pressure":        "one sensor of its kind is lost",
	"inputs.noticed.lambda":              "one sensor of its kind is lost",
	"inputs.noticed.supply_voltage":      "one sensor of its kind is lost",
	"inputs.noticed.coolant_temperature": "one sensor of its kind is lost",
	"power.brake.shot1":                  "the first shot is for the hold only",
}

// The good reference holds every requirement on every shipped launch, and every
// requirement is put to the test by at least one.
func TestReferenceHolds(t *testing.T) {
	cal := proving.Car()
	c := court(t, cal)
	tested := map[string]bool{}
	for _, s := range proving.Scripts(proving.Varied(0)) {
		res, err := c.Judge(run(t, cal, &harness.Reference{}, s, 1), true)
		require.NoError(t, err)
		for _, r := range res {
			assert.Equalf(t, harness.VerdictHolds, r.Verdict, "%s: %s: margin %g %s at %.3f s: %s", s.Name, r.ID, r.Margin, r.Unit, r.ClosestAt, r.Condition)
			tested[r.ID] = tested[r.ID] || !r.Vacuous
		}
	}
	for id, yes := range tested {
		assert.Equal(t, untested[id] == "", yes, id)
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
	for n, seed := 0, uint64(1); n < launches && !t.Failed(); seed++ {
		for _, s := range proving.Scripts(proving.Varied(seed)) {
			n++
			res, err := c.Judge(run(t, cal, &harness.Reference{}, s, seed), true)
			require.NoError(t, err)
			for _, r := range res {
				assert.Equalf(t, harness.VerdictHolds, r.Verdict, "seed %d, %s: %s: margin %g %s at %.3f s: %s", seed, s.Name, r.ID, r.Margin, r.Unit, r.ClosestAt, r.Condition)
			}
		}
	}
}
