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
	if both, ok := ev.joinFold(n.kids[0], m, from, to, mask); ok {
		return foldRange([]int64{both}, lo, mask), foldRange([]int64{both}, hi, mask)
	}
	b := ev.band(n.kids[0], m)
	known := min(max(b.exact, from), to)
	both := foldRange(b.lo[from:known], top^mask, mask)
	lo, hi = foldRange([]int64{both}, lo, mask), foldRange([]int64{both}, hi, mask)
	if known < to {
		lo = foldRange(b.lo[known:to], lo, mask)
		hi = foldRange(b.hi[known-b.exact:to-b.exact], hi, mask)
	}
	return lo, hi
}

// joinFold folds a connective without writing it out, where nothing else reads
// it: of time margins only the one number is asked for.
func (ev *evaluator) joinFold(n *node, m mode, from, to int, mask int64) (acc int64, ok bool) {
	if m == margins || n.users != 1 || ev.bands[m][n.id] != nil || n.op != opImplies && n.op != opAnd {
		return 0, false
	}
	l, r := ev.band(n.kids[0], m), ev.band(n.kids[1], m)
	if !l.known() || !r.known() {
		return 0, false
	}
	return foldJoin(n.op, l.lo[from:to], r.lo[from:to], mask), true
}

func foldJoin(o op, l, r []int64, mask int64) int64 {
	if o == opAnd {
		return foldAnd(l, r, mask)
	}
	return foldImplies(l, r, mask)
}

// foldAnd and foldImplies are written out: a choice within the loop would cost
// more than the work. Two minima at a time do not wait for each other.
func foldAnd(l, r []int64, mask int64) int64 {
	r = r[:len(l)]
	a, b := top, top
	i := 0
	for ; i+1 < len(l); i += 2 {
		a, b = min(a, min(l[i], r[i])^mask), min(b, min(l[i+1], r[i+1])^mask)
	}
	if i < len(l) {
		a = min(a, min(l[i], r[i])^mask)
	}
	return min(a, b) ^ mask
}

func foldImplies(l, r []int64, mask int64) int64 {
	r = r[:len(l)]
	a, b := top, top
	i := 0
	for ; i+1 < len(l); i += 2 {
		a, b = min(a, max(^l[i], r[i])^mask), min(b, max(^l[i+1], r[i+1])^mask)
	}
	if i < len(l) {
		a = min(a, max(^l[i], r[i])^mask)
	}
	return min(a, b) ^ mask
}

// foldRange is the minimum of acc and src, or the maximum. Four minima at a time
// do not wait for each other.
func foldRange(src []int64, acc, mask int64) int64 {
	a, b, c, d := acc^mask, top, top, top
	for ; len(src) >= 4; src = src[4:] {
		a, b = min(a, src[0]^mask), min(b, src[1]^mask)
		c, d = min(c, src[2]^mask), min(d, src[3]^mask)
	}
	for _, v := range src {
		a = min(a, v^mask)
	}
	return min(a, b, c, d) ^ mask
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
