package require

import "math"

// atom gives a comparison, switch, state, flag, moment or constant.
func (ev *evaluator) atom(n *node) *band {
	b := &band{lo: ev.newKeys(), exact: ev.n}
	switch {
	case n.op == opEqual || n.op == opUnequal:
		ev.exactMatch(b, n)
	case n.op.comparison():
		ev.compare(b, n)
	case n.op == opMoment:
		fillKeys(b.lo, bottom)
		for _, t := range ev.moments[n.moment] {
			if t >= 0 && t < ev.n {
				b.lo[t] = top
			}
		}
	case n.op == opTrue || n.op == opFalse:
		fillKeys(b.lo, keyOfBool(n.op == opTrue))
	default:
		ev.discrete(b, n)
	}
	return b
}

func fillKeys(dst []int64, k int64) {
	for i := range dst {
		dst[i] = k
	}
}

// set stores a margin, or the widest bounds if it is unknown.
func (b *band) set(t int, key int64, unknown bool) {
	if !unknown {
		b.lo[t] = key
		if t >= b.exact {
			b.hi[t-b.exact] = key
		}
		return
	}
	if b.known() {
		b.exact, b.hi = t, make([]int64, len(b.lo)-t)
	}
	b.lo[t], b.hi[t-b.exact] = bottom, top
}

// compare stores the scaled margin of l <= r and the like.
func (ev *evaluator) compare(b *band, n *node) {
	l, r := n.left, n.right
	if n.op == opMore || n.op == opMoreEq {
		l, r = r, l
	}
	zero := keyOf(0)
	if n.op == opLess || n.op == opMore {
		zero = keyOf(math.Copysign(0, -1))
	}
	low, high, scale := ev.floats(l)[:len(b.lo)], ev.floats(r)[:len(b.lo)], n.scale
	last, lastKey := 0.0, zero // most signals stand still most of the time
	for t := range b.lo {
		d := high[t] - low[t]
		switch {
		case d == last:
		case d == 0:
			last, lastKey = 0, zero
		case math.IsNaN(d):
			b.set(t, 0, true)
			continue
		default:
			last, lastKey = d, keyOf(d/scale)
		}
		if b.known() {
			b.lo[t] = lastKey
		} else {
			b.set(t, lastKey, false)
		}
	}
}

// exactMatch stores == and !=, whose margins have a side but no size.
func (ev *evaluator) exactMatch(b *band, n *node) {
	r := ev.floats(n.right)
	for t, v := range ev.floats(n.left) {
		d := v - r[t]
		b.set(t, keyOfBool((d == 0) == (n.op == opEqual)), math.IsNaN(d))
	}
}

// discrete stores a switch, a state or a flag.
func (ev *evaluator) discrete(b *band, n *node) {
	c := &ev.columns[n.col]
	every := c.every()
	if every == 1 && len(c.Ints) >= ev.n && (c.PerUnit == 0 || c.PerUnit == 1) {
		n.discreteInts(b.lo, c.Ints)
		return
	}
	for t := range b.lo {
		v := c.sample(t / every)
		b.set(t, keyOfBool(n.holds(v)), math.IsNaN(v))
	}
}

func (n *node) discreteInts(dst []int64, src []int32) {
	for t := range dst {
		on := src[t] != 0
		switch n.op {
		case opIs:
			on = src[t] == n.label
		case opIsNot:
			on = src[t] != n.label
		case opHas:
			on = src[t]&n.label != 0
		}
		dst[t] = keyOfBool(on)
	}
}

func (n *node) holds(v float64) bool {
	switch n.op {
	case opIs:
		return v == float64(n.label)
	case opIsNot:
		return v != float64(n.label)
	case opHas:
		return uint32(int64(v))&uint32(n.label) != 0
	}
	return v != 0
}

// shift turns an atom into its time margin: for how many ticks ahead
// (earlier) or back (later) its truth stays what it is now, as in Donze &
// Maler 2010. Beyond the ends it is taken to stay so for good; an unknown tick
// ends a run.
func (ev *evaluator) shift(n *node, m mode) *band {
	src := ev.band(n, margins)
	b := &band{lo: ev.newKeys(), exact: src.exact}
	if !src.known() {
		b.hi = make([]int64, len(src.hi))
		ev.shiftUnknown(b, src, m)
		return b
	}
	if m == later {
		runsBack(b.lo, src.lo)
	} else {
		runsAhead(b.lo, src.lo)
	}
	return b
}

// runsBack writes, for each tick, how long the sign of src has been what it
// is; as a key, so that false is the complement.
func runsBack(dst, src []int64) {
	t, first := 0, src[0]>>63
	for t < len(src) && src[t]>>63 == first {
		dst[t] = top ^ first
		t++
	}
	run, was := int64(0), first
	for ; t < len(src); t++ {
		now := src[t] >> 63
		if now != was {
			run, was = 0, now
		}
		dst[t] = run ^ now
		run++
	}
}

// runsAhead is runsBack looking the other way.
func runsAhead(dst, src []int64) {
	t := len(src) - 1
	first := src[t] >> 63
	for t >= 0 && src[t]>>63 == first {
		dst[t] = top ^ first
		t--
	}
	run, was := int64(0), first
	for ; t >= 0; t-- {
		now := src[t] >> 63
		if now != was {
			run, was = 0, now
		}
		dst[t] = run ^ now
		run++
	}
}

// shiftUnknown is the general case of shift.
func (ev *evaluator) shiftUnknown(b, src *band, m mode) {
	step, t := 1, 0
	if m == earlier {
		step, t = -1, ev.n-1
	}
	run, was := top, 2
	for range ev.n {
		lo, hi := src.at(t)
		side := sideOf(lo, hi)
		switch {
		case side == 0:
			run = -1
		case was == 2:
		case side != was:
			run = 0
		case run != top:
			run++
		}
		was = side
		b.put(t, lo, hi, side, run)
		t += step
	}
}

// sideOf is 1 for true, -1 for false, 0 for unknown.
func sideOf(lo, hi int64) int {
	switch {
	case lo >= 0:
		return 1
	case hi < 0:
		return -1
	}
	return 0
}

func (b *band) put(t int, lo, hi int64, side int, run int64) {
	switch side {
	case 1:
		lo, hi = run, run
	case -1:
		lo, hi = ^run, ^run
	}
	b.lo[t] = lo
	if t >= b.exact {
		b.hi[t-b.exact] = hi
	}
}
