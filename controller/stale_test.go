package controller

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// A sample is stale in the tick in which it becomes older than two firing
// intervals, at any speed: of a four-stroke engine one takes 120/(N cylinders)
// seconds (common practice). A campaign found it one tick late at 375.1 rpm.
func TestASpeedIsStaleOnceItIsOlderThanTwoIntervals(t *testing.T) {
	const periodUs, perRevolution = 1000, 1200000000 // us times tenths of rpm in two turns
	for _, cylinders := range []uint8{1, 4, 8, 12} {
		e := &Engine{Cylinders: cylinders}
		e.t.staleMin = 20
		e.t.phaseGain = quotient(uint64(cylinders)*periodUs*(phaseOfEvent<<20), perRevolution)
		for n := int64(50 * RPM); n < int64(3000*RPM); n++ {
			s := speedState{last: Speed(n)}
			first := max(2*perRevolution/(periodUs*n*int64(cylinders))+1, 21) // ticks: older than both
			if part := 2 * perRevolution % (periodUs * n * int64(cylinders)); min(part, periodUs*n*int64(cylinders)-part) < perRevolution/25000 {
				continue // within 20 in a million of two intervals, as the gain is rounded: either will do
			}
			require.False(t, s.stale(e, Sample{Age: uint16(first - 1)}), "%d cylinders, %d, age %d", cylinders, n, first-1)
			require.True(t, s.stale(e, Sample{Age: uint16(first)}), "%d cylinders, %d, age %d", cylinders, n, first)
		}
	}
}
