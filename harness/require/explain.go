package require

// side picks one of a margin's bounds.
type side bool

const (
	low  side = false
	high side = true
)

func (ev *evaluator) key(n *node, t int, s side) int64 {
	lo, hi := ev.point(n, t, margins)
	if s == high {
		return hi
	}
	return lo
}

// explain finds the atom and tick that set a margin, by going down the
// formula to the operand that gave the value. The atom is nil if the value
// came from outside: an empty window, or beyond the end of the trace.
func (ev *evaluator) explain(n *node, t int, s side) (*node, int) {
	v := ev.key(n, t, s)
	switch {
	case n.isAtom():
		return n, t
	case n.op == opNot:
		return ev.explain(n.kids[0], t, !s)
	case n.op == opAnd || n.op == opOr:
		return ev.explain(ev.which(n, t, s, v), t, s)
	case n.op == opImplies:
		if ^ev.key(n.kids[0], t, !s) == v {
			return ev.explain(n.kids[0], t, !s)
		}
		return ev.explain(n.kids[1], t, s)
	case n.op == opRising || n.op == opFalling:
		return ev.explainEdge(n, t, s, v)
	case n.op == opUntil:
		from, to, _ := ev.reach(n, t)
		return ev.explainUntil(n, t, from, to, 1, s, v)
	case n.op == opSince:
		from, to := ev.reachBack(n, t)
		return ev.explainUntil(n, t, to-1, from-1, -1, s, v)
	}
	return ev.explainWindow(n, t, s, v)
}

func (ev *evaluator) which(n *node, t int, s side, v int64) *node {
	if ev.key(n.kids[0], t, s) == v {
		return n.kids[0]
	}
	return n.kids[1]
}

func (ev *evaluator) explainEdge(n *node, t int, s side, v int64) (*node, int) {
	if t == 0 {
		return nil, 0
	}
	now, was := s, !s
	if n.op == opFalling {
		now, was = !s, s
	}
	k := ev.key(n.kids[0], t, now)
	if n.op == opFalling {
		k = ^k
	}
	if k == v {
		return ev.explain(n.kids[0], t, now)
	}
	return ev.explain(n.kids[0], t-1, was)
}

func (ev *evaluator) explainWindow(n *node, t int, s side, v int64) (*node, int) {
	var from, to int
	if n.op.past() {
		from, to = ev.reachBack(n, t)
	} else {
		from, to, _ = ev.reach(n, t)
	}
	for u := from; u < to; u++ {
		if ev.key(n.kids[0], u, s) == v {
			return ev.explain(n.kids[0], u, s)
		}
	}
	return nil, min(max(t, to-1), ev.n-1)
}

// explainUntil walks from t away to the last tick of the window, stop
// excluded, and takes the first witness that gives v; the window proper
// begins at first.
func (ev *evaluator) explainUntil(n *node, t, first, stop, step int, s side, v int64) (*node, int) {
	least, leastAt := top, -1
	for u := t; u != stop && u >= 0 && u < ev.n; u += step {
		if (u-first)*step >= 0 {
			if q := ev.key(n.kids[1], u, s); min(q, least) == v {
				if q == v || leastAt < 0 {
					return ev.explain(n.kids[1], u, s)
				}
				return ev.explain(n.kids[0], leastAt, s)
			}
		}
		if p := ev.key(n.kids[0], u, s); p < least {
			least, leastAt = p, u
		}
	}
	if least == v && leastAt >= 0 {
		return ev.explain(n.kids[0], leastAt, s)
	}
	return nil, min(max(t, 0), ev.n-1)
}
