package require

// span is a run of ticks, both ends in.
type span struct{ from, to int }

// vacuous lists the premises of n that were never true where they mattered:
// at the ticks of spans, and inside an outer implication only where its own
// premise could be true.
func (ev *evaluator) vacuous(n *node, spans []span, found []string) []string {
	if !n.implies || len(spans) == 0 {
		return found
	}
	if n.op.temporal() {
		spans = ev.widen(n, spans)
	}
	if n.op != opImplies {
		for _, k := range n.kids {
			found = ev.vacuous(k, spans, found)
		}
		return found
	}
	premise, conclusion := n.kids[0], n.kids[1]
	if !ev.everTrue(premise, spans) {
		found = append(found, premise.text)
	}
	found = ev.vacuous(premise, spans, found)
	if conclusion.implies {
		found = ev.vacuous(conclusion, ev.narrow(premise, spans), found)
	}
	return found
}

func (ev *evaluator) everTrue(n *node, spans []span) bool {
	b := ev.bands[margins][n.id]
	if b == nil { // at the root: one tick
		lo, _ := ev.point(n, spans[0].from, margins)
		return lo >= 0
	}
	for _, s := range spans {
		for _, lo := range b.lo[s.from : s.to+1] {
			if lo >= 0 {
				return true
			}
		}
	}
	return false
}

// narrow keeps the ticks at which n is not false.
func (ev *evaluator) narrow(n *node, spans []span) []span {
	var out []span
	for _, s := range spans {
		for t := s.from; t <= s.to; t++ {
			if _, hi := ev.point(n, t, margins); hi >= 0 {
				out = appendSpan(out, span{t, t})
			}
		}
	}
	return out
}

// widen gives the ticks that a temporal operator's operands are asked for.
// Until and since ask from the present on.
func (ev *evaluator) widen(n *node, spans []span) []span {
	if n.window.kind == boundTime && !n.op.binaryTemporal() {
		return ev.widenTimed(n, spans)
	}
	var out []span
	for _, s := range spans {
		for t := s.from; t <= s.to; t++ {
			from, to := ev.asked(n, t)
			if to > from {
				out = appendSpan(out, span{from, to - 1})
			}
		}
	}
	return out
}

// widenTimed does a whole span at once: its windows overlap.
func (ev *evaluator) widenTimed(n *node, spans []span) []span {
	var out []span
	for _, s := range spans {
		from, to, _ := ev.reach(n, s.from)
		_, last, _ := ev.reach(n, s.to)
		if n.op.past() {
			from, to = ev.reachBack(n, s.from)
			_, last = ev.reachBack(n, s.to)
		}
		if to = max(to, last); to > from {
			out = appendSpan(out, span{from, to - 1})
		}
	}
	return out
}

func (ev *evaluator) asked(n *node, t int) (from, to int) {
	if n.op.past() {
		from, to = ev.reachBack(n, t)
		if n.op == opSince && to > from {
			to = t + 1
		}
		return from, to
	}
	from, to, _ = ev.reach(n, t)
	if n.op == opUntil {
		from = t
	}
	return from, to
}

// appendSpan joins a span to the list, whose starts ascend or repeat.
func appendSpan(out []span, s span) []span {
	if last := len(out) - 1; last >= 0 && s.from <= out[last].to+1 && s.from >= out[last].from {
		out[last].to = max(out[last].to, s.to)
		return out
	}
	return append(out, s)
}
