package require

import (
	"fmt"
	"strings"

	"github.com/holdline/holdline/harness"
)

// maxDepth bounds nesting, so that no input can exhaust the stack.
const maxDepth = 200

// Formula is a parsed formula, not yet bound to channels.
type Formula struct {
	root *expr
	text string
}

// String gives the canonical text: Parse of it gives the same formula.
func (f *Formula) String() string { return f.root.String() }

// Text gives the formula as it was written.
func (f *Formula) Text() string { return f.text }

// Parse reads a formula. An error is a harness.Findings whose Column points
// at the byte, from 1, where reading stopped.
func Parse(text string) (*Formula, error) {
	toks, err := lex(text)
	if err != nil {
		return nil, err
	}
	p := &parser{toks: toks, src: text}
	root := p.implication()
	if p.err == nil && p.peek().kind != tokEnd {
		p.fail("an operator or the end of the formula")
	}
	if p.err != nil {
		return nil, p.err
	}
	return &Formula{root: root, text: text}, nil
}

// parser is a recursive descent over tokens. After the first error it only
// unwinds: every method then returns a harmless node.
type parser struct {
	toks  []token
	src   string
	next  int
	depth int
	err   error
}

var nothing = &expr{op: opTrue}

func (p *parser) peek() token { return p.toks[p.next] }

func (p *parser) take() token {
	t := p.toks[p.next]
	if t.kind != tokEnd {
		p.next++
	}
	return t
}

// accept takes the next token if it is the given keyword or sign.
func (p *parser) accept(text string) bool {
	t := p.peek()
	if (t.kind != tokWord && t.kind != tokSign) || t.text != text || p.err != nil {
		return false
	}
	p.next++
	return true
}

func (p *parser) expect(text, why string) {
	if !p.accept(text) {
		p.fail(fmt.Sprintf("%q%s", text, why))
	}
}

// fail records what was expected at the next token.
func (p *parser) fail(expected string) { p.failFix(expected, "") }

func (p *parser) failFix(expected, fix string) {
	t := p.peek()
	if p.err != nil {
		return
	}
	got := "the end"
	if t.kind != tokEnd {
		got = p.src[t.pos:t.end]
	}
	p.err = harness.Findings{{
		Severity: harness.Error, Column: t.pos + 1, Value: got,
		Reason: "expected " + expected, Fix: fix,
	}}
}

// enter guards the depth; the caller must leave.
func (p *parser) enter() bool {
	p.depth++
	if p.depth > maxDepth && p.err == nil {
		p.err = syntaxError(p.peek().pos, "formula is nested too deeply", "", fmt.Sprintf("at most %d levels", maxDepth), "")
	}
	return p.err == nil
}

func (p *parser) leave() { p.depth-- }

func (p *parser) implication() *expr {
	defer p.leave()
	if !p.enter() {
		return nothing
	}
	left := p.disjunction()
	pos := p.peek().pos
	if !p.accept("implies") {
		return left
	}
	return &expr{op: opImplies, pos: pos, kids: []*expr{left, p.implication()}}
}

func (p *parser) disjunction() *expr {
	return p.leftAssoc(p.conjunction, opOr)
}

func (p *parser) conjunction() *expr {
	return p.leftAssoc(p.untils, opAnd)
}

// leftAssoc reads a chain of operands joined by any of ops. The chain is a
// left-leaning tree, so its length counts as depth.
func (p *parser) leftAssoc(operand func() *expr, ops ...op) *expr {
	left := operand()
	links := 0
	defer func() { p.depth -= links }()
	for {
		pos := p.peek().pos
		o, ok := p.acceptAny(ops)
		if !ok {
			return left
		}
		links++
		if !p.enter() {
			return nothing
		}
		left = &expr{op: o, pos: pos, kids: []*expr{left, operand()}}
	}
}

func (p *parser) acceptAny(ops []op) (op, bool) {
	for _, o := range ops {
		if p.accept(opText[o]) {
			return o, true
		}
	}
	return 0, false
}

// untils reads one until or since; two in a row need parentheses, because
// readers disagree about which binds first.
func (p *parser) untils() *expr {
	left := p.unary()
	pos := p.peek().pos
	o, ok := p.acceptAny([]op{opUntil, opSince})
	if !ok {
		return left
	}
	e := &expr{op: o, pos: pos}
	e.bound = p.bound(o)
	e.kids = []*expr{left, p.unary()}
	if t := p.peek(); t.kind == tokWord && (t.text == "until" || t.text == "since") {
		p.failFix("an operator or the end of the formula", "group two until or since with parentheses")
	}
	return e
}

var prefixOps = []op{opNot, opAlways, opEventually, opHistorically, opOnce}

func (p *parser) unary() *expr {
	defer p.leave()
	if !p.enter() {
		return nothing
	}
	pos := p.peek().pos
	o, ok := p.acceptAny(prefixOps)
	if !ok {
		return p.compare()
	}
	e := &expr{op: o, pos: pos}
	if o.temporal() {
		e.bound = p.bound(o)
	}
	e.kids = []*expr{p.unary()}
	return e
}

var compareOps = []op{opLess, opLessEq, opMore, opMoreEq, opEqual, opUnequal}

func (p *parser) compare() *expr {
	left := p.sum()
	pos := p.peek().pos
	if o, ok := p.acceptAny(compareOps); ok {
		e := &expr{op: o, pos: pos, kids: []*expr{left, p.sum()}}
		if t := p.peek(); t.kind == tokSign && strings.ContainsAny(t.text, "<>=") {
			p.failFix("an operator or the end of the formula", "write a <= x and x <= b")
		}
		return e
	}
	word := p.peek()
	if word.kind != tokWord || word.text != "is" && word.text != "has" {
		return left
	}
	if left.op != opChannel {
		p.failFix("an operator", fmt.Sprintf("%q needs a channel name at its left", word.text))
		return left
	}
	p.take()
	e := &expr{op: opHas, pos: left.pos, name: left.name}
	if word.text == "is" {
		e.op = opIs
		if p.accept("not") {
			e.op = opIsNot
		}
	}
	e.label = p.name("a label of " + left.name)
	return e
}

func (p *parser) sum() *expr     { return p.leftAssoc(p.product, opAdd, opSub) }
func (p *parser) product() *expr { return p.leftAssoc(p.negation, opMul, opDiv) }

func (p *parser) negation() *expr {
	defer p.leave()
	if !p.enter() {
		return nothing
	}
	pos := p.peek().pos
	if p.accept("-") {
		return &expr{op: opNeg, pos: pos, kids: []*expr{p.negation()}}
	}
	return p.primary()
}

func (p *parser) primary() *expr {
	t := p.peek()
	switch {
	case t.kind == tokNumber:
		p.take()
		return &expr{op: opNumber, pos: t.pos, num: quantity{t.num, t.text}}
	case t.kind == tokQuoted:
		p.take()
		return &expr{op: opChannel, pos: t.pos, name: t.text}
	case t.kind == tokName:
		p.take()
		if p.accept("(") {
			return p.call(t)
		}
		return &expr{op: opChannel, pos: t.pos, name: t.text}
	case p.accept("("):
		e := p.implication()
		p.expect(")", " to close the bracket")
		return e
	case p.accept("at"):
		return &expr{op: opMoment, pos: t.pos, name: p.name("the name of a moment")}
	case p.accept("true"):
		return &expr{op: opTrue, pos: t.pos}
	case p.accept("false"):
		return &expr{op: opFalse, pos: t.pos}
	}
	p.fail("a channel, a number, a function, a condition or \"(\"")
	return nothing
}

// name reads a moment or label.
func (p *parser) name(what string) string {
	t := p.peek()
	if t.kind != tokName && t.kind != tokQuoted {
		fix := ""
		if t.kind == tokWord {
			fix = "put a name that is also a keyword in double quotes"
		}
		p.failFix(what, fix)
		return ""
	}
	p.take()
	return t.text
}
