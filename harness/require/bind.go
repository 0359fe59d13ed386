package require

import (
	"fmt"
	"strings"
	"time"

	"github.com/holdline/holdline/harness"
)

// binder turns parsed formulas into nodes, checking names, kinds and units
// against one trace. It goes on after an error, to report them all.
type binder struct {
	sig       Signals
	period    time.Duration
	cols      []boundColumn
	colByName map[string]int
	moments   []string
	nodes     []*node
	ariths    []*arith
	nodeKey   map[string]*node
	arithKey  map[string]*arith
	findings  harness.Findings
	wanted    *unit   // the unit that a requirement names, if it does
	met       bool    // a comparison has that dimension
	scale     float64 // in wanted; 0 for none
}

type boundColumn struct {
	name string
	col  Column
}

func newBinder(sig Signals) *binder {
	return &binder{
		sig: sig, period: sig.Period(), colByName: map[string]int{},
		nodeKey: map[string]*node{}, arithKey: map[string]*arith{},
	}
}

func (b *binder) report(pos int, reason, value, fix string) {
	b.findings = append(b.findings, harness.Finding{
		Severity: harness.Error, Column: pos + 1, Reason: reason, Value: value, Fix: fix,
	})
}

// node interns n.
func (b *binder) node(n node) *node {
	key := strings.Builder{}
	fmt.Fprintf(&key, "%d|%d|%d|%d|%v|%s|%v", n.op, n.col, n.label, n.moment, n.window, n.unit.name, n.scale)
	for _, k := range n.kids {
		fmt.Fprintf(&key, " c%d", k.id)
	}
	if n.left != nil {
		fmt.Fprintf(&key, " a%d a%d", n.left.id, n.right.id)
	}
	if old := b.nodeKey[key.String()]; old != nil {
		return old
	}
	n.id = len(b.nodes)
	n.implies = n.op == opImplies
	for _, k := range n.kids {
		n.implies = n.implies || k.implies
	}
	made := &n
	b.nodes = append(b.nodes, made)
	b.nodeKey[key.String()] = made
	return made
}

// arith interns a.
func (b *binder) arith(a arith) *arith {
	key := strings.Builder{}
	fmt.Fprintf(&key, "%d|%v|%d|%d|%d|%s|%v", a.op, a.num, a.col, a.ticks, a.moment, a.unit.name, a.bare)
	for _, k := range a.kids {
		fmt.Fprintf(&key, " a%d", k.id)
	}
	if a.cond != nil {
		fmt.Fprintf(&key, " c%d", a.cond.id)
	}
	if old := b.arithKey[key.String()]; old != nil {
		return old
	}
	a.id = len(b.ariths)
	made := &a
	b.ariths = append(b.ariths, made)
	b.arithKey[key.String()] = made
	return made
}

// column finds a channel and remembers it; ok is false after a report.
func (b *binder) column(name string, pos int) (int, Column, bool) {
	if i, ok := b.colByName[name]; ok {
		return i, b.cols[i].col, true
	}
	c, ok := b.sig.Lookup(name)
	if !ok {
		b.unknownChannel(name, pos)
		return 0, c, false
	}
	if _, ok := lookupUnit(c.Unit); !ok {
		b.report(pos, fmt.Sprintf("channel has the unknown unit %q", c.Unit), name, "units are "+strings.Join(Units(), ", "))
		return 0, c, false
	}
	if c.MarginScale != 0 && !validScale(c.MarginScale) {
		b.report(pos, fmt.Sprintf("channel has the margin scale %v, which must be above 0", c.MarginScale), name, "")
		return 0, c, false
	}
	b.colByName[name] = len(b.cols)
	c.Ints, c.Floats = nil, nil
	b.cols = append(b.cols, boundColumn{name, c})
	return len(b.cols) - 1, c, true
}

func (b *binder) unknownChannel(name string, pos int) {
	channels, moments := b.sig.Names()
	fix := ""
	if near := nearest(name, channels); near != "" {
		fix = "did you mean " + quoteName(near) + "?"
	}
	for _, m := range moments {
		if m == name {
			fix = fmt.Sprintf("it is a moment: write at %s", quoteName(name))
		}
	}
	b.report(pos, "no such channel", name, fix)
}

// momentIndex finds a moment and remembers it.
func (b *binder) momentIndex(name string, pos int) (int, bool) {
	for i, m := range b.moments {
		if m == name {
			return i, true
		}
	}
	if _, ok := b.sig.Moments(name); !ok {
		_, moments := b.sig.Names()
		fix := "this trace has no moments"
		if near := nearest(name, moments); near != "" {
			fix = "did you mean " + quoteName(near) + "?"
		} else if len(moments) > 0 {
			fix = "moments are " + strings.Join(moments, ", ")
		}
		b.report(pos, "no such moment", name, fix)
		return 0, false
	}
	b.moments = append(b.moments, name)
	return len(b.moments) - 1, true
}

// label finds a state's value or a flag's mask.
func (b *binder) label(e *expr, c Column) (int32, bool) {
	want := State
	if e.op == opHas {
		want = Flags
	}
	if c.Kind != want {
		b.report(e.pos, fmt.Sprintf("%q needs a %s, but the channel is a %s", opText[e.op], want, c.Kind), e.name, "")
		return 0, false
	}
	for i, l := range c.Labels {
		if l == e.label && want == State {
			return int32(i), true
		}
		if l == e.label && i < 32 {
			return int32(uint32(1) << i), true
		}
	}
	fix := "labels are " + strings.Join(c.Labels, ", ")
	if near := nearest(e.label, c.Labels); near != "" {
		fix = "did you mean " + quoteName(near) + "?"
	}
	b.report(e.pos, "channel "+quoteName(e.name)+" has no such label", e.label, fix)
	return 0, false
}

// ticks turns a time into ticks, not rounded.
func (b *binder) ticks(q quantity) float64 {
	u, _ := lookupUnit(q.unit)
	t := q.num * u.factor * 1000 / float64(b.period)
	if r, ok := whole(t); ok {
		return r
	}
	return t
}
