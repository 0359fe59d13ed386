package require

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/holdline/holdline/harness"
)

// Monitor judges one requirement while the run goes on, from the ticks seen so
// far, in constant time a tick and with memory for its windows only. It takes
// every formula but those that wait without limit inside another operator: a
// future operator needs a window in time, unless nothing but and, or, not and
// implies stands above it. Once given, a verdict stays.
type Monitor struct {
	root  *node
	bound *Set
	steps []step // operands before operators
	flows map[*node]*flow
	nums  map[*arith]*numbers
	leafs map[*node]*leaf
	now   int // ticks taken
	end   int // length of the finished trace, or a tick never reached
	done  bool
	whole bool // the finished trace was complete
	cols  []Column
	at    [][]int
}

// maxStreamed bounds a Monitor's windows; at 1 ms it is a quarter of an hour.
const maxStreamed = 1_000_000

// leaf is a part of the formula that is asked for once: at tick 0, or over
// the whole run.
type leaf struct {
	inner  *node // what is folded; nil for a part asked at tick 0
	always bool
	known  bool
	lo, hi int64
}

type step struct {
	n *node
	a *arith
}

// NewMonitor binds a requirement to the channels, units and tick of sig. An
// error is a harness.Findings, as from Compile.
func NewMonitor(r Requirement, sig Signals) (*Monitor, error) {
	set, err := Compile([]Requirement{r}, sig)
	if err != nil {
		return nil, err
	}
	m := &Monitor{
		root: set.reqs[0].root, bound: set, end: math.MaxInt,
		flows: map[*node]*flow{}, nums: map[*arith]*numbers{}, leafs: map[*node]*leaf{},
	}
	if err := m.addLeafs(m.root); err != nil {
		return nil, harness.Findings{{
			Severity: harness.Error, Field: r.ID + ".formula", Value: r.Formula,
			Reason: "cannot be judged during the run: " + err.Error(),
			Fix:    "give it a window in time, or judge the finished trace",
		}}
	}
	m.sizeRings()
	return m, nil
}

// addLeafs splits the connectives at the root from the parts below them.
func (m *Monitor) addLeafs(n *node) error {
	switch {
	case m.leafs[n] != nil:
		return nil
	case n.op == opNot || n.op == opAnd || n.op == opOr || n.op == opImplies:
		for _, k := range n.kids {
			if err := m.addLeafs(k); err != nil {
				return err
			}
		}
		return nil
	case (n.op == opAlways || n.op == opEventually) && n.window.kind == boundNone:
		mask := maskOf(n.op)
		m.leafs[n] = &leaf{inner: n.kids[0], always: n.op == opAlways, lo: top ^ mask, hi: top ^ mask}
		return m.add(n.kids[0])
	}
	m.leafs[n] = &leaf{lo: bottom, hi: top}
	return m.add(n)
}

// add puts a condition into the order of work, its operands first.
func (m *Monitor) add(n *node) error {
	if m.flows[n] != nil {
		return nil
	}
	f := &flow{n: n}
	for _, k := range n.kids {
		if err := m.add(k); err != nil {
			return err
		}
		f.kids = append(f.kids, m.flows[k])
		f.input = max(f.input, m.flows[k].delay)
	}
	if n.op.comparison() {
		for _, a := range []*arith{n.left, n.right} {
			if err := m.addArith(a); err != nil {
				return err
			}
			f.input = max(f.input, m.nums[a].delay)
		}
		f.left, f.right = m.nums[n.left], m.nums[n.right]
	}
	f.delay = f.input
	if n.window.b > maxStreamed {
		return fmt.Errorf("%q needs more than %d ticks of memory", n.text, maxStreamed)
	}
	if n.op.temporal() && !n.op.past() {
		if n.window.kind != boundTime {
			return fmt.Errorf("%q waits without limit", n.text)
		}
		f.delay += n.window.b
	}
	m.flows[n] = f
	m.steps = append(m.steps, step{n: n})
	return nil
}

func (m *Monitor) addArith(a *arith) error {
	if m.nums[a] != nil {
		return nil
	}
	if a.op == opChannel {
		if c := m.bound.columns[a.col].col; c.Interp == Linear && c.every() > 1 {
			return errors.New("a channel drawn as a line between samples is known only at the next one")
		}
	}
	if a.ticks > maxStreamed {
		return fmt.Errorf("%q needs more than %d ticks of memory", a.text, maxStreamed)
	}
	f := &numbers{a: a, held: math.NaN(), last: -1}
	for _, k := range a.kids {
		if err := m.addArith(k); err != nil {
			return err
		}
		f.kids = append(f.kids, m.nums[k])
		f.delay = max(f.delay, m.nums[k].delay)
	}
	if a.cond != nil {
		if err := m.add(a.cond); err != nil {
			return err
		}
		f.cond = m.flows[a.cond]
		f.delay = f.cond.delay
	}
	m.nums[a] = f
	m.steps = append(m.steps, step{a: a})
	return nil
}

// sizeRings gives every value room until its last reader has read it.
func (m *Monitor) sizeRings() {
	for _, s := range m.steps {
		if s.n != nil {
			m.flows[s.n].reserve()
		} else {
			m.nums[s.a].reserve()
		}
	}
	for _, s := range m.steps {
		if s.n != nil {
			f := m.flows[s.n]
			f.out = make([]pair, f.keep+1)
		} else {
			f := m.nums[s.a]
			f.out = make([]float64, f.keep+1)
		}
	}
}

// Advance takes the ticks that sig has gained since the last call. sig must be
// the same trace, grown.
func (m *Monitor) Advance(sig Signals) (Verdict, error) {
	if m.done {
		return m.Verdict(), errors.New("require: monitor is finished")
	}
	if err := m.look(sig); err != nil {
		return m.Verdict(), err
	}
	for ; m.now < sig.Len(); m.now++ {
		m.tick(m.now)
	}
	return m.Verdict(), nil
}

// Finish takes what is left and ends the run. The verdict is then the one that
// Evaluate gives.
func (m *Monitor) Finish(sig Signals) (Verdict, error) {
	if v, err := m.Advance(sig); err != nil {
		return v, err
	}
	m.end, m.whole = m.now, sig.Complete()
	longest := 0
	for _, s := range m.steps {
		if s.n != nil {
			longest = max(longest, m.flows[s.n].delay)
		}
	}
	for t := m.end; m.end > 0 && t < m.end+longest; t++ {
		m.tick(t)
	}
	m.done = true
	return m.Verdict(), nil
}

// look finds the columns and moments of the trace as it is now.
func (m *Monitor) look(sig Signals) error {
	var ev evaluator
	if err := ev.open(m.bound, sig); err != nil {
		return err
	}
	if sig.Len() < m.now {
		return fmt.Errorf("require: trace has %d ticks, fewer than the %d already seen", sig.Len(), m.now)
	}
	m.cols, m.at = ev.columns, ev.moments
	return nil
}

func (m *Monitor) tick(t int) {
	for _, s := range m.steps {
		if s.n != nil {
			m.flows[s.n].tick(m, t)
		} else {
			m.nums[s.a].tick(m, t)
		}
	}
	for n, l := range m.leafs {
		l.take(m, n, t)
	}
}

// take reads a part's value if this tick made it known.
func (l *leaf) take(m *Monitor, n *node, t int) {
	if l.inner == nil {
		if f := m.flows[n]; t-f.delay == 0 {
			v := f.get(0)
			l.lo, l.hi, l.known = v.lo, v.hi, true
		}
		return
	}
	f := m.flows[l.inner]
	u := t - f.delay
	if u < 0 || u >= m.end {
		return
	}
	v := f.get(u)
	if l.always {
		l.lo, l.hi = min(l.lo, v.lo), min(l.hi, v.hi)
	} else {
		l.lo, l.hi = max(l.lo, v.lo), max(l.hi, v.hi)
	}
}

// now gives a part's bounds as far as they are known.
func (l *leaf) now(m *Monitor) (lo, hi int64) {
	switch {
	case l.inner == nil || m.done && m.whole && m.end > 0:
		return l.lo, l.hi
	case l.always:
		return bottom, l.hi
	}
	return l.lo, top
}

func (m *Monitor) bounds(n *node) (lo, hi int64) {
	if l := m.leafs[n]; l != nil {
		return l.now(m)
	}
	lo, hi = m.bounds(n.kids[0])
	if n.op == opNot {
		return ^hi, ^lo
	}
	lo2, hi2 := m.bounds(n.kids[1])
	switch n.op {
	case opAnd:
		return min(lo, lo2), min(hi, hi2)
	case opOr:
		return max(lo, lo2), max(hi, hi2)
	}
	return max(^hi, lo2), max(^lo, hi2)
}

// Verdict is what can be said so far.
func (m *Monitor) Verdict() Verdict {
	lo, hi := m.bounds(m.root)
	switch sideOf(lo, hi) {
	case 1:
		return Holds
	case -1:
		return Fails
	}
	return Inconclusive
}

// Bounds limit the scaled margin by what is known so far.
func (m *Monitor) Bounds() (low, high float64) {
	lo, hi := m.bounds(m.root)
	return valueOf(lo), valueOf(hi)
}

// momentAt reports whether a moment came at tick t.
func (m *Monitor) momentAt(moment, t int) bool {
	_, found := slices.BinarySearch(m.at[moment], t)
	return found
}
