package require

import (
	"fmt"
	"strings"
)

// functions are what a name before a bracket can mean.
var functions = map[string]op{
	"abs": opAbs, "min": opMin, "max": opMax, "delta": opDelta, "slope": opSlope,
	"time_since": opTimeSince, "value_at": opValueAt, "rising": opRising, "falling": opFalling,
}

var functionNames = []string{
	"abs", "delta", "falling", "max", "min", "rising", "slope", "time_since", "value_at",
}

// call reads the arguments of a function whose bracket is open.
func (p *parser) call(name token) *expr {
	o, ok := functions[name.text]
	if !ok {
		if p.err == nil {
			fix := "functions are " + strings.Join(functionNames, ", ")
			if near := nearest(name.text, functionNames); near != "" {
				fix = fmt.Sprintf("did you mean %s?", near)
			}
			p.err = syntaxError(name.pos, "no such function", name.text, "", fix)
		}
		return nothing
	}
	e := &expr{op: o, pos: name.pos, kids: []*expr{p.implication()}}
	switch o {
	case opMin, opMax:
		p.expect(",", " and a second argument")
		e.kids = append(e.kids, p.implication())
		for p.accept(",") {
			e.kids = append(e.kids, p.implication())
		}
	case opDelta, opSlope:
		p.expect(",", " and a time, such as 10 ms")
		e.num = p.duration()
	case opValueAt:
		p.expect(",", " and the name of a moment")
		e.name = p.name("the name of a moment")
	}
	p.expect(")", fmt.Sprintf(" to close %s(", name.text))
	return e
}

// bound reads the window of a temporal operator, if one is written.
func (p *parser) bound(o op) bound {
	b := bound{pos: p.peek().pos}
	switch {
	case p.accept("within"):
		b.kind, b.to = boundTime, p.duration()
	case p.accept("from"):
		b.kind, b.from = boundTime, p.duration()
		p.expect("to", " and a time")
		b.to = p.duration()
		if b.from.num == 0 {
			b.from = quantity{} // the same as within
		}
	case p.acceptBound(o, "before", !o.past()):
		b.kind, b.a = boundBefore, p.name("the name of a moment")
	case p.acceptBound(o, "after", o == opAlways || o == opEventually):
		b.kind, b.a = boundAfter, p.name("the name of a moment")
	case p.acceptBound(o, "between", o == opAlways || o == opEventually):
		b.kind, b.a = boundBetween, p.name("the name of a moment")
		p.expect("and", " and a second moment")
		b.b = p.name("the name of a moment")
	case p.acceptBound(o, "back", o.past()):
		p.expect("to", " and a moment")
		b.kind, b.a = boundBack, p.name("the name of a moment")
	}
	return b
}

// acceptBound takes a bound word if the operator knows it, and explains which
// it does know if not.
func (p *parser) acceptBound(o op, word string, fits bool) bool {
	t := p.peek()
	if t.kind != tokWord || t.text != word || p.err != nil {
		return false
	}
	if !fits {
		known := `"within" or "from"`
		switch {
		case o.past():
			known += ` or "back to"`
		case o == opUntil:
			known += ` or "before"`
		}
		p.fail(fmt.Sprintf("%s after %q", known, opText[o]))
		return false
	}
	p.next++
	return true
}

// duration reads a time of 0 or more.
func (p *parser) duration() quantity {
	t := p.peek()
	u, _ := lookupUnit(t.text)
	bare := t.text == "" && t.num == 0
	if t.kind != tokNumber || u.dim != dimTime && !bare {
		p.fail("a time, such as 200 ms")
		return quantity{}
	}
	p.take()
	if bare {
		return quantity{0, "ms"}
	}
	return quantity{t.num, t.text}
}
