package require

import (
	"math"
	"time"
)

func (ev *evaluator) judge(r judged) Result {
	if ev.n == 0 {
		return Result{ID: r.id, Tick: -1, Low: math.Inf(-1), High: math.Inf(1)}
	}
	res := ev.verdict(r)
	if r.root.implies {
		res.Vacuous = ev.vacuous(r.root, []span{{0, 0}}, nil)
	}
	if res.Verdict != Inconclusive {
		res.Earlier = ev.shifts(r.root, earlier, res.Verdict)
		res.Later = ev.shifts(r.root, later, res.Verdict)
	}
	return res
}

// verdict judges a requirement, with the place that decides.
func (ev *evaluator) verdict(r judged) Result {
	res := Result{ID: r.id, Tick: -1, Low: math.Inf(-1), High: math.Inf(1)}
	lo, hi := ev.point(r.root, 0, margins)
	res.Low, res.High = valueOf(lo), valueOf(hi)
	s := low
	switch sideOf(lo, hi) {
	case 1:
		res.Verdict = Holds
	case -1:
		res.Verdict, s = Fails, high
	}
	ev.locate(&res, r, s)
	return res
}

// locate fills in the moment, the condition and the margin in its own unit.
func (ev *evaluator) locate(res *Result, r judged, s side) {
	res.Margin.Scaled = res.Low
	if s == high {
		res.Margin.Scaled = res.High
	}
	res.Margin.Value = res.Margin.Scaled
	atom, t := ev.explain(r.root, 0, s)
	if atom == nil {
		res.Tick = t
		return
	}
	res.Atom, res.Channels = atom.text, ev.channels(atom)
	if res.Verdict != Holds || !math.IsInf(res.Margin.Scaled, 0) {
		res.Tick = t
	}
	if !atom.sized() || math.IsInf(res.Margin.Scaled, 0) {
		return
	}
	raw := ev.rawMargin(atom, t)
	if math.Signbit(raw) != math.Signbit(res.Margin.Scaled) {
		raw = -raw // seen through a not
	}
	u := atom.unit
	if r.unit != nil && r.unit.dim == u.dim {
		raw, u = convert(raw, u, *r.unit), *r.unit
	}
	res.Margin.Value, res.Margin.Unit, res.Margin.Sized = raw, u.name, true
}

func (ev *evaluator) shifts(root *node, m mode, v Verdict) Shift {
	lo, hi := ev.point(root, 0, m)
	ticks := lo
	if v == Fails {
		ticks = ^hi
	}
	if ticks >= top || ticks < 0 {
		return Shift{Known: true}
	}
	return Shift{
		Known: true, Limited: true, Ticks: int(ticks),
		Time: time.Duration(ticks) * ev.period,
	}
}

// channels names what a condition reads, each once, in the order of writing.
func (ev *evaluator) channels(n *node) []string {
	var out []string
	seen := map[string]bool{}
	add := func(col int) {
		if name := ev.names[col].name; !seen[name] {
			seen[name] = true
			out = append(out, name)
		}
	}
	readsNode(n, add)
	return out
}

func readsNode(n *node, add func(col int)) {
	if n.op == opChannel || n.op == opIs || n.op == opIsNot || n.op == opHas {
		add(n.col)
	}
	for _, k := range n.kids {
		readsNode(k, add)
	}
	if n.op.comparison() {
		readsArith(n.left, add)
		readsArith(n.right, add)
	}
}

func readsArith(a *arith, add func(col int)) {
	if a.op == opChannel {
		add(a.col)
	}
	for _, k := range a.kids {
		readsArith(k, add)
	}
	if a.cond != nil {
		readsNode(a.cond, add)
	}
}
