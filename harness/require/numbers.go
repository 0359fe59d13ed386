package require

import "math"

// numbers is an arithmetic expression in a Monitor; see flow.
type numbers struct {
	a     *arith
	kids  []*numbers
	cond  *flow
	delay int
	keep  int
	out   []float64
	held  float64 // value_at
	last  int     // time_since: the last true tick, or -1
	lost  bool    // time_since: unknown since then
}

func (f *numbers) get(t int) float64 {
	if f.a.constant() {
		return f.a.num
	}
	return f.out[t%len(f.out)]
}

func (f *numbers) reserve() {
	for _, k := range f.kids {
		k.keep = max(k.keep, f.delay-k.delay+f.a.ticks)
	}
	if f.cond != nil {
		f.cond.keep = max(f.cond.keep, 0)
	}
}

func (f *numbers) tick(m *Monitor, t int) {
	u := t - f.delay
	if u < 0 {
		return
	}
	v := math.NaN()
	if u < m.end {
		v = f.work(m, u)
	}
	f.out[u%len(f.out)] = v
}

func (f *numbers) work(m *Monitor, t int) float64 {
	switch f.a.op {
	case opNumber:
		return f.a.num
	case opChannel:
		return m.cols[f.a.col].held(t)
	case opNeg, opAbs:
		return apply1(f.a.op, f.kids[0].get(t))
	case opDelta, opSlope:
		return f.change(m, t)
	case opTimeSince:
		return f.since(m, t)
	case opValueAt:
		if m.momentAt(f.a.moment, t) {
			f.held = f.kids[0].get(t)
		}
		return f.held
	}
	return apply2(f.a.op, f.kids[0].get(t), f.kids[1].get(t))
}

func (f *numbers) change(m *Monitor, t int) float64 {
	old := max(0, t-f.a.ticks)
	d := f.kids[0].get(t) - f.kids[0].get(old)
	if f.a.op == opSlope && t > 0 {
		d /= m.bound.millis(t-old) / 1000
	}
	return d
}

func (f *numbers) since(m *Monitor, t int) float64 {
	switch v := f.cond.get(t); {
	case v.lo >= 0:
		f.last, f.lost = t, false
	case v.hi >= 0:
		f.lost = true
	}
	switch {
	case f.lost:
		return math.NaN()
	case f.last < 0:
		return math.Inf(1)
	}
	return m.bound.millis(t - f.last)
}

func (s *Set) millis(ticks int) float64 { return millis(ticks, s.period) }
