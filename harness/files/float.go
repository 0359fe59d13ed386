package files

import (
	"strconv"
	"strings"

	"github.com/holdline/holdline/harness"
)

// Float visits a number that the value keeps as a float64, in the unit of the
// text. Use it for the simulated car and its weather; whatever a controller
// decides on is an Int.
func Float(b *Block, p *float64, key, unit string, opts ...Option) {
	sp := newSpec(opts)
	def := floatOf(sp.def)
	b.visit(key, sp, field{
		kind: "number", unit: unit, allowed: allowedFloat(sp, unit), def: sp.def,
		decode: func(n *Node) {
			if v, ok := b.float(key, joinPath(b.path, key), n, sp, unit); ok {
				*p = v
			}
		},
		preset:  func() { *p = def },
		text:    func() string { return floatText(*p) },
		absent:  func() bool { return *p == 0 },
		invalid: func() string { return badFloat(*p, sp) },
	})
}

// Floats visits a list of such numbers. Range bounds each, Len their count,
// Rising their order.
func Floats(b *Block, seq Seq[float64], key, unit string, opts ...Option) {
	sp := newSpec(opts)
	var last *float64
	read := func(i int, path string, n *Node) (float64, bool) {
		if i == 0 {
			last = nil
		}
		v, ok := b.float(key, path, n, sp, unit)
		if ok && sp.rising && last != nil && v <= *last {
			b.error(key, n, harness.Finding{Field: path, Reason: "must be above the number before it", Allowed: "above " + floatText(*last)})
			return 0, false
		}
		if ok {
			last = &v
		}
		return v, ok
	}
	allowed := allowedFloat(sp, unit)
	if sp.rising {
		allowed = joinNonEmpty(", ", allowed, "rising")
	}
	listField(b, seq, key, sp, field{kind: "list of numbers", unit: unit, allowed: allowed, invalid: func() string {
		for _, v := range seq.get() {
			if why := badFloat(v, sp); why != "" {
				return why
			}
		}
		return ""
	}}, read, floatText)
}

// floatText is the shortest decimal that reads back to the same float64.
func floatText(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// floatOf reads a constant of the description; "" is 0.
func floatOf(s string) float64 {
	x, _ := strconv.ParseFloat(s, 64)
	return x
}

func allowedFloat(sp *spec, unit string) string {
	if !sp.ranged {
		return unit
	}
	return joinNonEmpty(" ", floatText(floatOf(sp.loText))+" to "+floatText(floatOf(sp.hiText)), unit)
}

func badFloat(x float64, sp *spec) string {
	switch {
	case x-x != 0:
		return "not a number"
	case sp.ranged && !(x >= floatOf(sp.loText) && x <= floatOf(sp.hiText)):
		return "out of range"
	}
	return ""
}

// float reads a number from a scalar node; path names it in findings.
func (b *Block) float(key, path string, n *Node, sp *spec, unit string) (float64, bool) {
	f := harness.Finding{Field: path, Allowed: allowedFloat(sp, unit)}
	if n.Kind != IntegerNode && n.Kind != FloatNode {
		b.wrongType(key, n, f, "a number")
		return 0, false
	}
	if _, err := parseDecimal(n.Raw); err != nil {
		f.Reason = err.Error()
		b.error(key, n, f)
		return 0, false
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(n.Raw, "_", ""), 64)
	if err != nil {
		f.Reason = "is not a number"
	} else {
		f.Reason = badFloat(x, sp)
	}
	if f.Reason != "" {
		b.error(key, n, f)
		return 0, false
	}
	return x, true
}
