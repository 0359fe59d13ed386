package require

// node is a condition bound to channels, units and ticks. Equal conditions of
// a Set are one node, so that each is computed once.
type node struct {
	id      int
	op      op
	kids    []*node
	left    *arith // comparison: margin is left - right, in unit
	right   *arith
	col     int   // switch, is, is not, has
	label   int32 // value of a state, mask of flags
	moment  int   // at, before, back to
	window  window
	unit    unit    // of a comparison's margin
	scale   float64 // margin, in unit, that ranks as 1
	text    string  // as a person would write it
	users   int     // requirements that contain it
	implies bool    // an implication is here or below
}

// window is a temporal operator's reach: ticks a to b from the present, or
// without limit up to a moment or the end of the run.
type window struct {
	a, b int
	kind boundKind // boundNone, boundTime, boundBefore or boundBack
}

// arith is a numeric expression; op opChannel, opNumber or a function.
type arith struct {
	id     int
	op     op
	kids   []*arith
	num    float64
	col    int
	ticks  int // delta, slope
	cond   *node
	moment int
	unit   unit
	bare   bool // made of numbers written without a unit
	text   string
}

func (a *arith) constant() bool { return a.op == opNumber }

func (n *node) isAtom() bool {
	return n.op.comparison() || n.op == opChannel || n.op == opMoment ||
		n.op == opTrue || n.op == opFalse || n.op == opIs || n.op == opIsNot || n.op == opHas
}

// sized reports whether the margin has a size, or only a side.
func (n *node) sized() bool {
	return n.op.comparison() && n.op != opEqual && n.op != opUnequal
}
