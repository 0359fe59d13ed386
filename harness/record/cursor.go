package record

import "math"

// Mode says what a channel is worth between its samples.
type Mode uint8

const (
	// Held keeps a sample until the next one.
	Held Mode = iota
	// Linear goes in a straight line from one sample to the next.
	Linear
)

// Sample is a channel's value at a time.
type Sample struct {
	Value float64 // NaN before the first sample
	AgeUS int64   // since the sample that Value rests on; -1: none
	Fresh bool
}

// Cursor samples one channel at times that mostly rise. Going forwards costs
// the rows passed over, going back a binary search; neither allocates. The zero
// value samples nothing. A Cursor is for one goroutine; any number may walk one
// channel.
//
// Freshness: a value is fresh for one and a half of the channel's sampling
// intervals. A held value counts from its sample. A linear value is fresh if
// the samples around it are no more than one and a half intervals apart; in a
// longer gap there is no line: the sample before the gap is held, and is not
// fresh once its own instant is over. Behind the last sample both modes hold
// it. Where stamps repeat, the last sample of an instant counts. Missing values
// are no samples.
type Cursor struct {
	times  []int64
	values []float64
	mode   Mode
	limit  int64 // one and a half intervals
	now    int   // 1 + index of the sample at or before the time asked for; 0: none
	next   int   // index of the sample behind it; len: none
}

// Cursor returns a cursor over the channel. intervalUS is the channel's
// sampling interval; 0 takes the one found in the recording.
func (c *Channel) Cursor(mode Mode, intervalUS int64) Cursor {
	if intervalUS <= 0 {
		intervalUS = c.IntervalUS
	}
	intervalUS = min(intervalUS, longestUS)
	k := Cursor{times: c.TimeUS, values: c.Value, mode: mode, limit: intervalUS + intervalUS/2}
	k.next = k.present(0)
	return k
}

// present returns the first index from i on that has a value.
func (k *Cursor) present(i int) int {
	for i < len(k.values) && k.values[i] != k.values[i] {
		i++
	}
	return i
}

// At samples the channel at tUS.
func (k *Cursor) At(tUS int64) Sample {
	if k.now > 0 && tUS < k.times[k.now-1] {
		k.seek(tUS)
	}
	for k.next < len(k.values) && k.times[k.next] <= tUS {
		k.now = k.next + 1
		k.next = k.present(k.now)
	}
	if k.now == 0 {
		return Sample{Value: math.NaN(), AgeUS: -1}
	}
	since := k.times[k.now-1]
	s := Sample{Value: k.values[k.now-1], AgeUS: age(tUS, since)}
	if s.AgeUS == 0 || k.mode == Held || k.next == len(k.values) {
		s.Fresh = s.AgeUS <= k.limit
		return s
	}
	span := k.times[k.next] - since
	if span > k.limit {
		return s
	}
	s.Value = between(s.Value, k.values[k.next], float64(s.AgeUS)/float64(span))
	s.Fresh = true
	return s
}

// seek goes back to the last sample at or before tUS.
func (k *Cursor) seek(tUS int64) {
	low, high := 0, k.now-1
	for low < high {
		mid := int(uint(low+high) / 2)
		if k.times[mid] <= tUS {
			low = mid + 1
		} else {
			high = mid
		}
	}
	k.next = k.present(low)
	k.now = low
	for k.now > 0 && k.values[k.now-1] != k.values[k.now-1] {
		k.now--
	}
}

// age is t - since, without wrapping.
func age(t, since int64) int64 {
	d := t - since
	if d < 0 {
		return math.MaxInt64
	}
	return d
}

// between goes from a to b; the result never leaves them, and the product is
// rounded by itself so that every processor gives the same bits.
func between(a, b, part float64) float64 {
	d := b - a
	if math.IsInf(d, 0) {
		return float64(a*(1-part)) + float64(b*part)
	}
	v := a + float64(d*part)
	return min(max(v, min(a, b)), max(a, b))
}
