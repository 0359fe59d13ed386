package require_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/holdline/holdline/harness"
	stl "github.com/holdline/holdline/harness/require"
	"github.com/holdline/holdline/harness/require/proving"
)

// All standard sets on a whole pass of nearly 10 s at 1 kHz, from the trace as it
// was recorded: folding the commits and deriving channels are part of it.
func BenchmarkStandardSets(b *testing.B) {
	cal := proving.Car()
	reqs, err := stl.Standard(cal)
	require.NoError(b, err)
	court, err := stl.NewCourt(cal, reqs)
	require.NoError(b, err)
	tr := drive(b, cal, &harness.Reference{}, "launch")
	b.ReportMetric(float64(tr.Ticks), "ticks")
	b.ReportMetric(float64(len(reqs)), "requirements")
	b.ReportAllocs()
	for b.Loop() {
		if _, err := court.Judge(tr, true); err != nil {
			b.Fatal(err)
		}
	}
}
