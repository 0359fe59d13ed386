package require

import (
	"fmt"
	"time"

	"github.com/holdline/holdline/harness"
)

// Requirement is a statement about a run that can be judged.
type Requirement struct {
	ID      string  // short and unique, e.g. "launch.overshoot"
	Text    string  // the requirement in words
	Formula string  // see the package doc
	Premise string  // a formula; where it does not hold at tick 0 the requirement is vacuous. "" for none
	Unit    string  // unit in which the margin is given; "" takes the comparison's own
	Scale   float64 // margin, in Unit, that ranks as 1; 0 takes the channel's or the unit's
	Reason  string  // why it is asked
	Source  string  // where the number comes from

	// OfCommits says that a unit which answers commits only can be judged by it:
	// it reads inputs, decisions, and of outputs only what says in which
	// situation the unit was, for which those of a correct controller can stand.
	OfCommits bool
}

// Set is a list of requirements bound to the channels of one kind of trace.
// It reuses its buffers, so it serves one goroutine at a time.
type Set struct {
	reqs    []judged
	columns []boundColumn
	moments []string
	nodes   []*node
	ariths  []*arith
	period  time.Duration
	ev      evaluator
}

type judged struct {
	id      string
	root    *node
	unit    *unit
	premise *node
	always  *node // the formula, if it asks the same of every tick: "always (...)"
}

// Compile binds requirements to the channels, units and tick of sig, whose
// samples are not read. An error is a harness.Findings with all that is wrong:
// Field is the id and "formula", "premise", "unit" or "scale"; Column counts
// bytes from 1 in that text.
func Compile(reqs []Requirement, sig Signals) (*Set, error) {
	if sig.Period() <= 0 {
		return nil, fmt.Errorf("require: the tick is %v; it must be above 0", sig.Period())
	}
	b := newBinder(sig)
	s := &Set{period: sig.Period()}
	var all harness.Findings
	seen := map[string]bool{}
	for _, r := range reqs {
		b.findings = nil
		compiled := b.requirement(r)
		if seen[r.ID] {
			b.field("id", "id is used twice", r.ID)
		}
		seen[r.ID] = true
		for _, f := range b.findings {
			f.Field = r.ID + "." + f.Field
			all = append(all, f)
		}
		s.reqs = append(s.reqs, compiled)
	}
	if len(all) > 0 {
		return nil, all
	}
	s.columns, s.moments, s.nodes, s.ariths = b.cols, b.moments, b.nodes, b.ariths
	for _, r := range s.reqs {
		countUsers(r.root, map[*node]bool{}, map[*arith]bool{})
	}
	return s, nil
}

func (b *binder) field(field, reason, value string) {
	b.findings = append(b.findings, harness.Finding{
		Severity: harness.Error, Field: field, Reason: reason, Value: value,
	})
}

func (b *binder) requirement(r Requirement) judged {
	out := judged{id: r.ID}
	b.wanted, b.met, b.scale = nil, false, r.Scale
	if r.Unit != "" || r.Scale != 0 {
		u, ok := lookupUnit(r.Unit)
		if !ok {
			b.field("unit", "not a unit", r.Unit)
		}
		b.wanted = &u
	}
	if r.Scale != 0 && !validScale(r.Scale) {
		b.field("scale", "scale must be above 0", fmt.Sprint(r.Scale))
		b.scale = 0
	}
	if r.Unit != "" {
		out.unit = b.wanted
	}
	out.root, out.always = b.formula("formula", r.Formula)
	if len(b.findings) == 0 && b.wanted != nil && !b.met {
		b.field("unit", "no comparison in the formula is in this unit, so unit and scale would do nothing", r.Unit)
	}
	if r.Premise != "" {
		out.premise, _ = b.formula("premise", r.Premise)
		if out.premise != nil && out.root != nil {
			text := out.premise.text + " implies " + out.root.text
			out.root = b.node(node{op: opImplies, kids: []*node{out.premise, out.root}, text: text})
		}
	}
	return out
}

// formula binds a formula. always is it again, if it is written as an "always" over
// the whole run.
func (b *binder) formula(field, text string) (root, always *node) {
	before := len(b.findings)
	f, err := Parse(text)
	if err != nil {
		b.findings = append(b.findings, err.(harness.Findings)...)
	} else {
		root = b.cond(f.root)
		if f.root.op == opAlways && f.root.bound.kind == boundNone {
			always = root
		}
	}
	for i := before; i < len(b.findings); i++ {
		b.findings[i].Field = field
	}
	return root, always
}

// countUsers notes on every node below root that one more requirement uses it.
func countUsers(n *node, seen map[*node]bool, seenA map[*arith]bool) {
	if n == nil || seen[n] {
		return
	}
	seen[n] = true
	n.users++
	for _, k := range n.kids {
		countUsers(k, seen, seenA)
	}
	countArith(n.left, seen, seenA)
	countArith(n.right, seen, seenA)
}

func countArith(a *arith, seen map[*node]bool, seenA map[*arith]bool) {
	if a == nil || seenA[a] {
		return
	}
	seenA[a] = true
	countUsers(a.cond, seen, seenA)
	for _, k := range a.kids {
		countArith(k, seen, seenA)
	}
}

// Channels names the channels that the set reads.
func (s *Set) Channels() []string {
	names := make([]string, len(s.columns))
	for i, c := range s.columns {
		names[i] = c.name
	}
	return names
}

// Evaluate judges every requirement on a trace that has the channels, units
// and tick that the set was compiled for, in the order of Compile.
func (s *Set) Evaluate(sig Signals) ([]Result, error) {
	if err := s.ev.open(s, sig); err != nil {
		return nil, err
	}
	defer s.ev.close()
	out := make([]Result, len(s.reqs))
	for i, r := range s.reqs {
		out[i] = s.ev.judge(r)
		s.ev.release()
	}
	return out, nil
}

// Evaluate judges a single formula: Compile and Set.Evaluate in one.
func Evaluate(formula string, sig Signals) (Result, error) {
	s, err := Compile([]Requirement{{ID: "formula", Formula: formula}}, sig)
	if err != nil {
		return Result{}, err
	}
	out, err := s.Evaluate(sig)
	if err != nil {
		return Result{}, err
	}
	return out[0], nil
}
