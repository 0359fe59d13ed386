package link

import (
	"fmt"
	"math"
	"math/bits"
	"time"
)

// Figures is what a link has seen. Counts go on through restarts of the unit.
type Figures struct {
	Steps     int64 `json:"steps"`     // asked and answered
	BytesOut  int64 `json:"bytes_out"` // all frames, repetitions too
	BytesIn   int64 `json:"bytes_in"`
	Retries   int64 `json:"retries"`    // steps sent again
	Damaged   int64 `json:"damaged"`    // frames received with a wrong checksum or stuffing
	Reports   int64 `json:"reports"`    // of the rig: damaged or unexpected frames
	Stray     int64 `json:"stray"`      // good frames that nobody waited for
	Losses    int64 `json:"losses"`     // of the port
	Reopened  int64 `json:"reopened"`   // times it came back
	Silences  int64 `json:"silences"`   // times the rig dropped its outputs for silence
	Late      int64 `json:"late"`       // answers after their deadline
	Abandoned int64 `json:"abandoned"`  // operations of a port left behind, stuck
	Ticks     int64 `json:"ticks"`      // answered
	StepBytes int64 `json:"step_bytes"` // of answered steps alone, once each
	Answers   int64 `json:"answer_bytes"`

	Latency Histogram `json:"-"` // of answers, from sending to reading
	OwnTime Histogram `json:"-"` // of the rig, as it says itself
}

// BytesPerTick is the mean length of steps and answers, for each tick.
func (f *Figures) BytesPerTick() (out, in float64) {
	if f.Ticks == 0 {
		return 0, 0
	}
	return float64(f.StepBytes) / float64(f.Ticks), float64(f.Answers) / float64(f.Ticks)
}

// Histogram counts durations with a relative error of at most 1/16.
type Histogram struct {
	N       int64
	Min     time.Duration
	Max     time.Duration
	buckets [60 * 16]int64
}

func bucketOf(d time.Duration) int {
	x := uint64(max(d, 0))
	if x < 16 {
		return int(x)
	}
	n := bits.Len64(x) - 5
	return min(n*16+int(x>>n), 60*16-1)
}

// Add counts a duration.
func (h *Histogram) Add(d time.Duration) {
	if h.N == 0 || d < h.Min {
		h.Min = d
	}
	h.Max = max(h.Max, d)
	h.N++
	h.buckets[bucketOf(d)]++
}

// Quantile gives the duration that the fraction q of all does not exceed; 0 if
// nothing was counted.
func (h *Histogram) Quantile(q float64) time.Duration {
	want, seen := max(1, int64(math.Ceil(q*float64(h.N)))), int64(0)
	for i, n := range h.buckets {
		if seen += n; n > 0 && seen >= want {
			return min(topOf(i), h.Max)
		}
	}
	return h.Max
}

// topOf is the largest duration of a bucket.
func topOf(i int) time.Duration {
	if i < 32 {
		return time.Duration(i)
	}
	n := i/16 - 1
	return time.Duration((uint64(i%16+16)+1)<<n - 1)
}

// Lines is what a link has seen, for people, a line each.
func (f *Figures) Lines() []string {
	out, in := f.BytesPerTick()
	ms := func(d time.Duration) string { return d.Round(time.Microsecond).String() }
	list := []string{
		fmt.Sprintf("%d steps, %d ticks; %d bytes to the rig, %d from it; %.1f and %.1f a tick", f.Steps, f.Ticks, f.BytesOut, f.BytesIn, out, in),
		fmt.Sprintf("latency median %s, 90 %% %s, 99 %% %s, longest %s; the rig's own part: median %s, longest %s",
			ms(f.Latency.Quantile(0.5)), ms(f.Latency.Quantile(0.9)), ms(f.Latency.Quantile(0.99)), ms(f.Latency.Max), ms(f.OwnTime.Quantile(0.5)), ms(f.OwnTime.Max)),
	}
	if f.Retries+f.Damaged+f.Reports+f.Losses+f.Silences+f.Late+f.Abandoned > 0 {
		list = append(list, fmt.Sprintf("%d steps repeated, %d damaged frames heard, %d reported by the rig, port lost %d times and back %d times, outputs dropped for silence %d times, %d late answers, %d stuck operations left behind",
			f.Retries, f.Damaged, f.Reports, f.Losses, f.Reopened, f.Silences, f.Late, f.Abandoned))
	}
	return list
}
