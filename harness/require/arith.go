package require

import (
	"math"
	"time"
)

// apply1 and apply2 are the arithmetic of formulas. An undefined result is
// NaN, which a comparison takes as unknown.
func apply1(o op, v float64) float64 {
	if o == opNeg {
		return -v
	}
	return math.Abs(v)
}

func apply2(o op, l, r float64) float64 {
	switch o {
	case opAdd:
		return l + r
	case opSub:
		return l - r
	case opMul:
		return float64(l * r) // rounded here: never fused with a sum
	case opDiv:
		if r == 0 {
			return math.NaN()
		}
		return l / r
	case opMin:
		return math.Min(l, r)
	}
	return math.Max(l, r)
}

// floats gives an expression at every tick.
func (ev *evaluator) floats(a *arith) []float64 {
	if v := ev.values[a.id]; v != nil {
		return v
	}
	dst := ev.newFloats()
	switch a.op {
	case opNumber:
		for i := range dst {
			dst[i] = a.num
		}
	case opChannel:
		ev.columns[a.col].fill(dst)
	case opNeg, opAbs:
		for i, v := range ev.floats(a.kids[0]) {
			dst[i] = apply1(a.op, v)
		}
	case opDelta, opSlope:
		ev.change(dst, a)
	case opTimeSince:
		ev.timeSince(dst, a.cond)
	case opValueAt:
		ev.valueAt(dst, a)
	default:
		ev.binary(dst, a.op, a.kids[0], a.kids[1])
	}
	ev.values[a.id] = dst
	return dst
}

func (ev *evaluator) binary(dst []float64, o op, l, r *arith) {
	switch {
	case r.constant():
		for i, v := range ev.floats(l) {
			dst[i] = apply2(o, v, r.num)
		}
	case l.constant():
		for i, v := range ev.floats(r) {
			dst[i] = apply2(o, l.num, v)
		}
	default:
		rs := ev.floats(r)
		for i, v := range ev.floats(l) {
			dst[i] = apply2(o, v, rs[i])
		}
	}
}

// change is x now less x some ticks ago, or over the time between. Near the
// start the oldest sample stands in for the missing one.
func (ev *evaluator) change(dst []float64, a *arith) {
	v := ev.floats(a.kids[0])
	for t := range dst {
		old := max(0, t-a.ticks)
		dst[t] = v[t] - v[old]
		if a.op == opSlope && t > 0 {
			dst[t] /= ev.seconds(t - old)
		}
	}
}

func (ev *evaluator) seconds(ticks int) float64 { return ev.millis(ticks) / 1000 }

func (ev *evaluator) millis(ticks int) float64 { return millis(ticks, ev.period) }

func millis(ticks int, period time.Duration) float64 {
	return float64(int64(ticks)*int64(period)) / 1e6
}

// timeSince counts from the last tick at which c was true: without limit if
// there was none, unknown from the moment c is unknown until it is true again.
func (ev *evaluator) timeSince(dst []float64, c *node) {
	b := ev.band(c, margins)
	last, never := 0, math.Inf(1)
	for t := range dst {
		switch lo, hi := b.at(t); {
		case lo >= 0:
			last, never = t, 0
		case hi >= 0:
			never = math.NaN()
		}
		dst[t] = never
		if never == 0 {
			dst[t] = ev.millis(t - last)
		}
	}
}

// valueAt keeps what x was when the moment last came; unknown before.
func (ev *evaluator) valueAt(dst []float64, a *arith) {
	v, at, k := ev.floats(a.kids[0]), ev.moments[a.moment], 0
	held := math.NaN()
	for t := range dst {
		for ; k < len(at) && at[k] <= t; k++ {
			held = v[t]
		}
		dst[t] = held
	}
}

// rawMargin is a comparison's margin at one tick, in its unit.
func (ev *evaluator) rawMargin(n *node, t int) float64 {
	l, r := ev.floats(n.left)[t], ev.floats(n.right)[t]
	if n.op == opLess || n.op == opLessEq {
		return r - l
	}
	return l - r
}
