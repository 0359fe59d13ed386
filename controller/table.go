package controller

import "math/bits"

// A table looks up in three steps: clamp to the axis, find the segment by three
// comparisons (unused points are padded), blend with a Q15 fraction. The
// fraction comes from a reciprocal of each segment that is computed once when
// the calibration is sealed: no division here. It is exact at the points,
// continuous, and monotone between monotone points: dx*recip rises with dx.

const padding = 1<<31 - 1

// reciprocal returns floor(2^(31+s)/span) for a span of s bits: at most 32 bits
// long, so that dx*recip >> (16+s) is the Q15 fraction of dx in the span.
func reciprocal(span uint32) uint32 {
	return quotient(1<<(31+bits.Len32(span)), span)
}

// reciprocalHolds rechecks a stored reciprocal by multiplication alone. That of
// a power of two would need 33 bits and is one less.
func reciprocalHolds(recip, span uint32) bool {
	whole := uint64(1) << (31 + bits.Len32(span))
	p := uint64(recip) * uint64(span)
	if span&(span-1) == 0 {
		return recip == 1<<32-1
	}
	return p <= whole && whole-p < uint64(span)
}

// quotient divides bit by bit: it is used when a calibration is sealed, and
// keeps the 64-bit division helper out of small firmware. The result saturates.
func quotient(num uint64, den uint32) uint32 {
	if den == 0 {
		return 1<<32 - 1
	}
	var q, r uint64
	for i := 63; i >= 0; i-- {
		r = r<<1 | num>>i&1
		q <<= 1
		if r >= uint64(den) {
			r -= uint64(den)
			q |= 1
		}
	}
	if q > 1<<32-1 {
		return 1<<32 - 1
	}
	return uint32(q)
}

// prepare pads the unused points and fills in the reciprocals.
func (a *Axis) prepare() {
	for i := int(a.N); i < MaxTablePoints; i++ {
		a.Points[i] = padding
	}
	a.recip = [MaxTablePoints - 1]uint32{}
	for i := 0; i+1 < int(a.N); i++ {
		a.recip[i] = reciprocal(uint32(a.Points[i+1]) - uint32(a.Points[i]))
	}
}

// locate gives the segment that holds x and how far into it x is, Q15.
func (a *Axis) locate(x int32) (i, next int, frac int32) {
	last := int(a.N) - 1
	if x <= a.Points[0] {
		return 0, 0, 0
	}
	if x >= a.Points[last&7] {
		return last, last, 0
	}
	if x >= a.Points[4] {
		i = 4
	}
	if x >= a.Points[i+2] {
		i += 2
	}
	if x >= a.Points[i+1] {
		i++
	}
	next = (i + 1) & 7
	dx := uint32(x) - uint32(a.Points[i])
	span := uint32(a.Points[next]) - uint32(a.Points[i])
	return i, next, int32(uint64(dx) * uint64(a.recip[i]) >> (16 + bits.Len32(span)))
}

const half = 1 << 14 // of a Q15 fraction

// blend goes from a to b by a Q15 fraction, rounded to nearest.
func blend(a, b, frac int32) int32 {
	return a + int32(((int64(b)-int64(a))*int64(frac)+half)>>15)
}

// at looks the table up at column value x and row value y.
func (t *Table) at(x, y int32) int32 {
	c, c1, fx := t.Columns.locate(x)
	if t.Rows.N == 0 {
		return blend(t.Cells[0][c], t.Cells[0][c1], fx)
	}
	r, r1, fy := t.Rows.locate(y)
	top := blend(t.Cells[r][c], t.Cells[r][c1], fx)
	if fy == 0 {
		return top
	}
	return blend(top, blend(t.Cells[r1][c], t.Cells[r1][c1], fx), fy)
}

// At looks the table of a sealed calibration up at a column and a row value, in
// the units of the table's channels. The result has the unit of its cells.
func (t *Table) At(column, row int32) int32 {
	if t.Columns.N == 0 {
		return 0
	}
	return t.at(column, row)
}
