package report_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

// drive runs one of the proving launches under a unit.
func drive(t testing.TB, script string, unit harness.Unit, seed uint64) (*harness.Trace, *harness.Results, *controller.Calibration) {
	t.Helper()
	cal := proving.Car()
	tr, digest := harness.NewTrace(cal), harness.NewDigest(cal)
	for _, s := range proving.Scripts(proving.Varied(0)) {
		if s.Name != script {
			continue
		}
		caps, err := harness.Run(t.Context(), proving.NewDrive(cal, s, seed), unit, harness.Session{Calibration: cal, Seed: seed}, tr, digest)
		require.NoError(t, err)
		res := &harness.Results{Verb: "run", Source: "proving launch " + script, Unit: caps.Name, Seed: seed, Complete: true}
		digest.Fill(res)
		return tr, res, cal
	}
	require.Failf(t, "no such script", "%s", script)
	return nil, nil, nil
}

func brokenUnit(t testing.TB, name string) *proving.Broken {
	t.Helper()
	list := proving.BrokenControllers()
	for i := range list {
		if list[i].Name == name {
			return &list[i]
		}
	}
	require.Failf(t, "no such controller", "%s", name)
	return nil
}

// The smallest of the stretches is the margin of the run.
func TestMarginsAgreeWithTheVerdict(t *testing.T) {
	tr, _, cal := drive(t, "launch", brokenUnit(t, "wrong sign").Unit(), 1)
	reqs, err := stl.Standard(cal)
	require.NoError(t, err)
	court, err := stl.NewCourt(cal, reqs)
	require.NoError(t, err)
	verdicts, err := court.Evaluate(tr, true)
	require.NoError(t, err)
	margins, err := report.Margins(tr, cal, reqs, true, 400)
	require.NoError(t, err)
	byID := map[string]report.Margin{}
	for _, m := range margins {
		byID[m.ID] = m
	}
	checked := 0
	for _, v := range verdicts {
		m, ok := byID[v.ID]
		if !ok {
			continue
		}
		least := math.Inf(1)
		for _, x := range m.Values {
			least = min(least, x)
		}
		if !v.Margin.Sized || m.Unit == "" && v.Margin.Unit != "" {
			continue
		}
		checked++
		assert.InDelta(t, v.Margin.Value, least, 1e-9, v.ID)
	}
	assert.Greater(t, checked, 20)
}

// Margins over time of a launch, all that the standard sets ask of every tick.
func BenchmarkMargins(b *testing.B) {
	tr, _, cal := drive(b, "launch", brokenUnit(b, "wrong sign").Unit(), 1)
	reqs, err := stl.Standard(cal)
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		_, err := report.Margins(tr, cal, reqs, true, 400)
		require.NoError(b, err)
	}
}
