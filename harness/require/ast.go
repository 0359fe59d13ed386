package require

import (
	"strconv"
	"strings"
)

// op is what an expression does. The order of the groups matters to nothing;
// binding strength is in precedence.
type op uint8

const (
	opNumber  op = iota // num, unit
	opChannel           // name
	opMoment            // at name
	opTrue
	opFalse
	opNeg // arithmetic
	opAdd
	opSub
	opMul
	opDiv
	opAbs
	opMin
	opMax
	opDelta     // kid, time
	opSlope     // kid, time
	opTimeSince // condition
	opValueAt   // kid, moment name
	opLess      // comparison
	opLessEq
	opMore
	opMoreEq
	opEqual
	opUnequal
	opIs    // name, label
	opIsNot // name, label
	opHas   // name, label
	opNot   // connectives
	opAnd
	opOr
	opImplies
	opRising
	opFalling
	opAlways // future
	opEventually
	opUntil
	opHistorically // past
	opOnce
	opSince
)

var opText = map[op]string{
	opTrue: "true", opFalse: "false", opNeg: "-", opAdd: "+", opSub: "-", opMul: "*",
	opDiv: "/", opAbs: "abs", opMin: "min", opMax: "max", opDelta: "delta",
	opSlope: "slope", opTimeSince: "time_since", opValueAt: "value_at", opLess: "<",
	opLessEq: "<=", opMore: ">", opMoreEq: ">=", opEqual: "==", opUnequal: "!=",
	opIs: "is", opIsNot: "is not", opHas: "has", opNot: "not", opAnd: "and", opOr: "or",
	opImplies: "implies", opRising: "rising", opFalling: "falling", opAlways: "always",
	opEventually: "eventually", opUntil: "until", opHistorically: "historically",
	opOnce: "once", opSince: "since", opMoment: "at",
}

func (o op) comparison() bool { return o >= opLess && o <= opUnequal }
func (o op) function() bool {
	return o >= opAbs && o <= opValueAt || o == opRising || o == opFalling
}
func (o op) temporal() bool { return o >= opAlways }
func (o op) past() bool     { return o >= opHistorically }
func (o op) binaryTemporal() bool {
	return o == opUntil || o == opSince
}

// boundKind says which window a temporal operator looks at.
type boundKind uint8

const (
	boundNone    boundKind = iota // to the end, or back to the start, of the run
	boundTime                     // within b; from a to b
	boundBefore                   // before moment
	boundAfter                    // after moment
	boundBetween                  // between moment and moment
	boundBack                     // back to moment
)

type quantity struct {
	num  float64
	unit string
}

type bound struct {
	kind     boundKind
	pos      int
	from, to quantity
	a, b     string // moments
}

// expr is one node of a parsed formula.
type expr struct {
	op    op
	pos   int // byte offset of the operator or name
	num   quantity
	name  string // channel, moment
	label string
	kids  []*expr
	bound bound
}

// Binding strength, loosest first.
const (
	precImplies = iota
	precOr
	precAnd
	precUntil
	precUnary
	precCompare
	precSum
	precProduct
	precNeg
	precAtom
)

func (e *expr) precedence() int {
	switch {
	case e.op == opImplies:
		return precImplies
	case e.op == opOr:
		return precOr
	case e.op == opAnd:
		return precAnd
	case e.op.binaryTemporal():
		return precUntil
	case e.op == opNot || e.op.temporal():
		return precUnary
	case e.op.comparison() || e.op == opIs || e.op == opIsNot || e.op == opHas:
		return precCompare
	case e.op == opAdd || e.op == opSub:
		return precSum
	case e.op == opMul || e.op == opDiv:
		return precProduct
	case e.op == opNeg:
		return precNeg
	}
	return precAtom
}

// String writes the formula in its canonical form: parsing that gives the
// same formula again.
func (e *expr) String() string {
	var b strings.Builder
	e.print(&b)
	return b.String()
}

func (e *expr) print(b *strings.Builder) {
	prec := e.precedence()
	switch {
	case e.op == opNumber:
		b.WriteString(e.num.String())
	case e.op == opChannel:
		b.WriteString(quoteName(e.name))
	case e.op == opMoment:
		b.WriteString("at " + quoteName(e.name))
	case e.op == opTrue || e.op == opFalse:
		b.WriteString(opText[e.op])
	case e.op == opIs || e.op == opIsNot || e.op == opHas:
		b.WriteString(quoteName(e.name) + " " + opText[e.op] + " " + quoteName(e.label))
	case e.op.function():
		e.printCall(b)
	case e.op == opNeg:
		b.WriteString("-")
		e.kids[0].printAt(b, precNeg)
	case len(e.kids) == 1:
		b.WriteString(opText[e.op] + e.bound.String() + " ")
		e.kids[0].printAt(b, prec)
	default:
		left, right := prec, prec+1
		if e.op == opImplies {
			left, right = prec+1, prec
		} else if e.op.binaryTemporal() || e.op.comparison() {
			left = prec + 1
		}
		e.kids[0].printAt(b, left)
		b.WriteString(" " + opText[e.op] + e.bound.String() + " ")
		e.kids[1].printAt(b, right)
	}
}

func (e *expr) printAt(b *strings.Builder, least int) {
	if e.precedence() >= least {
		e.print(b)
		return
	}
	b.WriteString("(")
	e.print(b)
	b.WriteString(")")
}

func (e *expr) printCall(b *strings.Builder) {
	b.WriteString(opText[e.op] + "(")
	for i, k := range e.kids {
		if i > 0 {
			b.WriteString(", ")
		}
		k.print(b)
	}
	switch e.op {
	case opDelta, opSlope:
		b.WriteString(", " + e.num.String())
	case opValueAt:
		b.WriteString(", " + quoteName(e.name))
	}
	b.WriteString(")")
}

func (q quantity) String() string {
	s := strconv.FormatFloat(q.num, 'g', -1, 64)
	if q.unit != "" {
		s += " " + q.unit
	}
	return s
}

func (b bound) String() string {
	switch b.kind {
	case boundTime:
		if b.from.num == 0 {
			return " within " + b.to.String()
		}
		return " from " + b.from.String() + " to " + b.to.String()
	case boundBefore:
		return " before " + quoteName(b.a)
	case boundAfter:
		return " after " + quoteName(b.a)
	case boundBetween:
		return " between " + quoteName(b.a) + " and " + quoteName(b.b)
	case boundBack:
		return " back to " + quoteName(b.a)
	}
	return ""
}

// quoteName writes a name bare where it can be read back so.
func quoteName(s string) string {
	if s != "" && isNameStart(s[0]) && nameEnd(s, 0) == len(s) && !keywords[s] {
		return s
	}
	return `"` + s + `"`
}
