package require

import (
	"fmt"
	"time"
)

// mode says what the keys of a band measure.
type mode uint8

const (
	margins mode = iota // the scaled distance to a limit
	earlier             // ticks by which the trace could come earlier
	later               // ticks by which it could come later
	modes
)

// evaluator holds one trace's intermediate results. Its buffers are reused
// from trace to trace.
type evaluator struct {
	n        int
	period   time.Duration
	complete bool
	columns  []Column
	names    []boundColumn
	moments  [][]int
	values   [][]float64
	bands    [modes][]*band
	mine     []made // bands of the requirement at work
	spareF   [][]float64
	spareK   [][]int64
	usedF    [][]float64
}

type made struct {
	m mode
	n *node
}

// open points the evaluator at a trace.
func (ev *evaluator) open(s *Set, sig Signals) error {
	if sig.Period() != s.period {
		return fmt.Errorf("require: trace has a tick of %v, the formulas were compiled for %v", sig.Period(), s.period)
	}
	if ev.n != sig.Len() {
		ev.spareF, ev.spareK = nil, nil
	}
	ev.n, ev.period, ev.complete = sig.Len(), s.period, sig.Complete()
	ev.names, ev.columns = s.columns, ev.columns[:0]
	for _, bc := range s.columns {
		c, ok := sig.Lookup(bc.name)
		if !ok {
			return fmt.Errorf("require: trace has no channel %q", bc.name)
		}
		if err := bc.col.matches(c); err != nil {
			return fmt.Errorf("require: channel %q: %w", bc.name, err)
		}
		ev.columns = append(ev.columns, c)
	}
	if err := ev.openMoments(s.moments, sig); err != nil {
		return err
	}
	ev.values = make([][]float64, len(s.ariths))
	for m := range ev.bands {
		ev.bands[m] = make([]*band, len(s.nodes))
	}
	return nil
}

func (ev *evaluator) openMoments(names []string, sig Signals) error {
	ev.moments = ev.moments[:0]
	for _, name := range names {
		at, ok := sig.Moments(name)
		if !ok {
			return fmt.Errorf("require: trace has no moment %q", name)
		}
		if err := checkTicks(at, ev.n); err != nil {
			return fmt.Errorf("require: moment %q: %w", name, err)
		}
		ev.moments = append(ev.moments, at)
	}
	return nil
}

// checkTicks holds a Signals to its contract.
func checkTicks(at []int, n int) error {
	last := 0
	for _, t := range at {
		if t < last || t >= n {
			return fmt.Errorf("tick %d is out of order or outside 0..%d", t, n-1)
		}
		last = t
	}
	return nil
}

// close takes all buffers back and lets go of the trace.
func (ev *evaluator) close() {
	for m := range ev.bands {
		for _, b := range ev.bands[m] {
			ev.recycle(b)
		}
	}
	ev.spareF = append(ev.spareF, ev.usedF...)
	ev.usedF = ev.usedF[:0]
	clear(ev.columns)
	clear(ev.moments)
}

func (ev *evaluator) newFloats() []float64 {
	v := take(&ev.spareF, ev.n)
	ev.usedF = append(ev.usedF, v)
	return v
}

func (ev *evaluator) newKeys() []int64 { return take(&ev.spareK, ev.n) }

func (ev *evaluator) giveKeys(k []int64) {
	if cap(k) >= ev.n {
		ev.spareK = append(ev.spareK, k[:cap(k)])
	}
}

func take[T any](spare *[][]T, n int) []T {
	if last := len(*spare) - 1; last >= 0 {
		v := (*spare)[last]
		*spare = (*spare)[:last]
		return v[:n]
	}
	return make([]T, n)
}

func (ev *evaluator) recycle(b *band) {
	if b != nil {
		ev.giveKeys(b.lo)
	}
}

// release drops what only the requirement just judged needed.
func (ev *evaluator) release() {
	for _, x := range ev.mine {
		if x.n.users == 1 {
			ev.recycle(ev.bands[x.m][x.n.id])
			ev.bands[x.m][x.n.id] = nil
		}
	}
	ev.mine = ev.mine[:0]
}

// band gives a condition at every tick.
func (ev *evaluator) band(n *node, m mode) *band {
	if b := ev.bands[m][n.id]; b != nil {
		return b
	}
	var b *band
	switch {
	case n.isAtom() && m == margins:
		b = ev.atom(n)
	case n.isAtom():
		b = ev.shift(n, m)
	case n.op.temporal():
		b = ev.temporal(n, m)
	case n.op == opRising || n.op == opFalling:
		b = ev.edge(n, m)
	default:
		b = ev.connective(n, m)
	}
	ev.bands[m][n.id] = b
	ev.mine = append(ev.mine, made{m, n})
	return b
}

// newBand starts a band that is exact up to tick exact, all of it to be
// filled in.
func (ev *evaluator) newBand(exact int) *band {
	exact = min(max(exact, 0), ev.n)
	b := &band{lo: ev.newKeys(), exact: exact}
	if exact < ev.n {
		b.hi = make([]int64, ev.n-exact)
	}
	return b
}

// trim moves exact forward over ticks where the bounds agree after all.
func (b *band) trim() *band {
	for len(b.hi) > 0 && b.hi[0] == b.lo[b.exact] {
		b.hi = b.hi[1:]
		b.exact++
	}
	return b
}

// upper gives the upper bound from tick from on.
func (b *band) upper(from int) []int64 {
	if from >= b.exact {
		return b.hi[from-b.exact:]
	}
	out := make([]int64, len(b.lo)-from)
	copy(out, b.lo[from:b.exact])
	copy(out[b.exact-from:], b.hi)
	return out
}

func (ev *evaluator) connective(n *node, m mode) *band {
	kids := [2]*band{}
	exact := ev.n
	for i, k := range n.kids {
		kids[i] = ev.band(k, m)
		exact = min(exact, kids[i].exact)
	}
	b := ev.newBand(exact)
	if n.op == opNot {
		invert(b.lo[:exact], kids[0].lo)
		invert(b.lo[exact:], kids[0].upper(exact))
		invert(b.hi, kids[0].lo[exact:])
		return b
	}
	l, r := kids[0], kids[1]
	join(n.op, b.lo[:exact], l.lo, r.lo)
	if exact == ev.n {
		return b
	}
	lowL, highL := l.lo[exact:], l.upper(exact)
	if n.op == opImplies {
		lowL, highL = highL, lowL
	}
	join(n.op, b.lo[exact:], lowL, r.lo[exact:])
	join(n.op, b.hi, highL, r.upper(exact))
	return b.trim()
}

func invert(dst, src []int64) {
	for i := range dst {
		dst[i] = ^src[i]
	}
}

func join(o op, dst, l, r []int64) {
	l, r = l[:len(dst)], r[:len(dst)]
	switch o {
	case opAnd:
		for i := range dst {
			dst[i] = min(l[i], r[i])
		}
	case opOr:
		for i := range dst {
			dst[i] = max(l[i], r[i])
		}
	default:
		for i := range dst {
			dst[i] = max(^l[i], r[i])
		}
	}
}

// edge is p now and not p one tick ago; nothing rises at the first tick.
func (ev *evaluator) edge(n *node, m mode) *band {
	p := ev.band(n.kids[0], m)
	b := ev.newBand(p.exact)
	flip := int64(0)
	if n.op == opFalling {
		flip = -1
	}
	for t := 1; t < p.exact; t++ {
		b.lo[t] = min(p.lo[t]^flip, ^p.lo[t-1]^flip)
	}
	for t := b.exact; t < ev.n; t++ {
		if t > 0 {
			b.lo[t], b.hi[t-b.exact] = edgeAt(p, t, n.op == opFalling)
		}
	}
	b.lo[0] = bottom
	if b.exact == 0 {
		b.hi[0] = bottom
	}
	return b.trim()
}

func edgeAt(p *band, t int, falling bool) (lo, hi int64) {
	nowLo, nowHi := p.at(t)
	wasLo, wasHi := p.at(t - 1)
	if falling {
		return min(^nowHi, wasLo), min(^nowLo, wasHi)
	}
	return min(nowLo, ^wasHi), min(nowHi, ^wasLo)
}
