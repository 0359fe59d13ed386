package require_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	stl "github.com/holdline/holdline/harness/require"
)

// pick favours what breaks evaluators: repeats, ties at the limit, NaN.
func pick[T any](r *rand.Rand, from ...T) T { return from[r.IntN(len(from))] }

// randomTrace has a channel of every kind.
func randomTrace(r *rand.Rand) *trace {
	n := 1 + r.IntN(20)
	tr := newTrace(n, time.Millisecond)
	tr.cut = r.IntN(4) == 0
	holes := r.IntN(3) == 0
	wild := func() float64 {
		if holes && r.IntN(6) == 0 {
			return pick(r, math.NaN(), math.Inf(1), math.Inf(-1))
		}
		return pick(r, 0, math.Copysign(0, -1), 1, 2, 3, -1, -2, 0.1, -0.1, 2.5, r.Float64()*6-3)
	}
	x, lin, pct := make([]float64, n), make([]float64, 1+n/3), make([]float64, n)
	for i := range x {
		x[i], pct[i] = wild(), wild()
	}
	for i := range lin {
		lin[i] = wild()
	}
	tenths, sw, st, fl := make([]int32, n), make([]int32, n), make([]int32, n), make([]int32, n)
	last := int32(0)
	for i := range tenths {
		tenths[i] = int32(r.IntN(61) - 30)
		if r.IntN(3) == 0 {
			last = int32(r.IntN(8))
		}
		sw[i], st[i], fl[i] = last&1, last%3, last
	}
	tr.add("x", stl.Column{MarginScale: 1, Floats: x})
	tr.add("rpm", stl.Column{Unit: "rpm", MarginScale: 4, Ints: tenths, PerUnit: 10})
	tr.add("lin", stl.Column{Unit: "kPa", MarginScale: 3, Every: 3, Interp: stl.Linear, Floats: lin})
	tr.add("pct", stl.Column{Unit: "percent", Floats: pct[:n-r.IntN(2)*r.IntN(n)]})
	tr.add("sw", stl.Column{Kind: stl.Switch, Ints: sw})
	tr.add("st", stl.Column{Kind: stl.State, Labels: []string{"idle", "held", "gone"}, Ints: st})
	tr.add("fl", stl.Column{Kind: stl.Flags, Labels: []string{"low", "hot", "old"}, Ints: fl})
	for _, m := range []string{"m", "k"} {
		var ticks []int
		for t := 0; t < n; t++ {
			if r.IntN(5) == 0 {
				ticks = append(ticks, t)
			}
		}
		tr.moment(m, ticks...)
	}
	return tr
}

// sampleAt is a channel in its unit.
func sampleAt(name string) func(tr *trace, t int) float64 {
	return func(tr *trace, t int) float64 {
		c := tr.columns[name]
		if c.Ints != nil {
			return float64(c.Ints[t]) / max(c.PerUnit, 1)
		}
		stored := func(i int) float64 {
			if i >= len(c.Floats) || math.IsInf(c.Floats[i], 0) {
				return math.NaN()
			}
			return c.Floats[i]
		}
		if c.Every == 0 {
			return stored(t)
		}
		v, r := stored(t/3), t%3
		if r == 0 {
			return v
		}
		return v + float64((stored(t/3+1)-v)*(float64(r)/3)) // rounded: arm64 would fuse
	}
}

type generator struct{ *rand.Rand }

// channelOf picks a channel with its scale and the unit of its literals.
func (g generator) channelOf() (a oArith, unit string, scale float64) {
	name := pick(g.Rand, "x", "rpm", "lin", "pct")
	a = oArith{name, sampleAt(name)}
	switch name {
	case "rpm":
		return a, " rpm", 4
	case "lin":
		return a, " kPa", 3
	case "pct":
		return a, " percent", 1
	}
	return a, "", 1
}

func (g generator) literal(unit string) oArith {
	v := pick(g.Rand, 0, 1, 2, 0.1, 2.5, 3)
	text := fmt.Sprint(v) + unit
	if g.IntN(3) == 0 && v != 0 {
		v, text = -v, "-"+text
	}
	if unit == " kPa" && g.IntN(4) == 0 {
		v, text = 1, "0.01 bar"
	}
	return oArith{text, func(*trace, int) float64 { return v }}
}

// arith grows an expression in one unit.
func (g generator) arith(a oArith, unit string, depth int) oArith {
	if depth == 0 || g.IntN(3) > 0 {
		return a
	}
	b := g.literal(unit)
	if g.IntN(2) == 0 {
		b = g.arith(a, unit, depth-1)
	}
	two := func(f func(x, y float64) float64) func(*trace, int) float64 {
		return func(tr *trace, t int) float64 { return f(a.at(tr, t), b.at(tr, t)) }
	}
	switch g.IntN(8) {
	case 0:
		return oArith{"(" + a.text + " + " + b.text + ")", two(func(x, y float64) float64 { return x + y })}
	case 1:
		return oArith{"(" + a.text + " - (" + b.text + "))", two(func(x, y float64) float64 { return x - y })}
	case 2:
		return oArith{"max(" + a.text + ", " + b.text + ")", two(math.Max)}
	case 3:
		return oArith{"min(" + a.text + ", " + b.text + ")", two(math.Min)}
	case 4:
		return oArith{"abs(" + a.text + ")", func(tr *trace, t int) float64 { return math.Abs(a.at(tr, t)) }}
	case 5:
		k := 1 + g.IntN(4)
		return oArith{fmt.Sprintf("delta(%s, %d ms)", a.text, k), func(tr *trace, t int) float64 {
			return a.at(tr, t) - a.at(tr, max(0, t-k))
		}}
	case 6:
		return oArith{"value_at(" + a.text + ", m)", func(tr *trace, t int) float64 {
			v := math.NaN()
			for _, s := range tr.moments["m"] {
				if s <= t {
					v = a.at(tr, s)
				}
			}
			return v
		}}
	}
	return oArith{"3 * " + a.text + " / 2", func(tr *trace, t int) float64 { return float64(3*a.at(tr, t)) / 2 }}
}

func (g generator) atom(depth int) *oNode {
	held := func(name string, f func(v int32) bool) func(*trace, int) (bool, bool) {
		return func(tr *trace, t int) (bool, bool) { return f(tr.columns[name].Ints[t]), true }
	}
	switch g.IntN(14) {
	case 0:
		return truthAtom("sw", held("sw", func(v int32) bool { return v != 0 }))
	case 1:
		return truthAtom("st is held", held("st", func(v int32) bool { return v == 1 }))
	case 2:
		return truthAtom("st is not gone", held("st", func(v int32) bool { return v != 2 }))
	case 3:
		return truthAtom("fl has hot", held("fl", func(v int32) bool { return v&2 != 0 }))
	case 4:
		return atMoment("m")
	case 5:
		return truthAtom("true", func(*trace, int) (bool, bool) { return true, true })
	case 6:
		if depth > 0 {
			return g.timeSince(depth)
		}
	}
	a, unit, scale := g.channelOf()
	o := pick(g.Rand, "<", "<=", ">", ">=", "<=", ">=", "==", "!=")
	return compareAtom(g.arith(a, unit, 2), o, g.literal(unit), scale)
}

func (g generator) timeSince(depth int) *oNode {
	c := g.node(depth - 1)
	since := oArith{"time_since(" + c.String() + ")", func(tr *trace, t int) float64 {
		for u := t; u >= 0; u-- {
			switch c.eval(tr, u, oracleMargin).truth() {
			case 1:
				return float64(t - u)
			case 0:
				return math.NaN()
			}
		}
		return math.Inf(1)
	}}
	return compareAtom(since, pick(g.Rand, "<", "<=", ">"), g.literal(" ms"), 10)
}

// node grows a condition.
func (g generator) node(depth int) *oNode {
	if depth <= 0 || g.IntN(6) == 0 {
		return g.atom(depth)
	}
	o := &oNode{a: 0, b: -1}
	o.op = pick(g.Rand, "not", "and", "or", "implies", "rising", "falling", "always", "eventually",
		"until", "historically", "once", "since", "always", "eventually", "until", "since")
	o.kids = []*oNode{g.node(depth - 1)}
	switch o.op {
	case "and", "or", "implies", "until", "since":
		o.kids = append(o.kids, g.node(depth-1))
	}
	switch o.op {
	case "always", "eventually", "until", "historically", "once", "since":
		g.window(o)
	}
	return o
}

func (g generator) window(o *oNode) {
	past := o.op == "historically" || o.op == "once" || o.op == "since"
	switch g.IntN(8) {
	case 0:
	case 1:
		if past {
			o.from = "m"
		} else {
			o.to = "k"
		}
	case 2:
		if !past && o.op != "until" {
			o.from = "m"
			if g.IntN(2) == 0 {
				o.to = "k"
			}
		}
	default:
		o.a = pick(g.Rand, 0, 0, 0, 1, 2, 5)
		o.b = o.a + pick(g.Rand, 0, 1, 2, 3, 4, 7, 30)
	}
}

// formula is judged at tick 0; half of them look at a later tick, so that the
// past has something in it.
func (g generator) formula() *oNode {
	f := g.node(1 + g.IntN(4))
	if g.IntN(2) == 0 {
		return f
	}
	k := g.IntN(16)
	return &oNode{op: "eventually", a: k, b: k, kids: []*oNode{f}}
}
