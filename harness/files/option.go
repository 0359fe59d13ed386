package files

import (
	"fmt"
	"strconv"
)

// Option adds to the description of a field. See Range, Default, Optional,
// Doc, Len, Rising.
type Option func(*spec)

// spec is what options collect.
type spec struct {
	loText, hiText string // range in text units
	lo, hi         int64  // range in integers of the value
	ranged, raw    bool

	def    string // default as text, unquoted
	defRaw int64
	hasDef bool
	rawDef bool

	optional bool
	absent   int64

	minLen, maxLen int
	hasLen         bool
	rising         bool
	stride         int
	doc            string
}

// Range bounds a number, in the unit of the text, both ends allowed. Decimal
// constants such as 0.1 are taken as written.
func Range(lo, hi float64) Option {
	return func(s *spec) {
		s.ranged, s.loText, s.hiText = true, plain(lo), plain(hi)
	}
}

// RangeRaw bounds a number in integers of the value, both ends allowed.
func RangeRaw(lo, hi int64) Option {
	return func(s *spec) { s.ranged, s.raw, s.lo, s.hi = true, true, lo, hi }
}

// Default is the value of a field that the text leaves out: a number in the
// unit of the text, a word, a text, or a bool, as the field's kind asks. A
// field with neither Default nor Optional is required.
func Default(v any) Option {
	return func(s *spec) {
		s.hasDef = true
		if f, ok := v.(float64); ok {
			s.def = plain(f)
			return
		}
		s.def = fmt.Sprint(v)
	}
}

// DefaultRaw is Default for a number or a set of words, as the integer of the
// value.
func DefaultRaw(v int64) Option {
	return func(s *spec) { s.hasDef, s.rawDef, s.defRaw = true, true, v }
}

// Optional lets a field be left out; it then has the zero value, and a zero
// value is not written.
func Optional() Option { return func(s *spec) { s.optional = true } }

// Absent is Optional for a number whose "not given" is the integer v instead
// of 0.
func Absent(v int64) Option {
	return func(s *spec) { s.optional, s.absent = true, v }
}

// Len bounds the number of items of a list or set, or the bytes of a text.
func Len(lo, hi int) Option {
	return func(s *spec) { s.hasLen, s.minLen, s.maxLen = true, lo, hi }
}

// Rising asks each number of a list to be above the one before it, as table
// axes must be.
func Rising() Option { return func(s *spec) { s.rising = true } }

// Stride is the distance between two rows of a Grid's cells, where it is not
// the number of columns.
func Stride(n int) Option { return func(s *spec) { s.stride = n } }

// Doc says in one line what the field means; it becomes the comment in the
// text and the last column of the reference table.
func Doc(text string) Option { return func(s *spec) { s.doc = text } }

func newSpec(opts []Option) *spec {
	s := &spec{}
	for _, o := range opts {
		o(s)
	}
	return s
}

// plain writes a constant as the shortest decimal that means it.
func plain(f float64) string { return strconv.FormatFloat(f, 'f', -1, 64) }
