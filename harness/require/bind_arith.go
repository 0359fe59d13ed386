package require

import (
	"fmt"
	"math"
)

// value binds an expression that must be a quantity; nil after a report.
func (b *binder) value(e *expr) *arith {
	switch e.op {
	case opNumber:
		u, _ := lookupUnit(e.num.unit)
		return b.arith(arith{op: opNumber, num: e.num.num, unit: u, bare: e.num.unit == "", text: e.String()})
	case opChannel:
		return b.channel(e)
	case opAdd, opSub:
		return b.sum(e)
	case opMul, opDiv:
		return b.product(e)
	case opNeg, opAbs:
		return b.unaryValue(e)
	case opMin, opMax:
		return b.extreme(e)
	case opDelta, opSlope:
		return b.change(e)
	case opTimeSince:
		return b.timeSince(e)
	case opValueAt:
		return b.valueAt(e)
	}
	if b.cond(e) != nil {
		b.report(e.pos, "expected a quantity, found a condition", e.String(), "")
	}
	return nil
}

func (b *binder) channel(e *expr) *arith {
	i, c, ok := b.column(e.name, e.pos)
	if !ok {
		return nil
	}
	if c.Kind != Quantity {
		b.report(e.pos, "expected a quantity, found a "+c.Kind.String(), e.name, "")
		return nil
	}
	u, _ := lookupUnit(c.Unit)
	return b.arith(arith{op: opChannel, col: i, unit: u, text: e.String()})
}

// fold computes an expression of constants at once.
func (b *binder) fold(a arith) *arith {
	for _, k := range a.kids {
		if !k.constant() {
			return b.arith(a)
		}
	}
	v := a.kids[0].num
	if a.op == opNeg || a.op == opAbs {
		v = apply1(a.op, v)
	}
	for _, k := range a.kids[1:] {
		v = apply2(a.op, v, k.num)
	}
	return b.arith(arith{op: opNumber, num: v, unit: a.unit, bare: a.bare, text: a.text})
}

func (b *binder) unaryValue(e *expr) *arith {
	k := b.value(e.kids[0])
	if k == nil {
		return nil
	}
	return b.fold(arith{op: e.op, kids: []*arith{k}, unit: k.unit, bare: k.bare, text: e.String()})
}

func (b *binder) sum(e *expr) *arith {
	l, r := b.value(e.kids[0]), b.value(e.kids[1])
	if l == nil || r == nil {
		return nil
	}
	l, r, u, ok := b.unify(e, l, r)
	if !ok {
		return nil
	}
	return b.fold(arith{op: e.op, kids: []*arith{l, r}, unit: u, bare: l.bare && r.bare, text: e.String()})
}

func (b *binder) extreme(e *expr) *arith {
	acc := b.value(e.kids[0])
	for _, ke := range e.kids[1:] {
		k := b.value(ke)
		if acc == nil || k == nil {
			acc = nil
			continue
		}
		l, r, u, ok := b.unify(e, acc, k)
		if !ok {
			return nil
		}
		acc = b.fold(arith{op: e.op, kids: []*arith{l, r}, unit: u, bare: l.bare && r.bare, text: e.String()})
	}
	return acc
}

func (b *binder) product(e *expr) *arith {
	l, r := b.value(e.kids[0]), b.value(e.kids[1])
	if l == nil || r == nil {
		return nil
	}
	u := l.unit.times(r.unit)
	if e.op == opDiv {
		u = l.unit.over(r.unit)
		if r.constant() && r.num == 0 {
			b.report(e.kids[1].pos, "division by zero", e.kids[1].String(), "")
			return nil
		}
	}
	if l.unit.name == "" && e.op == opMul {
		u = r.unit
	} else if r.unit.name == "" {
		u = l.unit
	}
	return b.fold(arith{op: e.op, kids: []*arith{l, r}, unit: u, bare: l.bare && r.bare, text: e.String()})
}

// unify brings two sides into one unit, or reports why it can't. A number
// without unit fits only quantities without one, except that 0 fits all.
func (b *binder) unify(e *expr, l, r *arith) (*arith, *arith, unit, bool) {
	u := l.unit
	if !u.simple() && r.unit.simple() || l.constant() && !r.constant() && r.unit.simple() {
		u = r.unit
	}
	switch {
	case l.zero() && !r.bare:
		u = r.unit
		l = b.arith(arith{op: opNumber, unit: u, text: l.text})
	case r.zero() && !l.bare:
		u = l.unit
		r = b.arith(arith{op: opNumber, unit: u, text: r.text})
	case l.unit.dim != r.unit.dim || b.percentMix(l, r) || b.percentMix(r, l):
		b.unitClash(e, l, r)
		return nil, nil, u, false
	}
	return b.inUnit(l, u), b.inUnit(r, u), u, true
}

func (a *arith) zero() bool { return a.bare && a.constant() && a.num == 0 }

// percentMix catches "throttle >= 90", which would mean 9000 percent.
func (b *binder) percentMix(l, r *arith) bool {
	return l.bare && r.unit.factor != 1 && !r.bare
}

func (b *binder) unitClash(e *expr, l, r *arith) {
	verb := map[bool]string{true: "compare", false: "combine"}[e.op.comparison()]
	switch e.op {
	case opAdd:
		verb = "add"
	case opSub:
		verb = "subtract"
	}
	fix := ""
	if l.bare && l.constant() {
		fix = "write " + quantity{l.num, r.unit.name}.String()
	} else if r.bare && r.constant() {
		fix = "write " + quantity{r.num, l.unit.name}.String()
	}
	reason := fmt.Sprintf("cannot %s %s and %s", verb, l.unit.label(), r.unit.label())
	b.report(e.pos, reason, e.String(), fix)
}

// inUnit converts by a factor, which is 1 for nearly every formula.
func (b *binder) inUnit(a *arith, u unit) *arith {
	if a.unit.factor == u.factor {
		return a
	}
	if a.constant() {
		return b.arith(arith{op: opNumber, num: convert(a.num, a.unit, u), unit: u, text: a.text})
	}
	o, factor := opMul, a.unit.factor/u.factor
	if r, ok := whole(factor); ok {
		factor = r
	} else if r, ok := whole(u.factor / a.unit.factor); ok {
		o, factor = opDiv, r
	}
	k := b.arith(arith{op: opNumber, num: factor, bare: true})
	return b.arith(arith{op: o, kids: []*arith{a, k}, unit: u, text: a.text})
}

func (b *binder) change(e *expr) *arith {
	k := b.value(e.kids[0])
	t := b.ticks(e.num)
	if t < 1 || t != math.Trunc(t) || t > maxTicks {
		b.report(e.pos, "time must be a whole number of ticks, 1 or more", e.num.String(), fmt.Sprintf("the tick is %v", b.period))
		return nil
	}
	if k == nil {
		return nil
	}
	u := k.unit
	if e.op == opSlope {
		u = u.over(unitByName["s"])
	}
	return b.arith(arith{op: e.op, kids: []*arith{k}, ticks: int(t), unit: u, text: e.String()})
}

func (b *binder) timeSince(e *expr) *arith {
	c := b.cond(e.kids[0])
	if c == nil {
		return nil
	}
	return b.arith(arith{op: e.op, cond: c, unit: unitByName["ms"], text: e.String()})
}

func (b *binder) valueAt(e *expr) *arith {
	k := b.value(e.kids[0])
	m, ok := b.momentIndex(e.name, e.pos)
	if k == nil || !ok {
		return nil
	}
	return b.arith(arith{op: e.op, kids: []*arith{k}, moment: m, unit: k.unit, text: e.String()})
}
