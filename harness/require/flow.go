package require

import "math"

type pair struct{ lo, hi int64 }

var open = pair{bottom, top}

// flow is a condition in a Monitor: at the monitor's tick t it works out its
// value at tick t - delay and keeps the last few.
type flow struct {
	n           *node
	kids        []*flow
	left, right *numbers
	input       int // the latest operand's delay
	delay       int
	keep        int // ticks for which readers look back
	out         []pair
	queueLo     queue
	queueHi     queue
	guardLo     extreme
	guardHi     extreme
	began       bool // back to: the moment came
	acc         pair
}

func (f *flow) get(t int) pair { return f.out[t%len(f.out)] }

// reserve tells the operands how far back this flow reads them.
func (f *flow) reserve() {
	back := 0
	switch w := f.n.window; {
	case f.n.op == opRising || f.n.op == opFalling:
		back = 1
	case f.n.op.past():
		back = w.a
	case f.n.op == opUntil:
		back = w.b - w.a + 1
	}
	for _, k := range f.kids {
		k.keep = max(k.keep, f.input-k.delay+back)
	}
	if f.left != nil {
		f.left.keep = max(f.left.keep, f.input-f.left.delay)
		f.right.keep = max(f.right.keep, f.input-f.right.delay)
	}
}

func (f *flow) tick(m *Monitor, t int) {
	w, u := t-f.input, t-f.delay
	if w < 0 {
		return
	}
	v := open
	switch {
	case f.n.op.temporal():
		v = f.temporal(m, w, u)
	case u < m.end:
		v = f.instant(m, u)
	}
	if u >= m.end {
		v = open
	}
	if u >= 0 {
		f.out[u%len(f.out)] = v
	}
}

// instant works out what needs no window.
func (f *flow) instant(m *Monitor, t int) pair {
	switch f.n.op {
	case opNot:
		a := f.kids[0].get(t)
		return pair{^a.hi, ^a.lo}
	case opAnd:
		a, b := f.kids[0].get(t), f.kids[1].get(t)
		return pair{min(a.lo, b.lo), min(a.hi, b.hi)}
	case opOr:
		a, b := f.kids[0].get(t), f.kids[1].get(t)
		return pair{max(a.lo, b.lo), max(a.hi, b.hi)}
	case opImplies:
		a, b := f.kids[0].get(t), f.kids[1].get(t)
		return pair{max(^a.hi, b.lo), max(^a.lo, b.hi)}
	case opRising, opFalling:
		return f.edge(t)
	}
	return f.atom(m, t)
}

func (f *flow) edge(t int) pair {
	if t == 0 {
		return pair{bottom, bottom}
	}
	now, was := f.kids[0].get(t), f.kids[0].get(t-1)
	if f.n.op == opFalling {
		return pair{min(^now.hi, was.lo), min(^now.lo, was.hi)}
	}
	return pair{min(now.lo, ^was.hi), min(now.hi, ^was.lo)}
}

func (f *flow) atom(m *Monitor, t int) pair {
	exact := func(b bool) pair { return pair{keyOfBool(b), keyOfBool(b)} }
	n := f.n
	switch {
	case n.op == opTrue || n.op == opFalse:
		return exact(n.op == opTrue)
	case n.op == opMoment:
		return exact(m.momentAt(n.moment, t))
	case !n.op.comparison():
		v := m.cols[n.col].held(t)
		if math.IsNaN(v) {
			return open
		}
		return exact(n.holds(v))
	}
	d := f.left.get(t) - f.right.get(t)
	switch {
	case math.IsNaN(d):
		return open
	case !n.sized():
		return exact((d == 0) == (n.op == opEqual))
	}
	k := n.marginKey(d)
	return pair{k, k}
}

// marginKey is a comparison's margin for left less right.
func (n *node) marginKey(d float64) int64 {
	switch {
	case d == 0 && (n.op == opLess || n.op == opMore):
		return keyOf(math.Copysign(0, -1))
	case d == 0:
		return keyOf(0)
	case n.op == opLess || n.op == opLessEq:
		d = -d
	}
	return keyOf(d / n.scale)
}

// temporal takes in the operands up to tick w and gives the value at u.
func (f *flow) temporal(m *Monitor, w, u int) pair {
	switch {
	case f.n.op.past() && f.n.window.kind != boundTime:
		return f.running(m, u)
	case f.n.op.binaryTemporal():
		return f.windowed(m, w, u)
	}
	return f.sliding(w, u)
}

// running folds the past without a window in time.
func (f *flow) running(m *Monitor, t int) pair {
	back := f.n.window.kind == boundBack
	if t == 0 || back && t < m.end && m.momentAt(f.n.moment, t) {
		f.acc = pair{top, top}
		if f.n.op != opHistorically {
			f.acc = pair{bottom, bottom}
		}
		f.began = !back || m.momentAt(f.n.moment, t)
	}
	if !f.began {
		return f.acc
	}
	a := f.kids[0].get(t)
	switch f.n.op {
	case opHistorically:
		f.acc = pair{min(f.acc.lo, a.lo), min(f.acc.hi, a.hi)}
	case opOnce:
		f.acc = pair{max(f.acc.lo, a.lo), max(f.acc.hi, a.hi)}
	default:
		b := f.kids[1].get(t)
		f.acc = pair{max(b.lo, min(a.lo, f.acc.lo)), max(b.hi, min(a.hi, f.acc.hi))}
	}
	return f.acc
}

// sliding keeps the window's extreme.
func (f *flow) sliding(w, u int) pair {
	win, mask := f.n.window, maskOf(f.n.op)
	newest, oldest := w, u+win.a
	if f.n.op.past() {
		newest, oldest = u-win.a, u-win.b
	}
	if newest >= 0 {
		v := f.kids[0].get(newest)
		f.guardLo.push(newest, v.lo^mask)
		f.guardHi.push(newest, v.hi^mask)
	}
	return pair{f.guardLo.least(oldest) ^ mask, f.guardHi.least(oldest) ^ mask}
}

// windowed keeps until or since: a queue over the ticks at which q may come,
// and a guard on p over those nearer than the window.
func (f *flow) windowed(m *Monitor, w, u int) pair {
	win, back := f.n.window, f.n.op == opSince
	newest, oldest := w, u+win.a
	guardNewest, guardOldest := u+win.a-1, u
	if back {
		newest, oldest = u-win.a, u-win.b
		guardNewest, guardOldest = u, u-win.a+1
	}
	if newest >= 0 {
		p, q := f.kids[0].get(newest), f.kids[1].get(newest)
		f.queueLo.push(newest, cell{p.lo, q.lo}, back)
		f.queueHi.push(newest, cell{p.hi, q.hi}, back)
	}
	if guardNewest >= 0 && win.a > 0 {
		p := f.kids[0].get(guardNewest)
		f.guardLo.push(guardNewest, p.lo)
		f.guardHi.push(guardNewest, p.hi)
	}
	return pair{
		min(f.queueLo.value(oldest, back), f.guardLo.least(guardOldest)),
		min(f.queueHi.value(oldest, back), f.guardHi.least(guardOldest)),
	}
}
