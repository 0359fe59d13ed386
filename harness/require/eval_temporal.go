package require

// pads are what lies beyond the last tick, for the lower and upper bound. A
// time window that reaches there meets the unknown. A window without a time
// limit ends with the run, if the trace is complete.
func (ev *evaluator) pads(n *node) (low, high int64) {
	if n.window.kind == boundTime || !ev.complete {
		return bottom, top
	}
	if n.op == opAlways {
		return top, top
	}
	return bottom, bottom
}

func maskOf(o op) int64 {
	if o == opEventually || o == opOnce {
		return -1
	}
	return 0
}

func (ev *evaluator) temporal(n *node, m mode) *band {
	kids := [2]*band{}
	for i, k := range n.kids {
		kids[i] = ev.band(k, m)
	}
	if n.op.past() {
		return ev.past(n, kids)
	}
	return ev.future(n, kids)
}

// future works out the lower bound over the whole trace, and the upper one
// from the first tick whose window meets something unknown.
func (ev *evaluator) future(n *node, kids [2]*band) *band {
	low, high := ev.pads(n)
	exact := ev.exactOf(n, kids)
	if n.window.kind == boundTime {
		exact = max(0, exact-n.window.b)
	} else if exact < ev.n || !ev.complete {
		exact = 0
	}
	b := ev.newBand(exact)
	lows := [2][]int64{kids[0].lo}
	if kids[1] != nil {
		lows[1] = kids[1].lo
	}
	ev.futureBound(n, b.lo, lows, low, 0)
	if b.known() {
		return b
	}
	highs := [2][]int64{kids[0].upper(b.exact)}
	if kids[1] != nil {
		highs[1] = kids[1].upper(b.exact)
	}
	ev.futureBound(n, b.hi, highs, high, b.exact)
	return b.trim()
}

// exactOf is the first tick at which any operand is unknown.
func (ev *evaluator) exactOf(n *node, kids [2]*band) int {
	exact := kids[0].exact
	if len(n.kids) > 1 {
		exact = min(exact, kids[1].exact)
	}
	return exact
}

// futureBound runs the kernel on operands that start at tick from.
func (ev *evaluator) futureBound(n *node, dst []int64, kids [2][]int64, pad int64, from int) {
	w := n.window
	timed := w.kind == boundTime
	var stops []int
	if w.kind == boundBefore {
		stops = ev.moments[n.moment]
	}
	switch {
	case n.op == opUntil && timed:
		tmp := ev.newKeys()
		until(dst, kids[0], kids[1], w.a, w.b, pad, pad, tmp[:len(dst)])
		ev.giveKeys(tmp)
	case n.op == opUntil:
		untilStop(dst, kids[0], kids[1], stops, pad)
	case timed:
		slide(dst, kids[0], w.a, w.b, pad, maskOf(n.op))
	default:
		fold(dst, kids[0], stops, pad, maskOf(n.op))
	}
}

// past is exact up to where an operand is not; what lay before the first tick
// is known: nothing did.
func (ev *evaluator) past(n *node, kids [2]*band) *band {
	b := ev.newBand(ev.exactOf(n, kids))
	lows := [2][]int64{kids[0].lo}
	if kids[1] != nil {
		lows[1] = kids[1].lo
	}
	ev.pastBound(n, b.lo, lows)
	if b.known() {
		return b
	}
	highs := [2][]int64{kids[0].upper(0)}
	if kids[1] != nil {
		highs[1] = kids[1].upper(0)
	}
	all := ev.newKeys()
	ev.pastBound(n, all, highs)
	copy(b.hi, all[b.exact:])
	ev.giveKeys(all)
	return b.trim()
}

func (ev *evaluator) pastBound(n *node, dst []int64, kids [2][]int64) {
	w := n.window
	if w.kind == boundTime {
		ev.pastTimed(n, dst, kids)
		return
	}
	var starts []int
	if w.kind == boundBack {
		starts = ev.moments[n.moment]
	}
	needStart := w.kind == boundBack
	if n.op == opSince {
		sinceStart(dst, kids[0], kids[1], starts, needStart)
		return
	}
	foldBack(dst, kids[0], starts, needStart, maskOf(n.op))
}

// pastTimed turns time round for since: the past of a trace is the future of its
// mirror image, with nothing beyond the end.
func (ev *evaluator) pastTimed(n *node, dst []int64, kids [2][]int64) {
	w, mask := n.window, maskOf(n.op)
	switch {
	case n.op != opSince && w.a == w.b:
		shiftBack(dst, kids[0], w.a, top^mask)
		return
	case n.op != opSince:
		slidePast(dst, kids[0], w.a, w.b, mask)
		return
	}
	p, q, out, tmp := ev.newKeys(), ev.newKeys(), ev.newKeys(), ev.newKeys()
	reverse(p, kids[0])
	reverse(q, kids[1])
	until(out, p, q, w.a, w.b, top, bottom, tmp)
	reverse(dst, out)
	for _, k := range [...][]int64{p, q, out, tmp} {
		ev.giveKeys(k)
	}
}
