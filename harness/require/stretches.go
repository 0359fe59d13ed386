package require

// Stretches judges what is asked of every tick, "always (...)", on each stretch of
// step ticks by itself; the last may be shorter. Results are in the order of Compile
// and of the stretches; nil stands for a requirement that asks something else. What a
// result has no word of: whether it is vacuous, and how far times could shift.
func (s *Set) Stretches(sig Signals, step int) ([][]Result, error) {
	ev := &s.ev
	if err := ev.open(s, sig); err != nil {
		return nil, err
	}
	defer ev.close()
	for m := range ev.bands { // places of the two nodes that are asked, and never kept
		ev.bands[m] = append(ev.bands[m], nil, nil)
	}
	step = max(step, 1)
	out := make([][]Result, len(s.reqs))
	for i, r := range s.reqs {
		if r.always == nil {
			continue
		}
		part := *r.always
		part.id, part.window.kind = len(s.nodes), boundTime
		r.root = &part
		if r.premise != nil {
			r.root = &node{id: len(s.nodes) + 1, op: opImplies, kids: []*node{r.premise, &part}}
		}
		for from := 0; from < ev.n; from += step {
			part.window.a, part.window.b = from, min(from+step, ev.n)-1
			out[i] = append(out[i], ev.verdict(r))
		}
		ev.release()
	}
	return out, nil
}
