package require

// point gives a condition at tick t. The operators at the root of a formula
// are asked for tick 0 only, so they are folded on the spot instead of being
// worked out for every tick.
func (ev *evaluator) point(n *node, t int, m mode) (lo, hi int64) {
	if b := ev.bands[m][n.id]; b != nil {
		return b.at(t)
	}
	switch n.op {
	case opNot:
		lo, hi = ev.point(n.kids[0], t, m)
		return ^hi, ^lo
	case opAnd, opOr, opImplies:
		lo, hi = ev.point(n.kids[0], t, m)
		lo2, hi2 := ev.point(n.kids[1], t, m)
		switch n.op {
		case opAnd:
			return min(lo, lo2), min(hi, hi2)
		case opOr:
			return max(lo, lo2), max(hi, hi2)
		}
		return max(^hi, lo2), max(^lo, hi2)
	case opAlways, opEventually:
		return ev.pointFold(n, t, m)
	}
	return ev.band(n, m).at(t)
}

func (ev *evaluator) pointFold(n *node, t int, m mode) (lo, hi int64) {
	from, to, open := ev.reach(n, t)
	mask := maskOf(n.op)
	lo, hi = top^mask, top^mask
	if open {
		lo, hi = ev.pads(n)
	}
	b := ev.band(n.kids[0], m)
	known := min(max(b.exact, from), to)
	lo = foldRange(b.lo[from:to], lo, mask)
	hi = foldRange(b.lo[from:known], hi, mask)
	if known < to {
		hi = foldRange(b.hi[known-b.exact:to-b.exact], hi, mask)
	}
	return lo, hi
}

func foldRange(src []int64, acc, mask int64) int64 {
	acc ^= mask
	for _, v := range src {
		acc = min(acc, v^mask)
	}
	return acc ^ mask
}

// reach is the window of a future operator at tick t, as ticks from..to-1 of
// the trace, and whether the window goes on beyond its last tick.
func (ev *evaluator) reach(n *node, t int) (from, to int, open bool) {
	w := n.window
	switch w.kind {
	case boundTime:
		return min(t+w.a, ev.n), min(t+w.b+1, ev.n), t+w.b >= ev.n
	case boundBefore:
		if next, ok := after(ev.moments[n.moment], t); ok {
			return t, next, false
		}
	}
	return t, ev.n, true
}

// reachBack is the window of a past operator at tick t.
func (ev *evaluator) reachBack(n *node, t int) (from, to int) {
	w := n.window
	switch w.kind {
	case boundTime:
		return max(0, t-w.b), max(0, t-w.a+1)
	case boundBack:
		last := -1
		for _, s := range ev.moments[n.moment] {
			if s <= t {
				last = s
			}
		}
		if last < 0 {
			return 0, 0
		}
		return last, t + 1
	}
	return 0, t + 1
}

// after finds the first tick beyond t.
func after(at []int, t int) (int, bool) {
	for _, s := range at {
		if s > t {
			return s, true
		}
	}
	return 0, false
}
