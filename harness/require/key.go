package require

import "math"

// Margins travel through the operators as order keys: a margin's float bits
// rearranged so that integer comparison orders them, with -0 below +0. Then
// min and max are single instructions, negation is ^, and the sign of zero
// keeps what the literature gives up: whether a margin of exactly zero
// satisfies (x <= c at x = c) or not (x < c). A key of 0 or more is true.
//
// Time margins use the same algebra on counts of ticks: d for true, ^d for
// false.
const (
	top    = int64(0x7FF0000000000000) // +infinity: true whatever moves
	bottom = ^top                      // -infinity
)

func keyOf(v float64) int64 {
	b := int64(math.Float64bits(v))
	return b ^ (b >> 63 & math.MaxInt64)
}

func valueOf(k int64) float64 {
	return math.Float64frombits(uint64(k ^ (k >> 63 & math.MaxInt64)))
}

func keyOfBool(b bool) int64 {
	if b {
		return top
	}
	return bottom
}

// band is a margin over time, known or bounded: lo[t] <= margin <= upper. Up
// to tick exact the two are the same and only lo is stored; hi[i] belongs to
// tick exact+i.
type band struct {
	lo    []int64
	hi    []int64
	exact int
}

// at gives the bounds at tick t.
func (b band) at(t int) (lo, hi int64) {
	if t < b.exact {
		return b.lo[t], b.lo[t]
	}
	return b.lo[t], b.hi[t-b.exact]
}

// known reports whether every tick is exact.
func (b band) known() bool { return b.exact == len(b.lo) }
