package require

import (
	"fmt"
	"math"
)

// maxTicks bounds windows; at 1 ms it is more than a day.
const maxTicks = 1e8

// cond binds an expression that must be a condition; nil after a report.
func (b *binder) cond(e *expr) *node {
	switch {
	case e.op == opTrue || e.op == opFalse:
		return b.node(node{op: e.op, text: e.String()})
	case e.op == opMoment:
		return b.at(e.name, e.pos)
	case e.op == opChannel:
		return b.switchOn(e)
	case e.op == opIs || e.op == opIsNot || e.op == opHas:
		return b.labelled(e)
	case e.op.comparison():
		return b.comparison(e)
	case e.op == opNot || e.op == opAnd || e.op == opOr || e.op == opImplies || e.op == opRising || e.op == opFalling:
		kids, ok := b.conds(e.kids)
		if !ok {
			return nil
		}
		return b.node(node{op: e.op, kids: kids, text: e.String()})
	case e.op.temporal():
		return b.temporal(e)
	}
	a := b.value(e)
	if a != nil {
		b.report(e.pos, fmt.Sprintf("expected a condition, found a quantity in %s", a.unit.label()), e.String(), "compare it with a limit")
	}
	return nil
}

func (b *binder) conds(es []*expr) ([]*node, bool) {
	kids, ok := make([]*node, len(es)), true
	for i, e := range es {
		kids[i] = b.cond(e)
		ok = ok && kids[i] != nil
	}
	return kids, ok
}

func (b *binder) at(moment string, pos int) *node {
	m, ok := b.momentIndex(moment, pos)
	if !ok {
		return nil
	}
	return b.node(node{op: opMoment, moment: m, text: "at " + quoteName(moment)})
}

func (b *binder) switchOn(e *expr) *node {
	i, c, ok := b.column(e.name, e.pos)
	if !ok {
		return nil
	}
	switch c.Kind {
	case Switch:
		return b.node(node{op: opChannel, col: i, text: e.String()})
	case State:
		b.report(e.pos, "expected a condition, found a state", e.name, "write "+quoteName(e.name)+" is "+firstLabel(c))
	case Flags:
		b.report(e.pos, "expected a condition, found a set of flags", e.name, "write "+quoteName(e.name)+" has "+firstLabel(c))
	default:
		u, _ := lookupUnit(c.Unit)
		b.report(e.pos, "expected a condition, found a quantity in "+u.label(), e.name, "compare it with a limit")
	}
	return nil
}

func firstLabel(c Column) string {
	if len(c.Labels) == 0 {
		return "LABEL"
	}
	return quoteName(c.Labels[0])
}

func (b *binder) labelled(e *expr) *node {
	i, c, ok := b.column(e.name, e.pos)
	if !ok {
		return nil
	}
	l, ok := b.label(e, c)
	if !ok {
		return nil
	}
	return b.node(node{op: e.op, col: i, label: l, text: e.String()})
}

func (b *binder) comparison(e *expr) *node {
	l, r := b.value(e.kids[0]), b.value(e.kids[1])
	if l == nil || r == nil {
		return nil
	}
	l, r, u, ok := b.unify(e, l, r)
	if !ok {
		return nil
	}
	n := node{op: e.op, left: l, right: r, unit: u, scale: b.scaleOf(u, l, r), text: e.String()}
	return b.node(n)
}

// scaleOf picks the margin that ranks as 1: the requirement's, or else the
// largest that a channel of this dimension declares, or else the unit's.
func (b *binder) scaleOf(u unit, sides ...*arith) float64 {
	if b.wanted != nil && b.wanted.dim == u.dim {
		b.met = true
		if b.scale != 0 {
			return convert(b.scale, *b.wanted, u)
		}
	}
	best := 0.0
	for _, s := range sides {
		best = max(best, b.declaredScale(s, u))
	}
	if best == 0 {
		best = u.scale
	}
	return best
}

func (b *binder) declaredScale(a *arith, u unit) float64 {
	best := 0.0
	if a.op == opChannel && a.unit.dim == u.dim {
		best = convert(b.cols[a.col].col.MarginScale, a.unit, u)
	}
	for _, k := range a.kids {
		best = max(best, b.declaredScale(k, u))
	}
	return best
}

// temporal binds a temporal operator. The bounds after and between are
// defined by what they expand to: each stretch is judged by itself.
func (b *binder) temporal(e *expr) *node {
	kids, ok := b.conds(e.kids)
	n := node{op: e.op, kids: kids, text: e.String()}
	switch e.bound.kind {
	case boundTime:
		n.window, ok = b.timeWindow(e.bound, ok)
	case boundBefore, boundBack:
		m, found := b.momentIndex(e.bound.a, e.bound.pos)
		n.window, n.moment, ok = window{kind: e.bound.kind}, m, ok && found
	case boundAfter, boundBetween:
		return b.stretches(e, kids[0])
	}
	if !ok {
		return nil
	}
	return b.node(n)
}

// stretches binds "OP between A and B p" as "always (at A implies OP before B
// p)", and "OP after A p" as the same without the before.
func (b *binder) stretches(e *expr, kid *node) *node {
	start := b.at(e.bound.a, e.bound.pos)
	inner := node{op: e.op, kids: []*node{kid}, text: e.String()}
	ok := start != nil && kid != nil
	if e.bound.kind == boundBetween {
		m, found := b.momentIndex(e.bound.b, e.bound.pos)
		inner.window, inner.moment, ok = window{kind: boundBefore}, m, ok && found
	}
	if !ok {
		return nil
	}
	each := b.node(node{op: opImplies, kids: []*node{start, b.node(inner)}, text: e.String()})
	return b.node(node{op: opAlways, kids: []*node{each}, text: e.String()})
}

// timeWindow keeps the ticks that lie inside the written times.
func (b *binder) timeWindow(bd bound, ok bool) (window, bool) {
	from, to := math.Ceil(b.ticks(bd.from)), math.Floor(b.ticks(bd.to))
	written := bound{kind: boundTime, from: bd.from, to: bd.to}.String()[1:]
	switch {
	case to > maxTicks:
		b.report(bd.pos, "window is too long", written, fmt.Sprintf("at most %.0f ticks of %v", maxTicks, b.period))
		return window{}, false
	case b.ticks(bd.to) < b.ticks(bd.from):
		b.report(bd.pos, "window ends before it starts", written, "swap the two times")
		return window{}, false
	case to < from:
		b.report(bd.pos, "no tick lies in the window", written, fmt.Sprintf("the tick is %v", b.period))
		return window{}, false
	}
	return window{a: int(from), b: int(to), kind: boundTime}, ok
}
