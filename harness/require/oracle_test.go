package require_test

import (
	"fmt"
	"math"
	"strings"
)

// The oracle is the definitions of the reference written down as directly as
// can be: recursion from tick to tick, float margins, no sharing, no parser.
// It knows nothing of the package but the meaning of its formulas.

// bounds is a margin of which only the limits are known.
type bounds struct{ lo, hi float64 }

var unknown = bounds{math.Inf(-1), math.Inf(1)}

// What an oracle atom gives: the margin, or the time for which its truth
// stays, ahead or back.
const (
	oracleMargin  = 0
	oracleAhead   = 1
	oracleBack    = -1
	holdsForGood  = math.MaxInt32
	oracleNoLimit = holdsForGood + 1
)

type oNode struct {
	op   string
	kids []*oNode
	a, b int // window in ticks; b = -1 without limit
	from string
	to   string
	atom func(tr *trace, t int) bounds
	text string
	memo map[[2]int]bounds
}

func (o *oNode) String() string {
	switch {
	case o.atom != nil:
		return o.text
	case o.op == "not":
		return "not (" + o.kids[0].String() + ")"
	case o.op == "rising" || o.op == "falling":
		return o.op + "(" + o.kids[0].String() + ")"
	case len(o.kids) == 1:
		return o.op + o.window() + " (" + o.kids[0].String() + ")"
	}
	return "(" + o.kids[0].String() + ") " + o.op + o.window() + " (" + o.kids[1].String() + ")"
}

func (o *oNode) window() string {
	switch {
	case o.op == "and" || o.op == "or" || o.op == "implies":
		return ""
	case o.from != "" && o.to != "":
		return " between " + o.from + " and " + o.to
	case o.from != "" && strings.Contains("once historically since", o.op):
		return " back to " + o.from
	case o.from != "":
		return " after " + o.from
	case o.to != "":
		return " before " + o.to
	case o.b < 0:
		return ""
	}
	return fmt.Sprintf(" from %d ms to %d ms", o.a, o.b)
}

func neg(b bounds) bounds { return bounds{-b.hi, -b.lo} }
func meet(a, b bounds) bounds {
	return bounds{math.Min(a.lo, b.lo), math.Min(a.hi, b.hi)}
}
func either(a, b bounds) bounds {
	return bounds{math.Max(a.lo, b.lo), math.Max(a.hi, b.hi)}
}

var (
	surely = bounds{math.Inf(1), math.Inf(1)}
	never  = bounds{math.Inf(-1), math.Inf(-1)}
)

// eval gives the node at tick t, beyond the end of the trace too. It remembers
// what it gave, so a node belongs to one trace.
func (o *oNode) eval(tr *trace, t, what int) bounds {
	if t >= tr.n {
		return unknown
	}
	if b, ok := o.memo[[2]int{t, what}]; ok {
		return b
	}
	if o.memo == nil {
		o.memo = map[[2]int]bounds{}
	}
	b := o.work(tr, t, what)
	o.memo[[2]int{t, what}] = b
	return b
}

func (o *oNode) work(tr *trace, t, what int) bounds {
	kid := func(i, u int) bounds { return o.kids[i].eval(tr, u, what) }
	switch o.op {
	case "atom":
		return o.evalAtom(tr, t, what)
	case "not":
		return neg(kid(0, t))
	case "and":
		return meet(kid(0, t), kid(1, t))
	case "or":
		return either(kid(0, t), kid(1, t))
	case "implies":
		return either(neg(kid(0, t)), kid(1, t))
	case "rising", "falling":
		if t == 0 {
			return never
		}
		now, was := kid(0, t), neg(kid(0, t-1))
		if o.op == "falling" {
			now, was = neg(now), neg(was)
		}
		return meet(now, was)
	case "always", "eventually":
		return o.evalFuture(tr, t, what, kid)
	case "historically":
		acc := surely
		for _, u := range o.past(tr, t) {
			acc = meet(acc, kid(0, u))
		}
		return acc
	case "once":
		acc := never
		for _, u := range o.past(tr, t) {
			acc = either(acc, kid(0, u))
		}
		return acc
	case "since":
		acc := never
		for _, u := range o.past(tr, t) {
			w := kid(1, u)
			for v := u + 1; v <= t; v++ {
				w = meet(w, kid(0, v))
			}
			acc = either(acc, w)
		}
		return acc
	}
	acc := never // until
	for _, u := range o.ahead(tr, t) {
		w := kid(1, u)
		for v := t; v < u; v++ {
			w = meet(w, kid(0, v))
		}
		acc = either(acc, w)
	}
	return acc
}

func (o *oNode) evalFuture(tr *trace, t, what int, kid func(i, u int) bounds) bounds {
	if o.from != "" { // each stretch by itself
		inner := &oNode{op: o.op, kids: o.kids, b: -1, to: o.to}
		each := &oNode{op: "implies", kids: []*oNode{atMoment(o.from), inner}}
		return (&oNode{op: "always", b: -1, kids: []*oNode{each}}).eval(tr, t, what)
	}
	acc, join := surely, meet
	if o.op == "eventually" {
		acc, join = never, either
	}
	for _, u := range o.ahead(tr, t) {
		acc = join(acc, kid(0, u))
	}
	return acc
}

// ahead lists the ticks of a window; one beyond the end stands for all there.
func (o *oNode) ahead(tr *trace, t int) []int {
	first, last := t, tr.n-1
	if o.b >= 0 {
		first, last = t+o.a, t+o.b
	} else if tr.cut {
		last = tr.n
	}
	if o.to != "" {
		for _, s := range tr.moments[o.to] {
			if s > t {
				last = s - 1
				break
			}
		}
	}
	var out []int
	for u := first; u <= last; u++ {
		out = append(out, u)
	}
	return out
}

func (o *oNode) past(tr *trace, t int) []int {
	first, last := 0, t
	if o.b >= 0 {
		first, last = t-o.b, t-o.a
	}
	if o.from != "" {
		first = t + 1
		for _, s := range tr.moments[o.from] {
			if s <= t {
				first = s
			}
		}
	}
	var out []int
	for u := max(first, 0); u <= last; u++ {
		out = append(out, u)
	}
	return out
}

// truth is 1, -1, or 0 if unknown. The sign of zero counts.
func (b bounds) truth() int {
	switch {
	case !math.Signbit(b.lo):
		return 1
	case math.Signbit(b.hi):
		return -1
	}
	return 0
}

// evalAtom gives the margin, or plus or minus one more than the ticks for
// which the atom's truth stays.
func (o *oNode) evalAtom(tr *trace, t, what int) bounds {
	v := o.atom(tr, t)
	side := v.truth()
	if what == oracleMargin || side == 0 {
		return v
	}
	d := 1.0
	for u := t + what; ; u += what {
		if u < 0 || u >= tr.n {
			d = oracleNoLimit
			break
		}
		if o.atom(tr, u).truth() != side {
			break
		}
		d++
	}
	return bounds{d * float64(side), d * float64(side)}
}

// oArith is a numeric expression.
type oArith struct {
	text string
	at   func(tr *trace, t int) float64
}

func compareAtom(l oArith, o string, r oArith, scale float64) *oNode {
	atom := func(tr *trace, t int) bounds {
		a, b := l.at(tr, t), r.at(tr, t)
		if math.IsNaN(a - b) {
			return unknown
		}
		m := compareMargin(a, o, b, scale)
		return bounds{m, m}
	}
	return &oNode{op: "atom", atom: atom, text: l.text + " " + o + " " + r.text}
}

func compareMargin(a float64, o string, b, scale float64) float64 {
	switch {
	case o == "==" && a == b, o == "!=" && a != b:
		return math.Inf(1)
	case o == "==" || o == "!=":
		return math.Inf(-1)
	case a == b && (o == "<=" || o == ">="):
		return 0
	case a == b:
		return math.Copysign(0, -1)
	case o == "<=" || o == "<":
		return (b - a) / scale
	}
	return (a - b) / scale
}

func truthAtom(text string, holds func(tr *trace, t int) (yes, known bool)) *oNode {
	return &oNode{op: "atom", text: text, atom: func(tr *trace, t int) bounds {
		yes, known := holds(tr, t)
		switch {
		case !known:
			return unknown
		case yes:
			return surely
		}
		return never
	}}
}

func atMoment(name string) *oNode {
	return truthAtom("at "+name, func(tr *trace, t int) (bool, bool) {
		for _, s := range tr.moments[name] {
			if s == t {
				return true, true
			}
		}
		return false, true
	})
}
