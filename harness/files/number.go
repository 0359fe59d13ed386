package files

import (
	"fmt"
	"math"

	"github.com/holdline/holdline/harness"
)

// Int visits a number: a decimal in the text, an integer of the given scale
// in the value.
func Int[T Integer](b *Block, p *T, key string, s Scale, opts ...Option) {
	sp := newSpec(opts)
	lo, hi := limits[T](b, key, s, sp)
	def := b.defaultNumber(key, s, sp, lo, hi)
	b.visit(key, sp, field{
		kind: "number", unit: s.Unit, allowed: allowedNumber(s, sp, lo, hi), def: s.Format(def),
		decode: func(n *Node) {
			if v, ok := b.number(key, joinPath(b.path, key), n, s, sp, lo, hi); ok {
				*p = T(v)
			}
		},
		preset:  func() { *p = T(def) }, // the absent value if there is no default
		text:    func() string { return s.Format(int64(*p)) },
		absent:  func() bool { return int64(*p) == sp.absent },
		invalid: func() string { return outside(int64(*p), lo, hi) },
	})
}

func outside(v, lo, hi int64) string {
	if v < lo || v > hi {
		return "out of range"
	}
	return ""
}

// limits gives the range of a number: the declared one within what T holds.
func limits[T Integer](b *Block, key string, s Scale, sp *spec) (lo, hi int64) {
	lo, hi = typeLimits[T]()
	if b.s.mode == describing && !s.reversible() {
		b.fault(key, "its scale cannot write every value; set Rounded")
	}
	if !sp.ranged {
		return lo, hi
	}
	if !sp.raw {
		sp.lo, sp.hi = b.constant(key, s, sp.loText), b.constant(key, s, sp.hiText)
	}
	if sp.lo < lo || sp.hi > hi || sp.lo > sp.hi {
		b.fault(key, "the range %d to %d does not fit the type or is empty", sp.lo, sp.hi)
	}
	return max(lo, sp.lo), min(hi, sp.hi)
}

func typeLimits[T Integer]() (lo, hi int64) {
	var zero T
	if zero-1 > 0 { // unsigned
		if m := uint64(zero - 1); m <= math.MaxInt64 {
			return 0, int64(m)
		}
		return 0, math.MaxInt64
	}
	hi = 1<<7 - 1
	for T(hi<<8|0xFF) > 0 && int64(T(hi<<8|0xFF)) == hi<<8|0xFF && hi < math.MaxInt64 {
		hi = hi<<8 | 0xFF
	}
	return -hi - 1, hi
}

// constant parses a number of the description.
func (b *Block) constant(key string, s Scale, text string) int64 {
	v, err := s.Parse(text)
	if err != nil {
		b.fault(key, "constant %s %v", text, err)
	}
	return v
}

func (b *Block) defaultNumber(key string, s Scale, sp *spec, lo, hi int64) int64 {
	if !sp.hasDef {
		return sp.absent
	}
	v := sp.defRaw
	if !sp.rawDef {
		v = b.constant(key, s, sp.def)
	}
	if v < lo || v > hi {
		b.fault(key, "the default %s is out of range", s.Format(v))
	}
	return v
}

func allowedNumber(s Scale, sp *spec, lo, hi int64) string {
	if sp.ranged {
		return s.between(lo, hi)
	}
	return s.Unit
}

// number reads a scaled integer from a scalar node; path names it in findings.
func (b *Block) number(key, path string, n *Node, s Scale, sp *spec, lo, hi int64) (int64, bool) {
	f := harness.Finding{Field: path, Allowed: allowedNumber(s, sp, lo, hi)}
	if n.Kind != IntegerNode && n.Kind != FloatNode {
		b.wrongType(key, n, f, "a number")
		return 0, false
	}
	v, err := s.Parse(n.Raw)
	switch e := err.(type) {
	case nil:
		if v >= lo && v <= hi {
			return v, true
		}
		f.Reason = "out of range"
		if f.Allowed == s.Unit {
			f.Allowed = s.between(lo, hi)
		}
	case errBetween:
		f.Reason, f.Fix = e.Error(), fmt.Sprintf("write %s or %s", e.below, e.above)
		f.Allowed = joinNonEmpty(", ", f.Allowed, "steps of "+s.Format(1))
	default:
		f.Reason = err.Error()
	}
	b.error(key, n, f)
	return 0, false
}
