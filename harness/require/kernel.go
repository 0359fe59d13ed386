package require

// The window kernels below are linear in the trace and independent of the
// window: each block of one window's width is folded from its end backward
// and the next block from its start forward, and any window is one backward
// fold joined with one forward fold (van Herk 1992; Gil & Werman 1993). Unlike
// the monotone queue of Lemire 2006, which Monitor's streaming uses, this has
// no branch that depends on the data. Since joining is all it asks, it serves
// until as well, whose windows join as
//
//	(P, Q) + (P', Q') = (min(P, P'), max(Q, min(P, Q')))
//
// with P the minimum of the left side and Q the value of until so far.
//
// mask is 0 for minima and -1 for maxima: max(a, b) = ^min(^a, ^b).

// slide writes dst[t] = min or max of src[t+a..t+b]. Beyond the end src is
// taken to be pad.
func slide(dst, src []int64, a, b int, pad, mask int64) {
	n := len(src)
	slideTail(dst, src, a, b, pad^mask, mask)
	inside := n - b
	if inside <= 0 {
		return
	}
	s, w := src[a:], b-a+1
	for start := 0; start < inside; start += w {
		slideBlock(dst[:inside], s, start, w, mask)
	}
}

// slideTail serves the ticks whose windows reach beyond the end.
func slideTail(dst, src []int64, a, b int, acc, mask int64) {
	n := len(src)
	for t := n - 1; t >= max(0, n-b); t-- {
		if t+a < n {
			acc = min(acc, src[t+a]^mask)
		}
		dst[t] = acc ^ mask
	}
}

// slidePast writes dst[t] = min or max of src[t-b..t-a]; before the first tick there
// was nothing. The window of tick t is the one that begins at t-b.
func slidePast(dst, src []int64, a, b int, mask int64) {
	acc := top
	for t := range dst[:min(b, len(dst))] {
		if t >= a {
			acc = min(acc, src[t-a]^mask)
		}
		dst[t] = acc ^ mask
	}
	if b >= len(dst) {
		return
	}
	whole, w := dst[b:], b-a+1
	for start := 0; start < len(whole); start += w {
		slideBlock(whole, src, start, w, mask)
	}
}

func slideBlock(dst, s []int64, start, w int, mask int64) {
	end := start + w
	acc := s[end-1] ^ mask
	for i := end - 1; i >= len(dst); i-- {
		acc = min(acc, s[i]^mask)
	}
	stop := min(end, len(dst))
	for i := stop - 1; i >= start; i-- {
		acc = min(acc, s[i]^mask)
		dst[i] = acc
	}
	acc = top
	head := dst[start+1 : stop]
	ahead := s[end : end+len(head)]
	for i, v := range ahead {
		acc = min(acc, v^mask)
		head[i] = min(head[i], acc) ^ mask
	}
	dst[start] ^= mask
}

// fold writes dst[t] = min or max of src[t..], which begins anew at every
// tick in stops (ascending): the window ends before the next stop.
func fold(dst, src []int64, stops []int, pad, mask int64) {
	acc, k := pad^mask, len(stops)
	for t := len(src) - 1; t >= 0; t-- {
		for k > 0 && stops[k-1] > t+1 {
			k--
		}
		if k > 0 && stops[k-1] == t+1 {
			acc = top
		}
		acc = min(acc, src[t]^mask)
		dst[t] = acc ^ mask
	}
}

// foldBack is fold into the past: dst[t] covers the latest start up to t. With
// needStart a tick before the first start covers nothing.
func foldBack(dst, src []int64, starts []int, needStart bool, mask int64) {
	acc, k, open := top, 0, !needStart
	for t := range src {
		for k < len(starts) && starts[k] <= t {
			k, acc, open = k+1, top, true
		}
		if open {
			acc = min(acc, src[t]^mask)
		}
		dst[t] = acc ^ mask
	}
}

// until writes dst[t] = max over u in [t+a, t+b] of min(q[u], min of p[t..u-1]).
// Beyond the end p and q are padP and padQ. tmp is scratch of the same length.
func until(dst, p, q []int64, a, b int, padP, padQ int64, tmp []int64) {
	if a == 0 {
		untilNow(dst, p, q, b, padQ, tmp)
		return
	}
	shifted := tmp
	untilNow(shifted, p, q, b-a, padQ, dst)
	slide(dst, p, 0, a-1, padP, 0)
	for t := range dst {
		v := padQ
		if t+a < len(p) {
			v = shifted[t+a]
		}
		dst[t] = min(dst[t], v)
	}
}

// untilNow is until with a = 0.
func untilNow(dst, p, q []int64, b int, pad int64, tmp []int64) {
	n := len(p)
	acc := pad
	for t := n - 1; t >= max(0, n-b); t-- {
		acc = max(q[t], min(p[t], acc))
		dst[t] = acc
	}
	inside := n - b
	for start := 0; start < inside; start += b + 1 {
		untilBlock(dst[:inside], p, q, start, b+1, tmp)
	}
}

func untilBlock(dst, p, q []int64, start, w int, tmp []int64) {
	accP, accQ := top, bottom
	for i := start + w - 1; i >= start; i-- {
		accP, accQ = min(p[i], accP), max(q[i], min(p[i], accQ))
		if i < len(dst) {
			dst[i], tmp[i] = accQ, accP
		}
	}
	accP, accQ = top, bottom
	for i := start + 1; i < min(start+w, len(dst)); i++ {
		j := i + w - 1
		accP, accQ = min(accP, p[j]), max(accQ, min(accP, q[j]))
		dst[i] = max(dst[i], min(tmp[i], accQ))
	}
}

// untilStop is until without a time limit; the window ends before the next
// stop, where nothing is left to wait for.
func untilStop(dst, p, q []int64, stops []int, pad int64) {
	acc, k := pad, len(stops)
	for t := len(p) - 1; t >= 0; t-- {
		for k > 0 && stops[k-1] > t+1 {
			k--
		}
		if k > 0 && stops[k-1] == t+1 {
			acc = bottom
		}
		acc = max(q[t], min(p[t], acc))
		dst[t] = acc
	}
}

// sinceStart is until into the past, back to the latest start.
func sinceStart(dst, p, q []int64, starts []int, needStart bool) {
	acc, k, open := bottom, 0, !needStart
	for t := range p {
		for k < len(starts) && starts[k] <= t {
			k, acc, open = k+1, bottom, true
		}
		if open {
			acc = max(q[t], min(p[t], acc))
		}
		dst[t] = acc
	}
}

// shiftBack writes dst[t] = src[t-a]: the window of a single tick.
func shiftBack(dst, src []int64, a int, pad int64) {
	a = min(a, len(dst))
	for t := range dst[:a] {
		dst[t] = pad
	}
	copy(dst[a:], src)
}

func reverse(dst, src []int64) {
	n := len(src)
	for i, v := range src {
		dst[n-1-i] = v
	}
}
