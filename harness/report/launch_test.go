package report_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/controller"
	"github.com/holdline/holdline/harness"
	"github.com/holdline/holdline/harness/report"
	"github.com/holdline/holdline/harness/scenario"
)

// launched is a run of a simulated car from one of the example scenarios, judged
// by its requirements, with further sinks. change may change the controller.
func launched(t testing.TB, file string, seed int64, unit harness.Unit, sinks func(*controller.Calibration) []harness.Sink) *report.Run {
	t.Helper()
	o := scenario.AsWritten
	o.Seed, o.Repeats = seed, 1
	loaded, findings := scenario.Load("../../examples/scenarios/"+file, o)
	require.False(t, findings.Failed(), findings)
	job := loaded[0].Jobs("run")[0]
	job.Trace = true
	var ride *scenario.Ride
	results, err := job.Run(t.Context(), unit, func(r *scenario.Ride) ([]harness.Sink, error) {
		ride = r
		if sinks == nil {
			return nil, nil
		}
		return sinks(job.Cal), nil
	})
	require.NoError(t, err)
	margins, err := report.Margins(ride.Trace, job.Cal, job.Required, results.Complete, 400)
	require.NoError(t, err)
	return &report.Run{Results: &results, Trace: ride.Trace, Margins: margins, Calibration: job.Cal}
}
